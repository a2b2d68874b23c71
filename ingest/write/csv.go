package write

import (
	"bufio"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

// A Row is one line of an export: a sample of the IMU, a fix, or both when
// they share a time. NaN stands for a value that is not known. Without Fix the
// speed and course are interpolated.
type Row struct {
	Time   float64    // s since start
	Lat    float64    // deg
	Lon    float64    // deg
	Alt    float32    // m
	Speed  float32    // m/s
	Course float32    // deg true
	Pitch  float64    // deg, bow-up
	Heel   float64    // deg, starboard side down
	Q      [4]float64 // w, x, y, z: sensor to east-north-up
	Ride   int        // number of the ride, from 1; 0 outside
	Fix    bool       // the receiver's own position, speed and course
	Acc    [3]float32 // m/s², as measured
	Gyr    [3]float32 // rad/s
}

// A Column is a value of each fix that goes into the extensions of its point.
type Column struct {
	Name     string // as pitch_deg
	Decimals int
	Value    func(fix int) float64 // NaN: none at this fix
}

// Blank is a row at time t of which nothing else is known.
func Blank(t float64) Row {
	n, n32 := math.NaN(), float32(math.NaN())
	return Row{Time: t, Lat: n, Lon: n, Alt: n32, Speed: n32, Course: n32, Pitch: n, Heel: n,
		Q: [4]float64{n, n, n, n}, Acc: [3]float32{n32, n32, n32}, Gyr: [3]float32{n32, n32, n32}}
}

// exportHeader are the columns of an export: those of the contract, then what
// it takes to read the export back as a log.
const exportHeader = "time_s,lat_deg,lon_deg,speed_mps,course_deg,pitch_deg,heel_deg,qw,qx,qy,qz,ride," +
	"fix,alt_m,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps\n"

// An Export writes the samples of a session row by row.
type Export struct {
	w   *bufio.Writer
	buf []byte
}

// NewExport starts an export: the heading comments and the header row. start is
// UTC at time zero, or the zero Time. Close must be called at the end.
func NewExport(w io.Writer, start time.Time) *Export {
	e := &Export{w: bufio.NewWriterSize(w, 64<<10)}
	e.buf = append(e.buf, "# evenfoot export\n"...)
	e.buf = appendStart(e.buf, start)
	e.buf = append(e.buf, exportHeader...)
	e.w.Write(e.buf) // the error stays with the writer until Close
	return e
}

// Computed notes that the speeds of the log were computed from positions. It
// must come before the first row.
func (e *Export) Computed() { e.w.WriteString("# speed: from positions\n") }

// Write adds a row.
func (e *Export) Write(r *Row) error {
	b := appendTime(e.buf[:0], r.Time)
	b = appendFloats(b, -1, r.Lat, r.Lon)
	b = appendFloats32(b, r.Speed, r.Course)
	b = appendFloats(b, 4, r.Pitch, r.Heel)
	b = appendFloats(b, 7, r.Q[:]...)
	b = append(b, ',')
	if r.Ride > 0 {
		b = strconv.AppendInt(b, int64(r.Ride), 10)
	}
	b = append(b, ',')
	if r.Fix {
		b = append(b, '1')
	}
	b = appendFloats32(b, r.Alt)
	b = appendFloats32(b, r.Acc[:]...)
	b = appendFloats32(b, r.Gyr[:]...)
	e.buf = append(b, '\n')
	_, err := e.w.Write(e.buf)
	return err
}

// Close writes what is still buffered and returns the first error of the
// export. It does not close the writer underneath.
func (e *Export) Close() error { return e.w.Flush() }

// CSV writes a log's samples as a CSV log: the IMU, the fixes, what presses
// on the deck and the rider's presses of a button in order of time, in one row where they share one. Reading it back
// gives equal samples.
func CSV(w io.Writer, l *ingest.Log) error {
	bw := bufio.NewWriterSize(w, 64<<10)
	buf := appendStart(nil, l.Start)
	if len(l.Files) == 1 && l.Files[0].Device != "" {
		buf = append(append(append(buf, "# device: "...), l.Files[0].Device...), '\n')
	}
	if l.GPS.SpeedFrom == "positions" {
		buf = append(buf, "# speed: from positions\n"...)
	}
	buf = append(buf, "time_s"...)
	kinds := columns(l)
	for _, k := range kinds {
		buf = append(buf, k.head...)
	}
	buf = append(buf, '\n')
	bw.Write(buf) // the error stays with the writer until Flush
	for {
		t := math.Inf(1)
		for _, k := range kinds {
			if k.at < len(k.time) {
				t = min(t, k.time[k.at])
			}
		}
		if math.IsInf(t, 1) {
			return bw.Flush()
		}
		buf = appendTime(buf[:0], t)
		for i := range kinds {
			k := &kinds[i]
			if k.at == len(k.time) || k.time[k.at] != t {
				buf = append(buf, k.none...)
				continue
			}
			buf = k.row(buf, k.at)
			k.at++
		}
		buf = append(buf, '\n')
		if _, err := bw.Write(buf); err != nil {
			return err
		}
	}
}

// A series is the columns of one device in a CSV log.
type series struct {
	head, none string // of the header; of a row of another
	time       []float64
	row        func(b []byte, i int) []byte
	at         int // the next
}

// columns are what a log holds, for a CSV log.
func columns(l *ingest.Log) (kinds []series) {
	add := func(head string, t []float64, row func(b []byte, i int) []byte) {
		if len(t) > 0 {
			kinds = append(kinds, series{head: head, none: strings.Repeat(",", strings.Count(head, ",")), time: t, row: row})
		}
	}
	u, g := &l.IMU, &l.GPS
	axes := func(b []byte, v *[3][]float32, i int) []byte { return appendFloats32(b, v[0][i], v[1][i], v[2][i]) }
	if len(u.Gyr[0]) > 0 && !math.IsNaN(float64(u.Gyr[0][0])) {
		add(",ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps", u.Time, func(b []byte, i int) []byte {
			return axes(axes(b, &u.Acc, i), &u.Gyr, i)
		})
	} else {
		add(",ax_mps2,ay_mps2,az_mps2", u.Time, func(b []byte, i int) []byte { return axes(b, &u.Acc, i) })
	}
	add(",lat_deg,lon_deg,alt_m,speed_mps,course_deg", g.Time, func(b []byte, k int) []byte {
		return appendFloats32(appendFloats(b, -1, g.Lat[k], g.Lon[k]), g.Alt[k], g.Speed[k], g.Course[k])
	})
	for _, d := range l.Decks {
		head := ",front_n,back_n"
		if d.Sides {
			head = ",left_n,right_n"
		}
		feet, moment := d.HasFeet(), d.HasMoment()
		if !feet {
			head = ""
		}
		if moment {
			head += ",pitch_moment_nm"
		}
		add(head, d.Time, func(b []byte, i int) []byte {
			if feet {
				b = appendFloats32(b, d.Feet[0][i], d.Feet[1][i])
			}
			if moment {
				b = appendFloats32(b, d.Moment[i])
			}
			return b
		})
	}
	add(",mark", marked(l), func(b []byte, i int) []byte { return append(b, ",1"...) })
	return kinds
}

// marked are the times at which the rider pressed a button, s since the log's start.
func marked(l *ingest.Log) (at []float64) {
	for _, m := range l.Marks {
		if m.Kind == raw.Press {
			at = append(at, m.At)
		}
	}
	return at
}

func appendStart(b []byte, start time.Time) []byte {
	if start.IsZero() {
		return b
	}
	b = append(b, "# start: "...)
	b = start.UTC().AppendFormat(b, time.RFC3339Nano)
	return append(b, '\n')
}

// appendTime writes seconds so that they read back equal, without an exponent.
func appendTime(b []byte, t float64) []byte { return strconv.AppendFloat(b, t, 'f', -1, 64) }

// appendFloats writes numbers behind a comma each, nothing for NaN and infinities.
func appendFloats(b []byte, decimals int, values ...float64) []byte {
	for _, v := range values {
		if b = append(b, ','); v-v == 0 {
			b = strconv.AppendFloat(b, v, 'f', decimals, 64)
		}
	}
	return b
}

func appendFloats32(b []byte, values ...float32) []byte {
	for _, v := range values {
		if b = append(b, ','); v-v == 0 {
			b = strconv.AppendFloat(b, float64(v), 'g', -1, 32)
		}
	}
	return b
}

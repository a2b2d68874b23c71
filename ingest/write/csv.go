package write

import (
	"bufio"
	"io"
	"math"
	"slices"
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

// CSV writes a log's samples as a CSV log: the IMU, the fixes, what presses on the
// deck and the rider's presses of a button in order of time, in one row where they
// share one. Reading it back gives equal samples.
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
	all := columns(l)
	for _, s := range all {
		buf = append(append(buf, ','), s.head...)
	}
	for {
		bw.Write(append(buf, '\n')) // the error stays with the writer until Flush
		t := math.Inf(1)
		for _, s := range all {
			if s.at < len(s.time) {
				t = min(t, s.time[s.at])
			}
		}
		if math.IsInf(t, 1) {
			return bw.Flush()
		}
		buf = appendTime(buf[:0], t)
		for i := range all {
			buf = all[i].append(buf, t)
		}
	}
}

// A series is the columns of one device in a CSV log.
type series struct {
	head string
	time []float64
	wide [][]float64
	cols [][]float32
	at   int // the next row
}

// append writes the row at time t, or as many empty cells.
func (s *series) append(b []byte, t float64) []byte {
	if s.at == len(s.time) || s.time[s.at] != t {
		return append(b, ",,,,,,,,"[:len(s.wide)+len(s.cols)]...)
	}
	for _, c := range s.wide {
		b = appendFloats(b, -1, c[s.at])
	}
	for _, c := range s.cols {
		b = appendFloats32(b, c[s.at])
	}
	s.at++
	return b
}

// columns are what a log holds, for a CSV log.
func columns(l *ingest.Log) []series {
	u, g := &l.IMU, &l.GPS
	imu := series{head: "ax_mps2,ay_mps2,az_mps2", time: u.Time, cols: u.Acc[:]}
	if len(u.Gyr[0]) > 0 && u.Gyr[0][0] == u.Gyr[0][0] {
		imu.head += ",gx_radps,gy_radps,gz_radps"
		imu.cols = slices.Concat(imu.cols, u.Gyr[:])
	}
	all := []series{imu, {head: "lat_deg,lon_deg,alt_m,speed_mps,course_deg", time: g.Time,
		wide: [][]float64{g.Lat, g.Lon}, cols: [][]float32{g.Alt, g.Speed, g.Course}}}
	for _, d := range l.Decks {
		s := series{time: d.Time}
		var heads []string
		if d.HasFeet() {
			heads, s.cols = []string{"front_n", "back_n"}, d.Feet[:]
			if d.Sides {
				heads = []string{"left_n", "right_n"}
			}
		}
		if d.HasMoment() {
			heads, s.cols = append(heads, "pitch_moment_nm"), append(s.cols[:len(s.cols):len(s.cols)], d.Moment)
		}
		s.head = strings.Join(heads, ",")
		all = append(all, s)
	}
	at := marked(l)
	all = append(all, series{head: "mark", time: at, cols: [][]float32{slices.Repeat([]float32{1}, len(at))}})
	return slices.DeleteFunc(all, func(s series) bool { return len(s.time) == 0 })
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

// Package write writes a log in the formats that package ingest reads, for the
// demo and for tests that read back what was written.
//
// It imports ingest and its raw and unit, and nothing else of this module.
package write

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/tormoder/fit/dyncrc16"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// fitEpoch is the FIT protocol's time zero, 1989-12-31T00:00:00Z, in Unix seconds.
const fitEpoch = 631065600

// fitSamples is the number of samples in one sensor message: the profile
// limits it to 30.
const fitSamples = 30

// Local message types; each is defined once.
const (
	localFileID = iota
	localDevID
	localDesc
	localRecord
	localAccel
	localGyro
	localLap
	localSession
	localActivity
)

// FIT base types.
const (
	typeEnum    = 0x00
	typeUint8   = 0x02
	typeUint16  = 0x84
	typeSint32  = 0x85
	typeUint32  = 0x86
	typeString  = 0x07
	typeFloat32 = 0x88
	typeByte    = 0x0D
)

// Developer fields of a record.
const (
	devMillis = 0 // ms after the time stamp's whole second
	devCourse = 1 // deg true
)

// FIT writes a log as a FIT activity: records at the rate of the GPS fixes,
// accelerometer and gyroscope as arrays of calibrated samples with their time
// offsets.
//
// Times are kept to 1 ms, positions to 8.4e-8 deg, speeds to 1 mm/s, altitudes
// to 0.2 m, samples and courses to float32. A log without a date is written on
// a clock that counts from power-on. Flags and gaps are not written; a reader
// finds them again. It is an error when the log's dates do not fit the format
// or a writer's Write fails.
//
// The encoder is our own: it needs a few lines, streams, and holds no message
// as an object. It goes over the log twice, since the header that comes first
// tells the size.
func FIT(w io.Writer, l *ingest.Log) error {
	var zero int64   // ms from the FIT epoch to the log's time zero
	var frac float64 // and the rest, below a ms
	first, last := raw.Extent(l.IMU.Time, l.GPS.Time)
	if l.Start.IsZero() {
		zero = 1000 * (1 - int64(math.Floor(first)))
	} else {
		zero = l.Start.UnixMilli() - 1000*fitEpoch
		frac = float64(l.Start.Nanosecond()%1e6) / 1e6
	}
	if first <= last {
		lo, hi := float64(zero)+1000*first, float64(zero)+1000*last
		least, most := int64(1000*0x10000000), int64(1000*(math.MaxUint32-1))
		if l.Start.IsZero() {
			least, most = 0, least-1000
		}
		if !(lo >= float64(least) && hi <= float64(most)) {
			return fmt.Errorf("write FIT: the log's times, %v to %v, do not fit the format, which counts from 1989 to 2126",
				l.Start.Add(time.Duration(first*1e9)), l.Start.Add(time.Duration(last*1e9)))
		}
	}
	count := newEncoder(io.Discard, zero, frac)
	count.log(l)
	if count.size > math.MaxUint32 {
		return errors.New("write FIT: the log is larger than the 4 GiB that a FIT file may have")
	}
	e := newEncoder(w, zero, frac)
	e.header(uint32(count.size))
	e.log(l)
	e.put(binary.LittleEndian.AppendUint16(nil, e.crc.Sum16()))
	if err := e.w.Flush(); err != nil {
		return fmt.Errorf("write FIT: %w", err)
	}
	return nil
}

type fitEncoder struct {
	w    *bufio.Writer
	zero int64   // ms from the FIT epoch to the log's time zero
	frac float64 // and the rest, below a ms
	size int64
	crc  dyncrc16.Hash16
	msg  []byte // the message being put together
}

func newEncoder(w io.Writer, zero int64, frac float64) *fitEncoder {
	return &fitEncoder{w: bufio.NewWriterSize(w, 64<<10), crc: dyncrc16.New(), zero: zero, frac: frac}
}

// put writes bytes. A bufio.Writer keeps its first error for Flush.
func (e *fitEncoder) put(b []byte) {
	_, _ = e.crc.Write(b) // a checksum never fails
	e.size += int64(len(b))
	_, _ = e.w.Write(b)
}

// header writes the file header for size bytes of messages.
func (e *fitEncoder) header(size uint32) {
	h := []byte{14, 0x20, 0, 0} // protocol 2.0, since there are developer fields
	binary.LittleEndian.PutUint16(h[2:], 2160)
	h = binary.LittleEndian.AppendUint32(h, size)
	h = append(h, ".FIT"...)
	e.put(h)
	e.put(binary.LittleEndian.AppendUint16(nil, e.crc.Sum16()))
}

// define writes a definition message: triples of field number, size in bytes
// and base type; developer fields follow as number and size.
func (e *fitEncoder) define(local byte, global uint16, fields [][3]byte, dev [][2]byte) {
	h := 0x40 | local
	if len(dev) > 0 {
		h |= 0x20
	}
	b := []byte{h, 0, 0}
	b = binary.LittleEndian.AppendUint16(b, global)
	b = append(b, byte(len(fields)))
	for _, f := range fields {
		b = append(b, f[:]...)
	}
	if len(dev) > 0 {
		b = append(b, byte(len(dev)))
		for _, d := range dev {
			b = append(b, d[0], d[1], 0)
		}
	}
	e.put(b)
}

func (e *fitEncoder) begin(local byte) { e.msg = append(e.msg[:0], local) }
func (e *fitEncoder) u8(v byte)        { e.msg = append(e.msg, v) }
func (e *fitEncoder) u16(v uint16)     { e.msg = binary.LittleEndian.AppendUint16(e.msg, v) }
func (e *fitEncoder) u32(v uint32)     { e.msg = binary.LittleEndian.AppendUint32(e.msg, v) }
func (e *fitEncoder) f32(v float32)    { e.u32(math.Float32bits(v)) }
func (e *fitEncoder) end()             { e.put(e.msg) }
func (e *fitEncoder) text(s string, n int) {
	b := make([]byte, n)
	copy(b[:n-1], s)
	e.msg = append(e.msg, b...)
}

// scaled appends v·scale + shift as uint32, or "invalid" where it does not fit.
func (e *fitEncoder) scaled(v, scale, shift float64) {
	if v = math.Round((v + shift) * scale); v >= 0 && v < math.MaxUint32 {
		e.u32(uint32(v))
		return
	}
	e.u32(math.MaxUint32)
}

// semicircles appends an angle in degrees, or "invalid" for NaN.
func (e *fitEncoder) semicircles(deg float64) {
	v := math.Round(deg / 180 * (1 << 31))
	switch {
	case !(math.Abs(v) <= 1<<31):
		e.u32(math.MaxInt32)
	case v == math.MaxInt32: // which stands for "invalid": half a centimetre less
		e.u32(math.MaxInt32 - 1)
	default:
		e.u32(uint32(int64(v))) // 180° is -180°
	}
}

// ms returns a time of the log in ms since the FIT epoch.
func (e *fitEncoder) ms(t float64) int64 { return e.zero + int64(math.Round(t*1000+e.frac)) }

// log writes all messages.
func (e *fitEncoder) log(l *ingest.Log) {
	first, last := raw.Extent(l.IMU.Time, l.GPS.Time)
	if first > last {
		first, last = 0, 0
	}
	e.define(localFileID, 0, [][3]byte{{0, 1, typeEnum}, {1, 2, typeUint16}, {2, 2, typeUint16}, {4, 4, typeUint32}, {8, 9, typeString}}, nil)
	e.begin(localFileID)
	e.u8(4)     // activity
	e.u16(0xFF) // for development
	e.u16(0)
	e.u32(uint32(e.ms(first) / 1000))
	e.text("evenfoot", 9)
	e.end()
	e.developerFields()

	e.define(localRecord, 20, [][3]byte{{253, 4, typeUint32}, {0, 4, typeSint32}, {1, 4, typeSint32}, {78, 4, typeUint32}, {73, 4, typeUint32}},
		[][2]byte{{devMillis, 2}, {devCourse, 4}})
	sensor := [][3]byte{{253, 4, typeUint32}, {0, 2, typeUint16}, {1, 2 * fitSamples, typeUint16},
		{5, 4 * fitSamples, typeFloat32}, {6, 4 * fitSamples, typeFloat32}, {7, 4 * fitSamples, typeFloat32}}
	e.define(localAccel, 165, sensor, nil)
	e.define(localGyro, 164, sensor, nil)

	fix := 0
	t := l.IMU.Time
	for i := 0; i < len(t); {
		n := 1
		for i+n < len(t) && n < fitSamples && e.ms(t[i+n])-e.ms(t[i]) < math.MaxUint16 {
			n++
		}
		for fix < len(l.GPS.Time) && l.GPS.Time[fix] <= t[i] {
			e.record(&l.GPS, fix)
			fix++
		}
		e.samples(localAccel, t[i:i+n], l.IMU.Acc, i, 1/unit.Gravity)
		e.samples(localGyro, t[i:i+n], l.IMU.Gyr, i, 180/math.Pi)
		i += n
	}
	for ; fix < len(l.GPS.Time); fix++ {
		e.record(&l.GPS, fix)
	}
	e.summary(e.ms(first), e.ms(last))
}

// developerFields declares the fields that the profile's record lacks.
func (e *fitEncoder) developerFields() {
	e.define(localDevID, 207, [][3]byte{{1, 16, typeByte}, {3, 1, typeUint8}}, nil)
	e.begin(localDevID)
	e.msg = append(e.msg, "evenfoot records"...)
	e.u8(0)
	e.end()
	e.define(localDesc, 206, [][3]byte{{0, 1, typeUint8}, {1, 1, typeUint8}, {2, 1, typeUint8}, {3, 16, typeString}, {8, 8, typeString}}, nil)
	for _, d := range []struct {
		num, base   byte
		name, units string
	}{{devMillis, typeUint16, "timestamp_ms", "ms"}, {devCourse, typeFloat32, "course", "deg"}} {
		e.begin(localDesc)
		e.u8(0)
		e.u8(d.num)
		e.u8(d.base)
		e.text(d.name, 16)
		e.text(d.units, 8)
		e.end()
	}
}

// record writes one GPS fix.
func (e *fitEncoder) record(g *ingest.GPS, i int) {
	ms := e.ms(g.Time[i])
	e.begin(localRecord)
	e.u32(uint32(ms / 1000))
	e.semicircles(g.Lat[i])
	e.semicircles(g.Lon[i])
	e.scaled(float64(g.Alt[i]), 5, 500)
	e.scaled(float64(g.Speed[i]), 1000, 0)
	e.u16(uint16(ms % 1000))
	e.f32(g.Course[i])
	e.end()
}

// samples writes one message of a sensor's samples, those from index i on
// whose times are t. A sensor that gives no value writes no message.
func (e *fitEncoder) samples(local byte, t []float64, v [3][]float32, i int, scale float64) {
	some := false
	for j := range t {
		some = some || v[0][i+j] == v[0][i+j]
	}
	if !some {
		return
	}
	ms := e.ms(t[0])
	e.begin(local)
	e.u32(uint32(ms / 1000))
	e.u16(uint16(ms % 1000))
	for j := range fitSamples {
		if j < len(t) {
			e.u16(uint16(e.ms(t[j]) - ms))
		} else {
			e.u16(math.MaxUint16)
		}
	}
	for k := range v {
		for j := range fitSamples {
			x := float32(math.NaN())
			if j < len(t) {
				x = float32(float64(v[k][i+j]) * scale)
			}
			if x == x {
				e.f32(x)
			} else {
				e.u32(math.MaxUint32)
			}
		}
	}
	e.end()
}

// summary writes the lap, session and activity that close an activity file.
func (e *fitEncoder) summary(first, last int64) {
	end, start, elapsed := uint32(last/1000), uint32(first/1000), uint32(min(last-first, math.MaxUint32-1))
	for _, m := range []struct {
		local  byte
		global uint16
	}{{localLap, 19}, {localSession, 18}} {
		e.define(m.local, m.global, [][3]byte{{253, 4, typeUint32}, {254, 2, typeUint16}, {2, 4, typeUint32}, {7, 4, typeUint32}, {8, 4, typeUint32}}, nil)
		e.begin(m.local)
		e.u32(end)
		e.u16(0)
		e.u32(start)
		e.u32(elapsed)
		e.u32(elapsed)
		e.end()
	}
	e.define(localActivity, 34, [][3]byte{{253, 4, typeUint32}, {0, 4, typeUint32}, {1, 2, typeUint16}, {2, 1, typeEnum}}, nil)
	e.begin(localActivity)
	e.u32(end)
	e.u32(elapsed)
	e.u16(1)
	e.u8(0)
	e.end()
}

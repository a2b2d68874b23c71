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
	"slices"
	"strings"
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

// Local message types; each is defined where it is first written.
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
	localTypes
)

// Developer fields of a record.
const (
	devMillis = 0 // ms after the time stamp's whole second
	devCourse = 1 // deg true
)

// What ended a lap.
const manual, sessionEnd enum = 0, 7

// An enum is a value of FIT's base type of that name.
type enum uint8

// noFloat is FIT's "invalid" of a float32.
var noFloat = math.Float32frombits(math.MaxUint32)

// baseType is FIT's base type of a value, and its length in bytes.
func baseType(v any) (base byte, size int) {
	switch v := v.(type) {
	case enum:
		return 0x00, 1
	case uint8:
		return 0x02, 1
	case uint16:
		return 0x84, 2
	case int32:
		return 0x85, 4
	case uint32:
		return 0x86, 4
	case float32:
		return 0x88, 4
	case string:
		return 0x07, len(v)
	case []byte:
		return 0x0D, len(v)
	case []uint16:
		return 0x84, 2 * len(v)
	case []float32:
		return 0x88, 4 * len(v)
	}
	panic(fmt.Sprintf("FIT has no base type for a %T", v))
}

// FIT writes a log as a FIT activity: records at the rate of the GPS fixes,
// accelerometer and gyroscope as arrays of calibrated samples with their time
// offsets, a lap for each press of the rider's.
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
	w       *bufio.Writer
	zero    int64   // ms from the FIT epoch to the log's time zero
	frac    float64 // and the rest, below a ms
	size    int64
	crc     dyncrc16.Hash16
	msg     []byte // the message being put together
	defined [localTypes]bool
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

// message writes the values of the fields with these numbers, developer fields
// last, and before the first of its kind their definition.
func (e *fitEncoder) message(local byte, global uint16, fields, dev []byte, values ...any) {
	if !e.defined[local] {
		e.defined[local] = true
		b := binary.LittleEndian.AppendUint16([]byte{0x40 | local, 0, 0}, global)
		b = append(b, byte(len(fields)))
		for k, num := range fields {
			base, size := baseType(values[k])
			b = append(b, num, byte(size), base)
		}
		if len(dev) > 0 {
			b[0] |= 0x20
			b = append(b, byte(len(dev)))
			for k, num := range dev {
				_, size := baseType(values[len(fields)+k])
				b = append(b, num, byte(size), 0)
			}
		}
		e.put(b)
	}
	e.msg = append(e.msg[:0], local)
	for _, v := range values {
		if s, ok := v.(string); ok {
			e.msg = append(e.msg, s...)
		} else {
			e.msg, _ = binary.Append(e.msg, binary.LittleEndian, v) // all of them are of a fixed size
		}
	}
	e.put(e.msg)
}

// scaled is v·scale + shift, or "invalid" where it does not fit.
func scaled(v float32, scale, shift float64) uint32 {
	if x := math.Round((float64(v) + shift) * scale); x >= 0 && x < math.MaxUint32 {
		return uint32(x)
	}
	return math.MaxUint32
}

// semicircles is an angle in degrees, or "invalid" for NaN.
func semicircles(deg float64) int32 {
	v := math.Round(deg / 180 * (1 << 31))
	switch {
	case !(math.Abs(v) <= 1<<31):
		return math.MaxInt32
	case v == math.MaxInt32: // which stands for "invalid": half a centimetre less
		return math.MaxInt32 - 1
	}
	return int32(int64(v)) // 180° is -180°
}

// ms is a time of the log in ms since the FIT epoch.
func (e *fitEncoder) ms(t float64) int64 { return e.zero + int64(math.Round(t*1000+e.frac)) }

// padded is a text for a field of n bytes, its closing zero among them.
func padded(s string, n int) string { return s + strings.Repeat("\x00", n-len(s)) }

// log writes all messages.
func (e *fitEncoder) log(l *ingest.Log) {
	first, last := raw.Extent(l.IMU.Time, l.GPS.Time)
	if first > last {
		first, last = 0, 0
	}
	end, start, elapsed := uint32(e.ms(last)/1000), uint32(e.ms(first)/1000), uint32(min(e.ms(last)-e.ms(first), math.MaxUint32-1))
	// An activity, by a maker for development.
	e.message(localFileID, 0, []byte{0, 1, 2, 4, 8}, nil, enum(4), uint16(0xFF), uint16(0), start, padded("evenfoot", 9))
	e.message(localDevID, 207, []byte{1, 3}, nil, []byte("evenfoot records"), uint8(0))
	for num, d := range []struct {
		value       any
		name, units string
	}{devMillis: {uint16(0), "timestamp_ms", "ms"}, devCourse: {float32(0), "course", "deg"}} {
		base, _ := baseType(d.value)
		e.message(localDesc, 206, []byte{0, 1, 2, 3, 8}, nil, uint8(0), uint8(num), base, padded(d.name, 16), padded(d.units, 8))
	}
	fix := 0
	t := l.IMU.Time
	for i := 0; i < len(t); {
		n := 1
		for i+n < len(t) && n < fitSamples && e.ms(t[i+n])-e.ms(t[i]) < math.MaxUint16 {
			n++
		}
		for ; fix < len(l.GPS.Time) && l.GPS.Time[fix] <= t[i]; fix++ {
			e.record(&l.GPS, fix)
		}
		e.samples(localAccel, 165, t[i:i+n], l.IMU.Acc, i, 1/unit.Gravity)
		e.samples(localGyro, 164, t[i:i+n], l.IMU.Gyr, i, 180/math.Pi)
		i += n
	}
	for ; fix < len(l.GPS.Time); fix++ {
		e.record(&l.GPS, fix)
	}
	from := e.ms(first)
	lap := func(i int, to int64, trigger enum) {
		took := uint32(min(max(to-from, 0), math.MaxUint32-1))
		e.message(localLap, 19, []byte{253, 254, 2, 7, 8, 24}, nil, uint32((to+500)/1000), uint16(i), uint32(from/1000), took, took, trigger)
		from = to
	}
	presses := marked(l)
	for i, at := range presses {
		lap(i, e.ms(at), manual)
	}
	lap(len(presses), e.ms(last), sessionEnd)
	e.message(localSession, 18, []byte{253, 254, 2, 7, 8}, nil, end, uint16(0), start, elapsed, elapsed)
	e.message(localActivity, 34, []byte{253, 0, 1, 2}, nil, end, elapsed, uint16(1), enum(0))
}

// record writes one GPS fix.
func (e *fitEncoder) record(g *ingest.GPS, i int) {
	ms := e.ms(g.Time[i])
	e.message(localRecord, 20, []byte{253, 0, 1, 78, 73}, []byte{devMillis, devCourse}, uint32(ms/1000), semicircles(g.Lat[i]), semicircles(g.Lon[i]),
		scaled(g.Alt[i], 5, 500), scaled(g.Speed[i], 1000, 0), uint16(ms%1000), g.Course[i])
}

// samples writes one message of a sensor's samples, those from index i on
// whose times are t. A sensor that gives no value writes no message.
func (e *fitEncoder) samples(local byte, global uint16, t []float64, v [3][]float32, i int, scale float64) {
	if !slices.ContainsFunc(v[0][i:i+len(t)], func(x float32) bool { return x == x }) {
		return
	}
	ms := e.ms(t[0])
	offsets := slices.Repeat([]uint16{math.MaxUint16}, fitSamples)
	for j := range t {
		offsets[j] = uint16(e.ms(t[j]) - ms)
	}
	var axes [3][]float32
	for k := range v {
		axes[k] = slices.Repeat([]float32{noFloat}, fitSamples)
		for j := range t {
			if x := float32(float64(v[k][i+j]) * scale); x == x {
				axes[k][j] = x
			}
		}
	}
	e.message(local, global, []byte{253, 0, 1, 5, 6, 7}, nil, uint32(ms/1000), uint16(ms%1000), offsets, axes[0], axes[1], axes[2])
}

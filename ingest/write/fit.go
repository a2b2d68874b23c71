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

	"github.com/tormoder/fit"
	"github.com/tormoder/fit/dyncrc16"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

const (
	// fitEpoch is the FIT protocol's time zero, 1989-12-31T00:00:00Z, in Unix seconds.
	fitEpoch = 631065600
	// firstDate is the least time stamp that is a date; smaller ones count from power-on.
	firstDate = 0x10000000
	// fitSamples is the number of samples in one sensor message: the profile
	// limits it to 30.
	fitSamples = 30
)

// An enum is a value of FIT's base type of that name, a dev one of a developer field.
type (
	enum uint8
	dev  struct{ value any }
)

// noFloat is FIT's "invalid" of a float32.
var noFloat = math.Float32frombits(math.MaxUint32)

// baseType is FIT's base type of a value.
func baseType(v any) fit.FitBaseType {
	switch v.(type) {
	case enum:
		return fit.FitBaseTypeEnum
	case uint8:
		return fit.FitBaseTypeUint8
	case uint16, []uint16:
		return fit.FitBaseTypeUint16
	case int32:
		return fit.FitBaseTypeSint32
	case uint32:
		return fit.FitBaseTypeUint32
	case float32, []float32:
		return fit.FitBaseTypeFloat32
	case string:
		return fit.FitBaseTypeString
	case []byte:
		return fit.FitBaseTypeByte
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
// The encoder is our own, since the library's knows no samples of a sensor. It
// goes over the log twice: the header that comes first tells the size.
func FIT(w io.Writer, l *ingest.Log) error {
	e := &encoder{crc: dyncrc16.New()}
	e.first, e.last = raw.Extent(l.IMU.Time, l.GPS.Time)
	if e.first > e.last {
		e.first, e.last = 0, 0
	}
	least, most := int64(0), int64(firstDate-2)
	if l.Start.IsZero() {
		e.zero = 1000 * (1 - int64(math.Floor(e.first)))
	} else {
		e.zero, e.frac = l.Start.UnixMilli()-1000*fitEpoch, float64(l.Start.Nanosecond()%1e6)/1e6
		least, most = firstDate, math.MaxUint32-1
	}
	if e.ms(e.first) < 1000*least || e.ms(e.last) > 1000*most {
		return fmt.Errorf("write FIT: the log's times, %v to %v, do not fit the format, which counts from 1989 to 2126",
			l.Start.Add(time.Duration(e.first*1e9)), l.Start.Add(time.Duration(e.last*1e9)))
	}
	e.log(l)
	if e.size > math.MaxUint32 {
		return errors.New("write FIT: the log is larger than the 4 GiB that a FIT file may have")
	}
	// Protocol 2.0, since there are developer fields; profile 21.60.
	h := binary.LittleEndian.AppendUint32([]byte{14, 0x20, 2160 & 0xFF, 2160 >> 8}, uint32(e.size))
	h = append(h, ".FIT"...)
	e.w = bufio.NewWriterSize(w, 64<<10)
	e.put(binary.LittleEndian.AppendUint16(h, dyncrc16.Checksum(h)))
	e.local = nil
	e.log(l)
	e.put(binary.LittleEndian.AppendUint16(nil, e.crc.Sum16()))
	if err := e.w.Flush(); err != nil {
		return fmt.Errorf("write FIT: %w", err)
	}
	return nil
}

type encoder struct {
	w           *bufio.Writer // nil while the size is counted
	zero        int64         // ms from the FIT epoch to the log's time zero
	frac        float64       // and the rest, below a ms
	first, last float64       // s, of the log
	size        int64
	crc         dyncrc16.Hash16
	msg         []byte        // the message being put together
	local       []fit.MesgNum // kinds of message, each defined where it is first written
}

// put writes bytes. A bufio.Writer keeps its first error for Flush.
func (e *encoder) put(b []byte) {
	if e.size += int64(len(b)); e.w != nil {
		_, _ = e.crc.Write(b) // a checksum never fails
		_, _ = e.w.Write(b)
	}
}

// message writes the values of the fields with these numbers, developer fields
// last, and before the first of its kind their definition.
func (e *encoder) message(num fit.MesgNum, fields []byte, values ...any) {
	local := slices.Index(e.local, num)
	fresh := local < 0
	if fresh {
		local = len(e.local)
		e.local = append(e.local, num)
	}
	var defs [2][]byte // of the profile's fields and the developer's
	e.msg = append(e.msg[:0], byte(local))
	for k, v := range values {
		d, own := v.(dev)
		if own {
			v = d.value
		}
		at := len(e.msg)
		if s, ok := v.(string); ok {
			v = []byte(s)
		}
		e.msg, _ = binary.Append(e.msg, binary.LittleEndian, v) // all of them are of a fixed size
		if size := byte(len(e.msg) - at); fresh && own {
			defs[1] = append(defs[1], fields[k], size, 0) // by the developer of index 0
		} else if fresh {
			defs[0] = append(defs[0], fields[k], size, byte(baseType(values[k])))
		}
	}
	if fresh {
		b := binary.LittleEndian.AppendUint16([]byte{0x40 | byte(local), 0, 0}, uint16(num))
		b = append(append(b, byte(len(defs[0])/3)), defs[0]...)
		if len(defs[1]) > 0 {
			b[0] |= 0x20
			b = append(append(b, byte(len(defs[1])/3)), defs[1]...)
		}
		e.put(b)
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
func (e *encoder) ms(t float64) int64 { return e.zero + int64(math.Round(t*1000+e.frac)) }

// padded is a text for a field of n bytes, its closing zero among them.
func padded(s string, n int) string { return s + strings.Repeat("\x00", n-len(s)) }

// log writes all messages.
func (e *encoder) log(l *ingest.Log) {
	start, end := e.ms(e.first), e.ms(e.last)
	e.message(fit.MesgNumFileId, []byte{0, 1, 2, 4, 8}, enum(fit.FileTypeActivity), uint16(fit.ManufacturerDevelopment), uint16(0),
		uint32(start/1000), padded("evenfoot", 9))
	e.message(fit.MesgNumDeveloperDataId, []byte{1, 3}, []byte("evenfoot records"), uint8(0))
	e.describe(0, uint16(0), "timestamp_ms", "ms")
	e.describe(1, float32(0), "course", "deg")
	fix := 0
	fixes := func(until float64) {
		for ; fix < len(l.GPS.Time) && l.GPS.Time[fix] <= until; fix++ {
			e.record(&l.GPS, fix)
		}
	}
	t := l.IMU.Time
	for i := 0; i < len(t); {
		n := 1
		for i+n < len(t) && n < fitSamples && e.ms(t[i+n])-e.ms(t[i]) < math.MaxUint16 {
			n++
		}
		fixes(t[i])
		e.samples(fit.MesgNumAccelerometerData, t[i:i+n], l.IMU.Acc, i, 1/unit.Gravity)
		e.samples(fit.MesgNumGyroscopeData, t[i:i+n], l.IMU.Gyr, i, 180/math.Pi)
		i += n
	}
	fixes(math.Inf(1))
	from, trigger := start, fit.LapTriggerManual
	for i, at := range append(marked(l), e.last) {
		to := e.ms(at)
		if i == len(marked(l)) {
			trigger = fit.LapTriggerSessionEnd
		}
		took := uint32(min(max(to-from, 0), math.MaxUint32-1))
		e.message(fit.MesgNumLap, []byte{253, 254, 2, 7, 8, 24}, uint32((to+500)/1000), uint16(i), uint32(from/1000), took, took, enum(trigger))
		from = to
	}
	elapsed := uint32(min(end-start, math.MaxUint32-1))
	e.message(fit.MesgNumSession, []byte{253, 254, 2, 7, 8}, uint32(end/1000), uint16(0), uint32(start/1000), elapsed, elapsed)
	e.message(fit.MesgNumActivity, []byte{253, 0, 1, 2}, uint32(end/1000), elapsed, uint16(1), enum(fit.ActivityModeManual))
}

// describe writes what a developer field holds, with a value such as its own.
func (e *encoder) describe(num uint8, value any, name, units string) {
	e.message(fit.MesgNumFieldDescription, []byte{0, 1, 2, 3, 8}, uint8(0), num, uint8(baseType(value)), padded(name, 16), padded(units, 8))
}

// record writes one GPS fix; its own fields are the ms after the time stamp's
// whole second and the course, deg true.
func (e *encoder) record(g *ingest.GPS, i int) {
	ms := e.ms(g.Time[i])
	e.message(fit.MesgNumRecord, []byte{253, 0, 1, 78, 73, 0, 1}, uint32(ms/1000), semicircles(g.Lat[i]), semicircles(g.Lon[i]),
		scaled(g.Alt[i], 5, 500), scaled(g.Speed[i], 1000, 0), dev{uint16(ms % 1000)}, dev{g.Course[i]})
}

// samples writes one message of a sensor's samples, those from index i on
// whose times are t. A sensor that gives no value writes no message.
func (e *encoder) samples(num fit.MesgNum, t []float64, v [3][]float32, i int, scale float64) {
	if !slices.ContainsFunc(v[0][i:i+len(t)], func(x float32) bool { return x == x }) {
		return
	}
	ms := e.ms(t[0])
	offsets := slices.Repeat([]uint16{math.MaxUint16}, fitSamples)
	axes := slices.Repeat([]float32{noFloat}, 3*fitSamples)
	for j := range t {
		offsets[j] = uint16(e.ms(t[j]) - ms)
		for k := range v {
			if x := float32(float64(v[k][i+j]) * scale); x == x {
				axes[k*fitSamples+j] = x
			}
		}
	}
	e.message(num, []byte{253, 0, 1, 5, 6, 7}, uint32(ms/1000), uint16(ms%1000), offsets,
		axes[:fitSamples], axes[fitSamples:2*fitSamples], axes[2*fitSamples:])
}

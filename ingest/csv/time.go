package csv

import (
	"bytes"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
)

// A timeReader turns stamps into seconds.
type timeReader struct {
	digits int  // of the time column's unit
	mode   byte // 0 not yet known, 'r' relative, 'u' Unix time, 'i' ISO
	zero   int64
	// A relative time column beside a UTC one: UTC of its zero.
	utcZero int64
	hasUTC  bool

	both    bool           // there is a column of UTC
	saysUTC bool           // the column's name says that its times are UTC
	zone    *time.Location // of times that tell none, by the column map; nil without
	noZone  bool           // a time told no zone

	day, dayISO string // the last that did not begin with the year, and as ISO 8601
}

// timeMost is the largest time that is taken for seconds.
const timeMost = 1e11

// settled says whether all that rows tell of how times are written is known.
func (r *timeReader) settled() bool { return r.mode != 0 && (r.mode != 'r' || r.hasUTC || !r.both) }

// plain says whether times stand as seconds.
func (r *timeReader) plain() bool { return r.mode == 'r' && r.digits == 0 && (r.hasUTC || !r.both) }

// date reads a date with a time.
func (r *timeReader) date(b []byte) (ns int64, ok bool) {
	b = r.iso(scan.Bare(b))
	if ns, ok = scan.Time(b); !ok || r.saysUTC || scan.Zoned(b) {
		return ns, ok
	}
	if r.zone == nil {
		r.noZone = true
		return ns, true
	}
	t := time.Unix(0, ns).UTC()
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), r.zone).UnixNano(), true
}

// iso is a date with a time, day or month first, as ISO 8601; anything else as it is.
func (r *timeReader) iso(b []byte) []byte {
	sign := bytes.IndexAny(b[:min(3, len(b))], "./-")
	at := bytes.IndexAny(b, " T_")
	if sign < 1 || at < sign {
		return b
	}
	if day := b[:at]; string(day) != r.day {
		r.day, r.dayISO = string(day), dayISO(string(day))
	}
	if r.dayISO == "" {
		return b
	}
	return append(append([]byte(r.dayISO), 'T'), bytes.TrimSpace(b[at+1:])...)
}

// dayISO is a day that does not begin with the year: with points the day stands
// first, with other signs that which is above 12 is the day; "" where it could be either.
func dayISO(text string) string {
	parts := strings.FieldsFunc(text, func(r rune) bool { return r == '.' || r == '/' || r == '-' })
	if len(parts) != 3 || len(parts[2]) != 2 && len(parts[2]) != 4 {
		return ""
	}
	first, err := strconv.Atoi(parts[0])
	second, err2 := strconv.Atoi(parts[1])
	points := strings.Count(text, ".") == 2
	if err != nil || err2 != nil || !points && (first > 12) == (second > 12) && first != second {
		return ""
	}
	order := "2.1."
	if second > 12 && !points {
		order = "1.2."
	}
	t, err := time.Parse(order+"2006"[4-len(parts[2]):], strings.Join(parts, "."))
	if err != nil {
		return ""
	}
	return t.Format(time.DateOnly)
}

// read turns the time column, or failing that the UTC column, into seconds.
func (r *timeReader) read(stamp, utc []byte, dec byte) (t float64, ok bool) {
	if len(stamp) > 0 {
		t, ok = r.number(scan.Bare(stamp), dec)
		if ok && r.mode == 'r' && !r.hasUTC && len(utc) > 0 {
			var ns int64
			ns, r.hasUTC = r.date(utc)
			r.utcZero = ns - int64(math.Round(t*1e9))
		}
		return t, ok
	}
	ns, ok := r.date(utc)
	switch {
	case !ok:
	case r.mode == 'r':
		return float64(ns-r.utcZero) / 1e9, r.hasUTC
	case r.mode == 0:
		r.mode, r.zero = 'i', ns
	}
	return float64(ns-r.zero) / 1e9, ok
}

// number reads a number of the time column's units.
func (r *timeReader) number(b []byte, dec byte) (t float64, ok bool) {
	if r.mode == 'r' && r.digits == 0 { // as it stands: nothing to lose
		v, next, kind := scan.Number(b, 0, 0, dec)
		return v, kind == scan.IsNumber && next == len(b) && math.Abs(v) < timeMost
	}
	ns, ok := scan.DecimalNS(b, dec, r.digits)
	if !ok {
		v, kind := scan.SlowNumber(b, dec)
		v *= math.Pow10(-r.digits)
		if kind != scan.IsNumber || math.Abs(v) > 9.2e9 {
			return 0, false
		}
		ns = int64(v * 1e9)
	}
	switch {
	case r.mode == 'r':
		return float64(ns) / 1e9, true
	case r.mode == 0 && ns <= 1e18: // Unix seconds are above 1e9
		r.mode = 'r'
		return r.number(b, dec)
	case r.mode == 0:
		r.mode, r.zero = 'u', ns
	}
	return float64(ns-r.zero) / 1e9, true
}

// settle sets the start that the stamps imply.
func (r *timeReader) settle(out *raw.Columns) {
	out.NoZone = r.noZone && r.mode != 'u'
	switch {
	case r.mode == 'u' || r.mode == 'i':
		out.Start = time.Unix(0, r.zero).UTC()
	case r.hasUTC:
		out.Start = time.Unix(0, r.utcZero).UTC()
	}
	if r.mode != 'r' || r.hasUTC {
		return
	}
	// A clock that was set to Unix time on the way.
	zero := 0.0
	for _, ts := range [][]float64{out.Acc.Time, out.Gyr.Time, out.Gps.Time} {
		if i := slices.IndexFunc(ts, func(t float64) bool { return t > 1e9 }); i >= 0 && (zero == 0 || ts[i] < zero) {
			zero = math.Floor(ts[i])
		}
	}
	if zero == 0 {
		return
	}
	out.Start = time.Unix(int64(zero), 0).UTC()
	raw.ShiftAll(out, -zero)
}

// days are the ways in which days are written, their signs as points; the month
// comes first only where nothing else can be meant.
var days = []string{"2006.1.2", "20060102", "060102", "2.1.2006", "1.2.2006", "2.1.06", "1.2.06"}

// joined is a day and a time of day as one ISO 8601 time.
func joined(date, clock []byte) []byte {
	d := strings.NewReplacer("/", ".", "-", ".").Replace(string(date))
	for _, layout := range days {
		if t, err := time.Parse(layout, d); err == nil {
			return append(t.AppendFormat(nil, "20060102T"), clock...)
		}
	}
	return nil
}

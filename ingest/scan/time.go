package scan

import (
	"strings"
	"time"
)

// Years that a log may be of.
const firstYear, lastYear = 1900, 2200

// Time reads an ISO 8601 time as Unix nanoseconds: a date, "T", "t", "_" or
// a blank, hours and minutes, seconds with any fraction (point or comma), and
// "Z", an offset or nothing, which is taken as UTC. Years 1900 to 2200.
func Time(b []byte) (ns int64, ok bool) {
	const nanos = len("2026-09-20T10:00:00.123456789Z") // more digits are rounded below
	var t time.Time
	if (len(b) <= nanos || len(b) <= nanos+5 && b[len(b)-1] != 'Z') && t.UnmarshalText(b) == nil { // RFC 3339, without a copy
		return t.UnixNano(), t.Year() >= firstYear && t.Year() <= lastYear
	}
	return looseTime(strings.TrimSpace(string(b)))
}

// Zoned says whether an ISO 8601 time tells how it stands to UTC.
func Zoned(b []byte) bool {
	s := string(Bare(b))
	if i := strings.IndexAny(s, "Tt_ "); i > 0 {
		return strings.ContainsAny(s[i+1:], "Zz+-") || strings.HasSuffix(s, "UTC") || strings.HasSuffix(s, "GMT")
	}
	return false
}

// looseTimes are the spellings of ISO 8601 that RFC 3339 leaves out, bare of the
// signs in date and clock.
var looseTimes = []string{"20060102T150405", "20060102T1504", "20060102T150405Z07:00", "20060102T150405Z0700", "20060102T150405Z07",
	"20060102T1504Z07:00", "20060102T1504Z0700", "20060102T1504Z07"}

// looseTime reads them, hour 24 and leap seconds too.
func looseTime(s string) (ns int64, ok bool) {
	at := strings.IndexAny(s, "Tt_ ")
	if at < 0 {
		return 0, false
	}
	date, clock, zone := s[:at], s[at+1:], ""
	for _, utc := range []string{"UTC", "GMT", "Z", "z"} {
		clock = strings.TrimSuffix(clock, utc)
	}
	if i := strings.IndexAny(clock, "+-"); i >= 0 {
		if clock, zone = clock[:i], clock[i:]; len(zone) < 3 || zone[1:3] > "14" {
			return 0, false
		}
	}
	clock = strings.ReplaceAll(strings.TrimSpace(clock), ":", "")
	var more time.Duration
	if len(clock) > 10 { // the parser cuts a fraction, and this rounds it
		if i := strings.IndexAny(clock, ".,"); i == 6 && len(clock) > i+10 && clock[i+10] >= '5' {
			more = 1
		}
	}
	switch {
	case strings.HasPrefix(clock, "24"):
		clock, more = "00"+clock[2:], more+24*time.Hour
	case len(clock) >= 6 && clock[4:6] == "60": // a leap second
		clock, more = clock[:4]+"59"+clock[6:], more+time.Second
	}
	s = strings.NewReplacer("-", "", "/", "").Replace(date) + "T" + clock + zone
	for _, layout := range looseTimes {
		if t, err := time.Parse(layout, s); err == nil {
			return t.UnixNano() + int64(more), t.Year() >= firstYear && t.Year() <= lastYear
		}
	}
	return 0, false
}

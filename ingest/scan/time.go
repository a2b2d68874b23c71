package scan

import (
	"strconv"
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

// looseTime reads the spellings of ISO 8601 that RFC 3339 leaves out.
func looseTime(s string) (ns int64, ok bool) {
	at := strings.IndexAny(s, "Tt_ ")
	if at < 0 {
		return 0, false
	}
	date, clock, zone := s[:at], s[at+1:], "+00:00"
	for _, utc := range []string{"UTC", "GMT", "Z", "z"} {
		clock = strings.TrimSuffix(clock, utc)
	}
	if i := strings.IndexAny(clock, "+-"); i >= 0 {
		zone, clock = clock[i:], clock[:i]
		if len(zone) == 3 {
			zone += ":00"
		} else if len(zone) == 5 {
			zone = zone[:3] + ":" + zone[3:]
		}
		if len(zone) < 3 || zone[1:3] > "14" {
			return 0, false
		}
	}
	clock = strings.TrimSpace(clock)
	var more time.Duration
	if i := strings.IndexAny(clock, ".,"); i >= 0 {
		f, err := strconv.ParseUint(clock[i+1:min(len(clock), i+11)], 10, 64)
		if err != nil || strings.Trim(clock[i:], ".,0123456789") != "" || strings.LastIndexAny(clock, ".,") != i {
			return 0, false
		}
		for n := len(clock) - i - 1; n < 10; n++ {
			f *= 10
		}
		more, clock = time.Duration(f+5)/10, clock[:i]
	}
	clock = strings.ReplaceAll(clock, ":", "")
	switch {
	case len(clock) == 4 && more == 0:
		clock += "00"
	case len(clock) != 6:
		return 0, false
	}
	if clock[:2] == "24" {
		clock, more = "00"+clock[2:], more+24*time.Hour
	}
	if clock[4:] == "60" { // a leap second
		clock, more = clock[:4]+"59", more+time.Second
	}
	t, err := time.Parse("20060102150405-07:00", strings.NewReplacer("-", "", "/", "").Replace(date)+clock+zone)
	if err != nil || t.Year() < firstYear || t.Year() > lastYear {
		return 0, false
	}
	return t.UnixNano() + int64(more), true
}

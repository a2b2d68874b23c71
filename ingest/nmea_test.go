package ingest

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	gonmea "github.com/adrianmo/go-nmea"
)

// nmeaLines writes sentences with their checksums.
func nmeaLines(bodies ...string) string {
	var b strings.Builder
	for _, s := range bodies {
		fmt.Fprintf(&b, "$%s*%s\r\n", s, gonmea.Checksum(s))
	}
	return b.String()
}

// The RMC and VTG sentences are the examples of NMEA 0183 receivers' manuals
// (from memory): 5.5 knots, course 54.7 deg.
func TestNMEA(t *testing.T) {
	text := "boot 1.2\r\n" + nmeaLines(
		"GNGGA,100000.20,4306.00000,N,00554.00000,E,1,09,0.9,12.5,M,48.0,M,,",
		"GNRMC,100000.20,A,4306.00000,N,00554.00000,E,005.5,054.7,200926,,,A",
		"GNVTG,054.7,T,034.4,M,005.5,N,010.2,K,A",
		"GNGSA,A,3,01,02,,,,,,,,,,,1.5,0.9,1.2",
		"GNRMC,100000.40,A,4306.00020,N,00554.00030,E,,,200926,,,A",
		"GNVTG,,T,,M,,N,018.0,K,A", // its own speed in km/h
		"GNRMC,100000.60,V,,,,,,,200926,,,N",
	) + "2026/09/20 10:00:01 " + nmeaLines("GNRMC,100000.80,A,4306.00040,N,00554.00060,W,010.0,090.0,200926,,,A") +
		"$GNRMC,100001.00,A,4306.00060,N,00554.00090,E,010.0,090.0,200926,,,A*00\r\n"
	r, err := read(strings.NewReader(text), "board.nmea", int64(len(text)), Options{})
	if err != nil {
		t.Fatal(err)
	}
	g := r.Gps
	if len(g.Time) != 3 || r.File.Kind != kindNMEA {
		t.Fatalf("%d fixes of kind %s, want 3 of NMEA", len(g.Time), r.File.Kind)
	}
	if at := r.Start.Add(time.Duration(math.Round(g.Time[1]*1e3)) * time.Millisecond); at.Format(time.RFC3339Nano) != "2026-09-20T10:00:00.4Z" {
		t.Errorf("the second fix is at %s", at)
	}
	near := func(what string, got, want float64) {
		if math.Abs(got-want) > 1e-5 {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	near("latitude", g.Lat[0], 43.1)
	near("longitude", g.Lon[0], 5.9)
	near("west", g.Lon[2], -(5 + 54.0006/60))
	near("altitude", float64(g.Alt[0]), 12.5)
	near("speed", float64(g.Speed[0]), 5.5*1852/3600)
	near("course", float64(g.Course[0]), 54.7)
	near("speed of VTG in km/h", float64(g.Speed[1]), 5)
	drops := map[int]int{}
	for _, d := range r.File.Dropped {
		drops[d.Count]++
	}
	if drops[1] != 2 { // without a fix, and the wrong checksum
		t.Errorf("left out: %+v", r.File.Dropped)
	}
}

// Days: a date that comes late, one that is told once, and a midnight.
func TestNMEADates(t *testing.T) {
	gga := func(hms string) string { return "GPGGA," + hms + ",4306.0,N,00554.0,E,1,09,0.9,1,M,48,M,," }
	rmc := func(hms, date string) string { return "GPRMC," + hms + ",A,4306.0,N,00554.0,E,5,90," + date + ",," }
	for name, c := range map[string]struct {
		bodies []string
		start  string
		want   []float64 // s after the first fix
	}{
		"late":                {[]string{gga("100000"), gga("100001"), rmc("100002", "200926")}, "2026-09-20T10:00:00Z", []float64{0, 1, 2}},
		"midnight":            {[]string{rmc("235959", "310199"), gga("000000"), rmc("000001", "010299")}, "1999-01-31T23:59:59Z", []float64{0, 1, 2}},
		"late, past midnight": {[]string{gga("235958"), rmc("000001", "210926")}, "2026-09-20T23:59:58Z", []float64{0, 3}},
		"date told once":      {[]string{"GPZDA,235958,31,12,2026,00,00", gga("235958"), gga("000002"), gga("000003")}, "2026-12-31T23:59:58Z", []float64{0, 4, 5}},
		"no calendar's":       {[]string{rmc("100000", "310226"), rmc("100001", "010326")}, "2026-03-01T10:00:00Z", []float64{0, 1}},
		"no date":             {[]string{gga("235959"), gga("000001")}, "", []float64{0, 2}},
	} {
		text := nmeaLines(c.bodies...)
		r, err := read(strings.NewReader(text), "f", int64(len(text)), Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		ts := r.Gps.Time
		if len(ts) != len(c.want) {
			t.Errorf("%s: %d fixes, want %d", name, len(ts), len(c.want))
			continue
		}
		for i, w := range c.want {
			if got := ts[i] - ts[0]; got != w {
				t.Errorf("%s: fix %d is at %v s, want %v", name, i, got, w)
			}
		}
		if c.start == "" {
			if !r.Start.IsZero() {
				t.Errorf("%s: start %s out of nothing", name, r.Start)
			}
		} else if at := r.Start.Add(time.Duration(ts[0]) * time.Second).Format(time.RFC3339); at != c.start {
			t.Errorf("%s: starts at %s, want %s", name, at, c.start)
		}
	}
}

// FuzzNMEA reads any bytes as sentences.
func FuzzNMEA(f *testing.F) {
	f.Add([]byte(nmeaLines("GPRMC,100000,A,4306.0,N,00554.0,E,5,90,200926,,", "GPVTG,54.7,T,,M,5.5,N,,K", "GPZDA,100001,20,09,2026,00,00")))
	f.Add([]byte(`\s:x*00\$GPGGA,235959.999,4306.0,N,00554.0,E,1,09,0.9,1,M,48,M,,*00` + "\n$GPRMC,"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if sniff(data) != kindNMEA {
			return
		}
		r, err := read(bytes.NewReader(data), "f", int64(len(data)), Options{})
		if err != nil {
			return
		}
		if len(r.Gps.Time)*20 > len(data) {
			t.Fatalf("%d fixes in %d bytes", len(r.Gps.Time), len(data))
		}
		l, err := build(r)
		if err != nil {
			return
		}
		if s := check(l); s != "" {
			t.Fatal(s)
		}
	})
}

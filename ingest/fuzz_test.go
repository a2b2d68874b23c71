package ingest

import (
	"bytes"
	"fmt"
	"math"
	"testing"

	"evenfoot/ingest/csv"
)

// check reports what is wrong with a log that was handed out, or "".
func check(l *Log) string {
	u, g := &l.IMU, &l.GPS
	n, m := len(u.Time), len(g.Time)
	for k := range 3 {
		if n > 0 && (len(u.Acc[k]) != n || len(u.Gyr[k]) != n) {
			return "IMU columns differ in length"
		}
	}
	if len(g.Lat) != m || len(g.Lon) != m || len(g.Alt) != m || len(g.Speed) != m || len(g.Course) != m || len(g.Flags) != m {
		return "GPS columns differ in length"
	}
	if !increasing(u.Time) || !increasing(g.Time) {
		return "times do not increase"
	}
	for i, t := range u.Time {
		if t-t != 0 {
			return "IMU time is not finite"
		}
		for k := range 3 {
			if a := u.Acc[k][i]; a-a != 0 {
				return "accelerometer is not finite"
			}
			if w := u.Gyr[k][i]; math.IsInf(float64(w), 0) || (w != w) == u.hasGyro() {
				return "gyroscope is neither finite nor absent"
			}
		}
	}
	for i, t := range g.Time {
		lat, lon := g.Lat[i], g.Lon[i]
		switch {
		case t-t != 0:
			return "GPS time is not finite"
		case (lat != lat) != (lon != lon), lat < -90, lat > 90, lon < -180, lon > 180:
			return fmt.Sprintf("position %v, %v", lat, lon)
		case g.Speed[i] != g.Speed[i] && g.Flags[i] == 0:
			return "a fix without speed is not flagged"
		case g.Speed[i] < 0 || math.IsInf(float64(g.Speed[i]), 0):
			return "speed is negative or infinite"
		case g.Course[i] < 0 || g.Course[i] >= 360:
			return fmt.Sprintf("course %v", g.Course[i])
		}
	}
	for _, gaps := range [][]Span{u.Gaps, g.Gaps} {
		for i, s := range gaps {
			if !(s.End > s.Start) || i > 0 && s.Start < gaps[i-1].End {
				return fmt.Sprintf("gaps %v", gaps)
			}
		}
	}
	for _, d := range l.Decks {
		n := len(d.Time)
		if n == 0 || !increasing(d.Time) || len(d.Feet[0]) != n || len(d.Feet[1]) != n || len(d.Moment) != n {
			return "the deck's columns differ in length, or its times do not increase"
		}
		for i := range n {
			a, b, m := float64(d.Feet[0][i]), float64(d.Feet[1][i]), float64(d.Moment[i])
			if (a != a) != (b != b) || math.IsInf(a, 0) || math.IsInf(b, 0) || math.IsInf(m, 0) || a != a && m != m {
				return fmt.Sprintf("deck %v, %v, %v", a, b, m)
			}
		}
	}
	if len(l.Warnings) > 300 {
		return fmt.Sprintf("%d warnings", len(l.Warnings))
	}
	for _, f := range l.Files {
		if len(f.Dropped) > 60 {
			return "too many reasons"
		}
	}
	if one, _ := Together([]*Log{l, l}); one == nil {
		return "nothing is said of two logs"
	}
	return ""
}

var csvSeeds = []string{
	imuHeader + "0,1,2,3,4,5,6\n0.01,1.5,2,3,4,5,6.5\n0.02,1,2,3,4,5,6\n",
	"# start: 2026-09-20T10:00:00Z\ntime_s;ax_g;ay_g;az_g;lat_deg;lon_deg;speed_kn\n0;0,1;0,2;1,0;47,1;7,5;10\n1;0,1;0,2;1,0;47,1001;7,5;\n",
	"time_utc\tlat_deg\tlon_deg\talt_m\tcourse_deg\r\n2026-09-20T10:00:00.250+02:00\t47\t7\t3\t359\r\n2026-09-20T10:00:01Z\t47.0001\t7\t3\t\r\n",
	"time_s,front_n,back_n,pitch_moment_nm\n0,400,350,20\n0.1,-1e39,350,\n0.2,400,,15\n0.3,,nan,\n0.3,401,x,1\n",
	imuHeader[:len(imuHeader)-1] + ",left_kgf,right_lbf\n0,1,2,3,4,5,6,40,80\n0.01,1.5,2,3,4,5,6.5,,\n0.02,1,2,3,4,5,6,65535,65535\n",
	"time_s,speed_kmh\n1789898400,10\n1789898401,11\n1789898401,12\n1789898400.5,nan\n3,1e40\n",
	imuHeader + "0,1,2,3,4,5\n\"0.01\",\"x\",2,3,4,5,6,7\n\x00\x00\n-1,1,2,3,4,5,Inf\n0,1,2,3,4,5,6",
	"time_s,lat_deg,lon_deg\n0,0,0\n1,991,5\n2,45,7\n3,45,7\n4,46,8\n100000,46,8\n",
	"time_ns,mx_ut,my_ut,mz_ut,ax_mg,ay_mg,az_mg\n9223372036854775807,1,2,3,4,5,6\n-9223372036854775808,1,2,3,4,5,6\n",
	"\xff\xfet\x00i\x00m\x00e\x00_\x00s\x00,\x00s\x00p\x00e\x00e\x00d\x00_\x00k\x00n\x00\n\x001\x00,\x002\x00\n\x00",
}

// FuzzCSV reads any bytes through the front door, plain and through gzip.
func FuzzCSV(f *testing.F) {
	for _, s := range csvSeeds {
		f.Add([]byte(s))
	}
	f.Add([]byte(imuHeader + imuRows(0, 100, 60) + imuRows(0.2, 100, 30) + imuRows(9, 25, 40)))
	f.Fuzz(func(t *testing.T, data []byte) {
		if k := sniff(data); k != kindCSV {
			return
		}
		r, err := read(bytes.NewReader(data), "f", int64(len(data)), Options{})
		if err != nil {
			return
		}
		n := len(r.Acc.Time) + len(r.Gyr.Time) + len(r.Gps.Time)
		if n > len(data) {
			t.Fatalf("%d samples in %d bytes", n, len(data))
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

// FuzzMap reads any bytes as a column map and lays it over a foreign CSV.
func FuzzMap(f *testing.F) {
	for _, s := range []string{
		"time = { column = \"T\", unit = \"ns\" }\nax_g = \"X\"\nay = { column = 3, unit = \"mps2\", scale = -1 }\naz_mps2 = \"Z\"\n",
		"delimiter = \";\"\ndecimal = \",\"\nskip_lines = 0\nheader = true\nstart = 2026-09-20T10:00:00Z\ntime_s = \"T\"\nlat = { column = \"X\", scale = 1e-7 }\nlon = \"Y\"\n",
		"header = false\ntime_ms = 1\nspeed_kn = 2\n", "ax_g = [1", "[ax]\ncolumn = \"X\"\nunit = \"g\"\n", "start = \"x\"", "time_utc = \"T\"\ncourse_rad = \"X\"\nspeed_mph = \"Y\"",
	} {
		f.Add([]byte(s), "T,X,Y,Z\n0,1,2,3\n1000,1,2,3\n2000,4e8,5,6\n")
	}
	f.Fuzz(func(t *testing.T, data []byte, text string) {
		m, err := csv.ParseMap("m", data)
		if err != nil || sniff([]byte(text)) != kindCSV {
			return
		}
		r, err := read(bytes.NewReader([]byte(text)), "f", int64(len(text)), Options{Map: m})
		if err != nil {
			return
		}
		if l, err := build(r); err == nil {
			if s := check(l); s != "" {
				t.Fatal(s)
			}
		}
	})
}

// FuzzProposeMap guesses a map for any text: what it proposes can be read as a
// map, fits the text's columns, and reads it without harm.
func FuzzProposeMap(f *testing.F) {
	for _, s := range append(csvSeeds, "stamp_ns,acc x,acc y,acc z,v [km/h]\n0,0,0,9.8,10\n10000000,0,0,9.8,11\n",
		"0.00,0.1,0.2,9.8,0,0,0\n0.01,0.1,0.2,9.8,0,0,0\n0.02,0.1,0.2,9.8,0,0,0\n", "sep=|\nDATE|TIME|t|x\n200926|100000|3|4\n") {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		text, ok := csv.Propose(data, "f.csv")
		if !ok {
			return
		}
		m, err := csv.ParseMap("m", []byte(text))
		if err != nil {
			t.Fatalf("%v in\n%s", err, text)
		}
		r, err := read(bytes.NewReader(data), "f.csv", int64(len(data)), Options{Map: m})
		if err != nil {
			return
		}
		if l, err := build(r); err == nil {
			if s := check(l); s != "" {
				t.Fatal(s)
			}
		}
	})
}

// FuzzMerge merges two logs of any content and shifts the IMU by any offset.
func FuzzMerge(f *testing.F) {
	for i, s := range csvSeeds {
		f.Add([]byte(s), []byte(csvSeeds[(i+1)%len(csvSeeds)]), 0.3, 50.0)
	}
	gyr := "time_s,gx_dps,gy_dps,gz_dps\n0.005,1,2,3\n0.015,1,2,3\n0.025,1,2,3\n"
	acc := "time_s,ax_g,ay_g,az_g\n0,1,2,3\n0.01,1,2,3\n0.02,1,2,3\n"
	f.Add([]byte(acc), []byte(gyr), -3000.0, 100.0)
	f.Add([]byte("# start: 2026-09-20T10:00:00Z\n"+acc), []byte("# start: 2026-09-20T11:00:00Z\n"+acc), 1.0, 0.0)
	f.Fuzz(func(t *testing.T, a, b []byte, offset, drift float64) {
		if !(math.Abs(offset) < 1e5 && math.Abs(drift) < 1e3) {
			return
		}
		var logs []*Log
		for _, data := range [][]byte{a, b} {
			r, err := read(bytes.NewReader(data), "f", int64(len(data)), Options{})
			if err != nil {
				continue
			}
			if l, err := build(r); err == nil {
				logs = append(logs, l)
			}
		}
		l, err := Merge(logs)
		if err != nil {
			return
		}
		if s := check(l); s != "" {
			t.Fatal(s)
		}
		if l.Clock.Tied && (len(l.IMU.Time) == 0 || len(l.GPS.Time) == 0) {
			t.Fatal("clocks tied with nothing to tie")
		}
		l.ShiftIMU(0, offset, drift, 0.1, 1, ByMotion)
		if s := check(l); s != "" {
			t.Fatal("shifted: " + s)
		}
	})
}

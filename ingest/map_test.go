package ingest

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenfoot/ingest/csv"
	"evenfoot/ingest/opendata"
	"evenfoot/ingest/unit"
)

func TestMap(t *testing.T) {
	m, err := csv.ParseMap("foreign.map.toml", []byte(`
# swapped axes, nanoseconds, another unit
delimiter = "|"
skip_lines = 2
time = { column = "t", unit = "ns" }
ax = { column = "accY", unit = "g", scale = -1 }
ay_mps2 = { column = "accX", scale = 2 }
az_g = { column = 4 }
gx_dps = "wx"
gy_dps = "WY"
gz_dps = "wz"
lat = { column = "latE7", scale = 1e-7 }
lon = { column = "lonE7", scale = 1e-7 }
speed = { column = "v", unit = "km/h" }
`))
	if err != nil {
		t.Fatal(err)
	}
	text := "made by\nsomebody\nt|accX|accY|accZ|wx|wy|wz|latE7|lonE7|v|extra\n" +
		"1789898400000000000|1|2|3|10|20|30|473000000|75000000|36|x\n" +
		"1789898400010000001|1,5|2.5|3|10|20|30||||x\n" +
		"1789898400020000000|1|2|3|10|20|30||||x\n"
	l, err := readText(text, Options{Map: m})
	if err != nil {
		t.Fatal(err)
	}
	if !l.Start.Equal(time.Date(2026, 9, 20, 10, 0, 0, 0, time.UTC)) || l.IMU.Time[1] != 0.010000001 {
		t.Errorf("start %v, times %v", l.Start, l.IMU.Time)
	}
	for _, c := range []struct {
		what      string
		got, want float32
	}{
		{"ax", l.IMU.Acc[0][1], -2.5 * unit.Gravity},
		{"ay", l.IMU.Acc[1][1], 3},
		{"az", l.IMU.Acc[2][1], 3 * unit.Gravity},
		{"gy", l.IMU.Gyr[1][1], 20 * math.Pi / 180},
		{"lat", float32(l.GPS.Lat[0]), 47.3},
		{"lon", float32(l.GPS.Lon[0]), 7.5},
		{"speed", l.GPS.Speed[0], 10},
	} {
		if math.Abs(float64(c.got-c.want)) > 1e-5*math.Abs(float64(c.want)) {
			t.Errorf("%s = %v, want %v", c.what, c.got, c.want)
		}
	}
	if len(l.Warnings) > 0 {
		t.Errorf("a map reads what it names and says nothing of the rest: %v", l.Warnings)
	}
}

func TestMapOptions(t *testing.T) {
	m, err := csv.ParseMap("m", []byte("header = false\ndecimal = ','\ndelimiter = ';'\nstart = 2026-09-20T12:00:00+02:00\n"+
		"time_ms = 1\nax_g = 2\nay_g = 3\naz_g = { column = 4, scale = -1 }\n"))
	if err != nil {
		t.Fatal(err)
	}
	l, err := readText("0;0,5;0;1\n10;0,25;0;1\n20;0;0;1\n", Options{Map: m})
	if err != nil {
		t.Fatal(err)
	}
	if len(l.IMU.Time) != 3 || l.IMU.Time[1] != 0.01 || l.IMU.Acc[2][0] != -unit.Gravity || l.Start.Hour() != 10 {
		t.Errorf("%v %v %v", l.Start, l.IMU.Time, l.IMU.Acc)
	}
}

func TestMapErrors(t *testing.T) {
	for _, c := range []struct{ toml, want string }{
		{"", "names no column"},
		{"ax_mps2 = \"x\"\nay_mps = \"y\"\n", `m, line 2: unknown key "ay_mps"; did you mean ay_mps2?`},
		{"\nlatt_deg = \"y\"\n", `line 2: unknown key "latt_deg"; did you mean lat_deg?`},
		{"delimeter = \";\"\n", "did you mean delimiter?"},
		{"ax = \"x\"\n", "ax does not say its unit"},
		{"ax = { column = \"x\", unit = \"furlong\" }\n", `unit is one of mps2, g, mg, cmps2, not "furlong"`},
		{"ax_g = { column = \"x\", unit = \"mps2\" }\n", "the name says g and unit says mps2"},
		{"ax_g = { colum = \"x\" }\n", `ax_g: unknown key "colum"; did you mean column?`},
		{"ax_g = { unit = \"g\" }\n", "does not say which column"},
		{"ax_g = { column = \"x\", scale = 0 }\n", "other than 0"},
		{"ax_g = { column = \"x\", scale = nan }\n", "other than 0"},
		{"ax_g = { column = \"x\", scale = \"2\" }\n", "scale is a number"},
		{"ax_g = 1.5\n", "other file's header in quotes"},
		{"ax_g = { column = -1 }\n", "counted from 1"},
		{"ax_g = \"x\"\nax_mps2 = \"y\"\n", "are the same column"},
		{"time_s = \"t\"\ntime = { column = \"u\", unit = \"ms\" }\n", "are the same column"},
		{"time_s = { column = \"t\", scale = 2 }\n", "takes a unit"},
		{"delimiter = \",\"\ndecimal = \",\"\nax_g = \"x\"\n", "both a comma"},
		{"delimiter = 3\nax_g = \"x\"\n", "delimiter is one of"},
		{"skip_lines = -1\nax_g = \"x\"\n", "whole number of lines"},
		{"header = 1\nax_g = \"x\"\n", "header is true or false"},
		{"header = false\nax_g = \"x\"\n", "given by its number"},
		{"start = \"yesterday\"\nax_g = \"x\"\n", "start is a time such as"},
		{"ax_g = \"x\nay = 1\n", "m, line 1"},
		{"ax_g = [1, 2]\n", "ax_g is the other file's header"},
	} {
		_, err := csv.ParseMap("m", []byte(c.toml))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v\nwant %q", c.toml, err, c.want)
		}
	}
	m, err := csv.ParseMap("m", []byte("time_s = \"time\"\nax_g = \"accel x\"\nay_g = \"y\"\naz_g = \"z\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	_, err = readText("time,accel_x,y,z\n0,1,2,3\n", Options{Map: m})
	if err == nil || !strings.Contains(err.Error(), `no column "accel x"`) || !strings.Contains(err.Error(), `did you mean "accel_x"?`) ||
		!strings.Contains(err.Error(), "The header is: time, accel_x, y, z") {
		t.Error(err)
	}
}

// TestMapForSeveralFiles: one map may serve one file a sensor, and a session
// that has files of ours besides.
func TestMapForSeveralFiles(t *testing.T) {
	m, err := csv.ParseMap("m", []byte("time_ms = \"t\"\nax_g = \"x\"\nay_g = \"y\"\naz_g = \"z\"\ngx_dps = \"p\"\ngy_dps = \"q\"\ngz_dps = \"r\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	acc, err := readText("t,x,y,z\n0,0,0,1\n10,0,0,1\n20,0,0,1\n", Options{Map: m})
	if err != nil {
		t.Fatal(err)
	}
	hasWarning(t, acc, 1, "gyroscope column map names")
	gyr, err := readText("t,p,q,r\n0,1,2,3\n10,1,2,3\n20,1,2,3\n", Options{Map: m})
	if err != nil {
		t.Fatal(err)
	}
	l, err := Merge([]*Log{acc, gyr})
	if err != nil || len(l.IMU.Time) != 3 || !l.IMU.hasGyro() {
		t.Errorf("%v, %+v", err, l)
	}
	ours, err := readText("time_s,speed_kn\n0,10\n1,10\n2,11\n", Options{Map: m})
	if err != nil || len(ours.GPS.Time) != 3 {
		t.Fatalf("a file of ours: %v", err)
	}
	hasWarning(t, ours, 1, "map does not fit")
	if _, err := readText("t,x,y,zz\n0,0,0,1\n", Options{Map: m}); err == nil || !strings.Contains(err.Error(), `no column "z"`) {
		t.Errorf("an axis is missing: %v", err)
	}
}

// TestProposeMap: what inspect proposes reads the file, with the right units.
func TestProposeMap(t *testing.T) {
	row := func(format string, n int, f func(i int) []any) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, format+"\n", f(i)...)
		}
		return b.String()
	}
	for _, c := range []struct {
		name, file, text string
		want             []string // lines of the map
		imu, gps         bool
		acc              float64 // size of gravity when read through it
	}{
		{"nanoseconds and m/s²", "sensors.csv",
			"timestamp_ns,accelerometer_x,accelerometer_y,accelerometer_z,gyroscope_x,gyroscope_y,gyroscope_z,temperature\n" +
				row("%d,0.1,0.2,9.8,0.01,0.02,0.03,21", 50, func(i int) []any { return []any{1789898400000000000 + int64(i)*10000000} }),
			[]string{`time = { column = "timestamp_ns", unit = "ns" }`, `az = { column = "accelerometer_z", unit = "mps2" }`, `gx = { column = "gyroscope_x", unit = "radps"`, `# Not used: "temperature".`}, true, false, 9.80},
		{"axes in another order, bare names", "board.csv",
			"stamp,timestamp [ns],acc_y,acc_x,acc_z,rot x,rot y,rot z\n" +
				row("%d,%d,0.2,0.1,1.0,1.1,40.2,3.3", 50, func(i int) []any { return []any{i, 1789898400000000000 + int64(i)*10000000} }),
			[]string{`ax = { column = "acc_x", unit = "g" }`, `gx = { column = "rot x", unit = "dps" }`, `# Not used: "stamp".`}, true, false, 10.05},
		{"one sensor a file, in g", "Accelerometer.csv",
			"time,seconds_elapsed,z,y,x\n" + row("%d,%.3f,1.01,0.02,0.03", 50, func(i int) []any { return []any{1789898400000000000 + int64(i)*10000000, float64(i) / 100} }),
			[]string{`time = { column = "time", unit = "ns" }`, `ax = { column = "x", unit = "g" }`, `az = { column = "z", unit = "g" }`}, true, false, 9.9},
		{"units in brackets, milliseconds, semicolons", "log.txt",
			"Time (ms);Acc X (m/s²);Acc Y (m/s²);Acc Z (m/s²);Gyro X (deg/s);Gyro Y (deg/s);Gyro Z (deg/s)\n" +
				row("%d;0,1;0,2;9,8;1;2;3", 50, func(i int) []any { return []any{i * 10} }),
			[]string{`time = { column = "Time (ms)", unit = "ms" }`, `ay = { column = "Acc Y (m/s²)", unit = "mps2" }`, `gz = { column = "Gyro Z (deg/s)", unit = "dps" }`}, true, false, 9.8},
		{"raw counts below a preamble", "raw.csv",
			"Logger 3\nserial 77\n\nmicros,ax,ay,az,gx,gy,gz\n" + row("%d,12,-30,4090,250,10,%d", 50, func(i int) []any { return []any{i * 5000, i * 40} }),
			[]string{"skip_lines = 3", `time = { column = "micros", unit = "us"`, `scale = 0.000244140625`, `gx = { column = "gx", unit = "dps"`}, true, false, 9.8},
		{"a phone's positions", "Location.csv",
			"time,longitude,latitude,altitude,speed,bearing,horizontalAccuracy\n" +
				row("%d,7.5,%.6f,3,%.1f,0,4", 50, func(i int) []any { return []any{1789898400000 + i*1000, 47 + float64(i)*5e-5, 5.5} }),
			[]string{`lat = { column = "latitude"`, `speed = { column = "speed", unit = "mps" } # unit guessed`, `course = { column = "bearing"`, `unit = "ms"`}, false, true, 0},
		{"ISO times and scaled degrees", "track.csv",
			"Date Time,lat,lon,SOG [kn]\n" + row("2026-09-20 10:00:%02d,%d,75000000,10.5", 50, func(i int) []any { return []any{i, 470000000 + i*500} }),
			[]string{`time = { column = "Date Time", unit = "utc" }`, `lat = { column = "lat", unit = "deg", scale = 1e-07 }`, `unit = "kn"`}, false, true, 0},
		{"no header", "bare.csv",
			row("7,%.2f,0.01,0.02,1.00,1,2,60", 50, func(i int) []any { return []any{float64(i) / 100} }),
			[]string{"header = false", `time = { column = 2, unit = "s" } # guessed`, `ax = { column = 3, unit = "g" }`, `gz = { column = 8, unit = "dps" }`, `# Not used: "1".`}, true, false, 9.81},
		{"t is no time where it falls", "t.csv",
			"t,n,ax,ay,az\n" + row("%.1f,%d,0.1,0.2,9.8", 50, func(i int) []any { return []any{21.5 - float64(i%3), i * 10} }),
			[]string{"skeleton"}, false, false, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), c.file)
			if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
				t.Fatal(err)
			}
			proposed, ok := ProposeMap(path)
			if c.want[0] == "skeleton" && !ok && strings.Contains(proposed, `# ? = { column = "t"`) {
				return
			}
			if !ok {
				t.Fatal("no proposal")
			}
			for _, w := range c.want {
				if !strings.Contains(proposed, w) {
					t.Errorf("lacks %q:\n%s", w, proposed)
				}
			}
			if err := os.WriteFile(path+".map.toml", []byte(proposed), 0o644); err != nil {
				t.Fatal(err)
			}
			l, err := Open(path, Options{})
			if err != nil {
				t.Fatalf("%v\n%s", err, proposed)
			}
			if (len(l.IMU.Time) == 50) != c.imu || (len(l.GPS.Time) == 50) != c.gps {
				t.Fatalf("%d samples, %d fixes", len(l.IMU.Time), len(l.GPS.Time))
			}
			if c.imu {
				x, y, z := float64(l.IMU.Acc[0][9]), float64(l.IMU.Acc[1][9]), float64(l.IMU.Acc[2][9])
				if n := math.Sqrt(x*x + y*y + z*z); math.Abs(n-c.acc) > 0.1 {
					t.Errorf("gravity reads %v", n)
				}
				if math.Abs(l.IMU.Rate-100) > 0.1 && c.file != "raw.csv" {
					t.Errorf("rate %v", l.IMU.Rate)
				}
			}
		})
	}
	dir := t.TempDir()
	for name, text := range map[string]string{
		"ours.csv": imuHeader + "0,1,2,3,4,5,6\n1,1,2,3,4,5,6\n", "more.csv": "temp,time_s,speed_kn\n20,1,2\n20,2,2\n", "words.csv": "name,colour\nann,red\n",
		"numbers.csv": "a,b,c\n1,2,3\n4,5,6\n", "empty.csv": "", "notes.txt": "Dear diary,\nit was windy, and cold\n",
	} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if p, ok := ProposeMap(path); ok {
			t.Errorf("%s: proposes\n%s", name, p)
		}
	}
}

func TestMapBeside(t *testing.T) {
	dir := t.TempDir()
	log := []byte("T,X,Y,Z\n0,1,2,9\n10,1,2,9\n20,1,2,9\n")
	toml := []byte("time_ms = \"T\"\nax_mps2 = \"X\"\nay_mps2 = \"Y\"\naz_mps2 = \"Z\"\n")
	for _, names := range [][2]string{{"a.csv", "a.csv.map.toml"}, {"b.csv", "b.map.toml"}, {"c.csv.gz", "c.map.toml"}} {
		data := log
		if strings.HasSuffix(names[0], ".gz") {
			data = gz(t, log)
		}
		for name, b := range map[string][]byte{names[0]: data, names[1]: toml} {
			if err := os.WriteFile(filepath.Join(dir, name), b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		l, err := Open(filepath.Join(dir, names[0]), Options{})
		if err != nil || len(l.IMU.Time) != 3 {
			t.Errorf("%v: %v", names, err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "a.csv.map.toml"), []byte("nonsense = 3\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(filepath.Join(dir, "a.csv"), Options{}); err == nil || !strings.Contains(err.Error(), "a.csv.map.toml, line 1") {
		t.Errorf("a faulty map: %v", err)
	}
}

// TestProposedMapReadsSharedData: files with other names are read through the
// map that is proposed for them. The data lie outside the project.
func TestProposedMapReadsSharedData(t *testing.T) {
	for name, hz := range map[string]float64{"slow_rotation.csv.gz": 285.7, "vessel_imu.csv.gz": 10.24} {
		path := opendata.Path(t, "attitude/"+name)
		text, ok := ProposeMap(path)
		if !ok {
			t.Fatalf("%s: no proposal", name)
		}
		m, err := csv.ParseMap("proposed", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		l, err := Open(path, Options{Map: m})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(l.IMU.Rate-hz) > 0.001*hz || !l.IMU.hasGyro() || len(l.IMU.Gaps) > 0 {
			t.Errorf("%s: %v Hz, gaps %v", name, l.IMU.Rate, l.IMU.Gaps)
		}
	}
}

// TestForeignNames: what phones, receivers and autopilots write is read without
// a map, and a part of the specific force is never taken for the whole.
func TestForeignNames(t *testing.T) {
	rows := func(format string, f func(i int) []any) string {
		var b strings.Builder
		for i := range 50 {
			fmt.Fprintf(&b, format+"\n", f(i)...)
		}
		return b.String()
	}
	stamp := func(i int) int64 { return 1789898400000000000 + int64(i)*10000000 }
	acc := rows("%d,%.2f,9.81,0.1,0.2", func(i int) []any { return []any{stamp(i), float64(i) / 100} })
	for _, c := range []struct {
		file, text string
		imu, gps   int // samples; 0 and 0: refused
	}{
		{"Accelerometer.csv", "time,seconds_elapsed,z,y,x\n" + acc, 50, 0},
		{"LinearAcceleration.csv", "time,seconds_elapsed,z,y,x\n" + acc, 0, 0},
		{"Gravity.csv", "time,seconds_elapsed,z,y,x\n" + acc, 0, 0},
		{"Magnetometer.csv", "time,seconds_elapsed,z,y,x\n" + acc, 0, 0},
		{"phone.csv", "timestamp,userAcceleration.x,userAcceleration.y,userAcceleration.z\n" + rows("%d,0.1,0.2,9.7", func(i int) []any { return []any{stamp(i)} }), 0, 0},
		{"weightless.csv", "timestamp,acc_x,acc_y,acc_z\n" + rows("%d,0.1,0.2,0.1", func(i int) []any { return []any{stamp(i)} }), 0, 0},
		{"autopilot.csv", "TimeUS,GyrX,GyrY,GyrZ,AccX,AccY,AccZ\n" + rows("%d,0.01,0.02,0.03,0.1,0.2,-9.8", func(i int) []any { return []any{i * 10000} }), 50, 0},
		{"robot.csv", "#timestamp [ns],ang_vel_x,ang_vel_y,ang_vel_z,acc_x,acc_y,acc_z\n" + rows("%d,0.01,0.02,0.03,0.1,0.2,9.8", func(i int) []any { return []any{stamp(i)} }), 50, 0},
		{"spreadsheet.csv", "sep=;\nTime (ms);Acc X (m/s²);Acc Y (m/s²);Acc Z (m/s²)\n" + rows("%d;0,1;0,2;9,8", func(i int) []any { return []any{i * 10} }), 50, 0},
		{"cells.csv", "INDEX,DATE,TIME,LATITUDE,LONGITUDE,HEIGHT,SPEED\n" + rows("%d,260920,1000%02d,%.6fN,7.500000W,3 m,20.0 km/h", func(i int) []any { return []any{i, i, 47 + float64(i)*5e-5} }), 0, 50},
		{"minutes.csv", "Date,UTC Time,Lat,Lon,SOG (kn)\n" + rows("20.09.2026,10:00:%02d,%.5f,00730.00000,10.8", func(i int) []any { return []any{i, 4700 + float64(i)*3e-3} }), 0, 50},
		{"receiver.csv", "Timestamp,Latitude,Longitude,Altitude,Velocity,Direction\n" + rows("%d,%.6f,7.5,3,5.56,0", func(i int) []any { return []any{stamp(i * 100), 47 + float64(i)*5e-5} }), 0, 50},
		{"speed.csv", "timestamp,velocity\n" + rows("%d,5.5", func(i int) []any { return []any{stamp(i * 100)} }), 0, 0}, // in what unit?
	} {
		path := filepath.Join(t.TempDir(), c.file)
		if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		l, err := Open(path, Options{})
		if c.imu+c.gps == 0 {
			if part := c.file != "Magnetometer.csv" && c.file != "speed.csv"; csv.IsPart(err) != part || part && !strings.Contains(err.Error(), "log the total acceleration") {
				t.Errorf("%s: %v", c.file, err)
			}
			if err == nil {
				t.Errorf("%s: read as %d samples, %d fixes", c.file, len(l.IMU.Time), len(l.GPS.Time))
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.file, err)
			continue
		}
		if len(l.IMU.Time) != c.imu || len(l.GPS.Time) != c.gps {
			t.Errorf("%s: %d samples, %d fixes", c.file, len(l.IMU.Time), len(l.GPS.Time))
		}
		hasWarning(t, l, 0, "recognised by")
		if c.gps > 0 {
			if last := l.Start.Add(time.Duration(l.GPS.Time[49]) * time.Second); last.Format(time.DateTime) != "2026-09-20 10:00:49" {
				t.Errorf("%s: ends at %s", c.file, last)
			}
			if g := l.GPS; math.Abs(g.Lat[49]-47.00245) > 1e-6 || math.Abs(math.Abs(g.Lon[49])-7.5) > 1e-9 || (g.Lon[49] < 0) != (c.file == "cells.csv") || math.Abs(float64(g.Speed[49])-5.556) > 0.01 {
				t.Errorf("%s: %v %v, %v m/s", c.file, g.Lat[49], g.Lon[49], g.Speed[49])
			}
		}
	}
}

// TestReadmeMap: the column map in the README is one.
func TestReadmeMap(t *testing.T) {
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(readme), "    # FILE.csv.map.toml")
	text, _, found := strings.Cut(after, "\n\n")
	if !found {
		t.Fatal("the README shows no column map")
	}
	if _, err := csv.ParseMap("README", []byte("#"+text)); err != nil {
		t.Error(err)
	}
}

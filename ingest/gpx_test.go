package ingest_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenfoot/ingest"

	"github.com/tkrajina/gpxgo/gpx"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// track wraps track points in a GPX file.
func track(points string) string {
	return `<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="t"><trk><trkseg>` + points + `</trkseg></trk></gpx>`
}

const (
	p1 = `<trkpt lat="45" lon="-1"><time>2026-09-20T10:00:00Z</time></trkpt>`
	p2 = `<trkpt lat="45.5" lon="-1.5"><time>2026-09-20T10:00:01Z</time></trkpt>`
)

func TestGPXTimes(t *testing.T) {
	for _, c := range []struct {
		in   string
		want string // "" when it cannot be read
	}{
		{"2026-09-20T10:00:00Z", "2026-09-20T10:00:00Z"},
		{"2026-09-20T10:00:00.25Z", "2026-09-20T10:00:00.25Z"},
		{"2026-09-20T10:00:00.123456789Z", "2026-09-20T10:00:00.123456789Z"},
		{"2026-09-20T14:00:00.250+02:00", "2026-09-20T12:00:00.25Z"},
		{"2026-09-20T14:00:00-0530", "2026-09-20T19:30:00Z"},
		{"2026-09-20T14:00:00+05:45", "2026-09-20T08:15:00Z"},
		{"2026-09-20T10:00:00", "2026-09-20T10:00:00Z"},
		{"\n  2026-09-20T10:00:00Z  \n", "2026-09-20T10:00:00Z"},
		{"<![CDATA[2026-09-20T10:00:00Z]]>", "2026-09-20T10:00:00Z"},
		{"2026-09-20T<!-- noon -->10:00:00Z", "2026-09-20T10:00:00Z"},
		{"2026-09-20T10&#58;00&#x3a;00Z", "2026-09-20T10:00:00Z"},
		{"2026-09-20T24:00:00Z", "2026-09-21T00:00:00Z"},
		{"2016-12-31T23:59:60Z", "2017-01-01T00:00:00Z"},
		{"2026-09-20T10:61:00Z", ""},
		{"2026-02-30T10:00:00Z", ""},
		{"yesterday", ""},
		{"2026-09-20T10:00:00.Z", ""},
		{"2026-09-20T10:00:00.2.5Z", ""},
		{"2026-09-20T10:0x:00Z", ""},
	} {
		// Alone, and after a point of the same day, which is the fast path.
		for _, before := range []string{"", p1} {
			l, err := ingest.ReadGPX([]byte(track(before + `<trkpt lat="45" lon="-1"><time>` + c.in + `</time></trkpt>`)))
			n := strings.Count(before, "<trkpt")
			if c.want == "" {
				if err == nil && (len(l.GPS.Time) != n || dropCount(l, "unreadable time") != 1) {
					t.Errorf("%q: read as %v", c.in, l.GPS.Time)
				}
				continue
			}
			if err != nil || len(l.GPS.Time) != n+1 {
				t.Errorf("%q: %v, %v", c.in, l, err)
				continue
			}
			want, err := time.Parse(time.RFC3339Nano, c.want)
			if err != nil {
				t.Fatal(err)
			}
			if d := l.Start.Add(time.Duration(math.Round(l.GPS.Time[n] * 1e9))).Sub(want); d.Abs() > time.Microsecond || n == 0 && d != 0 {
				t.Errorf("%q: %v off", c.in, d)
			}
		}
	}
}

func TestGPXPoints(t *testing.T) {
	nan := math.NaN()
	type row struct{ lat, lon, alt, speed, course float64 }
	point := func(attrs, inner string) string {
		return "<trkpt " + attrs + "><time>2026-09-20T10:00:01Z</time>" + inner + "</trkpt>"
	}
	for _, c := range []struct {
		name string
		in   string
		want []row
		drop string // reason of one drop, "" for none
		warn string
	}{
		{"1.0 speed and course", point(`lat="1" lon="2"`, "<ele>3.5</ele><course>359.5</course><speed>4.25</speed>"), []row{{1, 2, 3.5, 4.25, 359.5}}, "", ""},
		{"1.1 extensions with a prefix", point(`lat="1" lon="2"`, "<extensions><a:TrackPointExtension><a:speed>4.25</a:speed><a:course>10</a:course></a:TrackPointExtension></extensions>"), []row{{1, 2, nan, 4.25, 10}}, "", ""},
		{"1.1 extensions, flat", point(`lat="1" lon="2"`, "<extensions><speed>4.25</speed><course>360</course><power>9</power></extensions>"), []row{{1, 2, nan, 4.25, 0}}, "", ""},
		{"speed in knots by name", point(`lat="1" lon="2"`, "<extensions><speed_kn>10</speed_kn></extensions>"), []row{{1, 2, nan, 5.14444, nan}}, "", ""},
		{"unknown speed and course", point(`lat="1" lon="2"`, "<course>-1</course><speed>-1</speed>"), []row{{1, 2, nan, nan, nan}}, "", ""},
		{"single quotes, blanks, other attributes", point("\n id = 'a>b'  lon = '2'\tlat\n=\n\"1\" ", ""), []row{{1, 2, nan, nan, nan}}, "", ""},
		{"exponent, sign, blanks in numbers", point(`lat=" +1e0 " lon="-2.0E-1"`, "<ele> 1e1 </ele>"), []row{{1, -0.2, 10, nan, nan}}, "", ""},
		{"missing latitude", point(`lon="2"`, ""), nil, "point without a position", "point without a position"},
		{"impossible latitude", point(`lat="991" lon="2"`, ""), nil, "point without a position", "point without a position"},
		{"garbled longitude", point(`lat="1" lon="2,5"`, ""), nil, "point without a position", "point without a position"},
		{"not a number", point(`lat="NaN" lon="2"`, ""), nil, "point without a position", "point without a position"},
		{"infinite", point(`lat="1" lon="Inf"`, ""), nil, "point without a position", "point without a position"},
		{"null island", point(`lat="0" lon="0.0"`, ""), nil, "no fix yet", ""},
		{"the equator", point(`lat="0" lon="9"`, ""), []row{{0, 9, nan, nan, nan}}, "", ""},
		{"no time", `<trkpt lat="1" lon="2"/>`, nil, "no time", ""},
		{"garbled altitude", point(`lat="1" lon="2"`, "<ele>high</ele>"), []row{{1, 2, nan, nan, nan}}, "", "altitude unreadable value, \"high\""},
		{"infinite speed", point(`lat="1" lon="2"`, "<speed>1e999</speed>"), []row{{1, 2, nan, nan, nan}}, "", "speed"},
		{"an entity of the document's own", point(`lat="1" lon="2"`, "<ele>&high;</ele>"), []row{{1, 2, nan, nan, nan}}, "", "altitude"},
		{"time of something else inside a point", point(`lat="1" lon="2"`, "<extensions><time>2001-01-01T00:00:00Z</time></extensions><link><time>x</time></link>"), []row{{1, 2, nan, nan, nan}}, "", ""},
		{"comments, CDATA and instructions", "<!-- <trkpt lat='8' lon='8'> -->" + point(`lat="1" lon="2"`, "<!-- a -- b ><ele>7</ele> --><desc><![CDATA[</trkpt><trkpt>]]></desc><?x <ele>?><ele>3</ele>"), []row{{1, 2, 3, nan, nan}}, "", ""},
		{"a point in a point", "<trkpt lat='5' lon='5'>" + point(`lat="1" lon="2"`, ""), []row{{1, 2, nan, nan, nan}}, "", "point inside a point"},
		{"prefixed elements", "<g:trkpt lat='1' lon='2'><g:time>2026-09-20T10:00:01Z</g:time><g:ele>4</g:ele></g:trkpt>", []row{{1, 2, 4, nan, nan}}, "", ""},
		{"wrongly nested child", point(`lat="1" lon="2"`, "<b><i></b></i><ele>4"), []row{{1, 2, 4, nan, nan}}, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := ingest.ReadGPX([]byte(track(p1 + c.in + p2)))
			if err != nil {
				t.Fatal(err)
			}
			if len(l.GPS.Time) != len(c.want)+2 {
				t.Fatalf("%d points, want %d; %v %v", len(l.GPS.Time), len(c.want)+2, l.Warnings, l.Files[0].Dropped)
			}
			if i := len(l.GPS.Time) - 1; l.GPS.Lat[i] != 45.5 || l.GPS.Lon[i] != -1.5 {
				t.Errorf("the point after is at %v, %v", l.GPS.Lat[i], l.GPS.Lon[i])
			}
			for i, w := range c.want {
				g := &l.GPS
				got := row{g.Lat[i+1], g.Lon[i+1], float64(g.Alt[i+1]), float64(g.Speed[i+1]), float64(g.Course[i+1])}
				for k, pair := range [][2]float64{{got.lat, w.lat}, {got.lon, w.lon}, {got.alt, w.alt}, {got.speed, w.speed}, {got.course, w.course}} {
					if !near(pair[0], pair[1], 1e-5) && !(pair[0] != pair[0] && pair[1] != pair[1]) {
						t.Errorf("value %d: got %+v, want %+v", k, got, w)
					}
				}
			}
			if n := dropCount(l, ""); (n > 0) != (c.drop != "") || c.drop != "" && dropCount(l, c.drop) != 1 {
				t.Errorf("dropped %v, want %q", l.Files[0].Dropped, c.drop)
			}
			if (len(l.Warnings) > 0) != (c.warn != "") || c.warn != "" && !hasWarning(l, c.warn) {
				t.Errorf("warnings %v, want %q", l.Warnings, c.warn)
			}
		})
	}
}

func TestGPXMotion(t *testing.T) {
	one := func(ext string) string {
		return track(`<trkpt lat="1" lon="2"><extensions>` + ext + `</extensions><time>2026-09-20T10:00:00Z</time></trkpt>`)
	}
	for _, c := range []struct {
		name string
		in   string
		time []float64
		z    []float64 // m/s²
		warn string
	}{
		{"samples with offsets", one(`<a:AccelerationExtension><a:accel offset="0" x="0.1" y="0" z="1"/><a:accel offset="40" x="0.1" y="0" z="2"/></a:AccelerationExtension>`), []float64{0, 0.04}, []float64{earthG, 2 * earthG}, ""},
		{"axes by name", one(`<ax_mps2>1</ax_mps2><ay_mps2>2</ay_mps2><az_mps2>9</az_mps2>`), []float64{0}, []float64{9}, ""},
		{"axes with a unit", one(`<acc_x unit="g">0</acc_x><acc_y unit="g">0</acc_y><acc_z unit="g">1</acc_z>`), []float64{0}, []float64{earthG}, ""},
		{"no unit", one(`<ax>1</ax><ay>2</ay><az>9</az>`), nil, nil, "unit"},
		{"no axis", one(`<ax_g>1</ax_g><az_g>9</az_g>`), nil, nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := ingest.ReadGPX([]byte(c.in))
			if err != nil {
				t.Fatal(err)
			}
			if len(l.IMU.Time) != len(c.time) {
				t.Fatalf("%d samples, want %d: %v", len(l.IMU.Time), len(c.time), l.Warnings)
			}
			for i := range c.time {
				if !near(l.IMU.Time[i], c.time[i], 1e-9) || !near(float64(l.IMU.Acc[2][i]), c.z[i], 1e-5) {
					t.Errorf("sample %d: %v at %v, want %v at %v", i, l.IMU.Acc[2][i], l.IMU.Time[i], c.z[i], c.time[i])
				}
			}
			if (len(l.Warnings) > 0) != (c.warn != "") {
				t.Errorf("warnings %v, want %q", l.Warnings, c.warn)
			}
		})
	}
}

func TestGPXSegments(t *testing.T) {
	at := func(s int) string {
		return fmt.Sprintf(`<trkpt lat="45" lon="-1"><time>2026-09-20T10:00:%02dZ</time></trkpt>`, s)
	}
	l, err := ingest.ReadGPX([]byte("<gpx><metadata><time>2001-01-01T00:00:00Z</time></metadata><wpt lat='1' lon='1'><time>2001-01-01T00:00:00Z</time></wpt>" +
		"<trk><name>a</name><trkseg>" + at(0) + at(1) + "</trkseg><trkseg/><trkseg>" + at(10) + "</trkseg></trk><trk><trkseg>" + at(30) + "</trkseg></trk></gpx>"))
	if err != nil {
		t.Fatal(err)
	}
	if fmt.Sprint(l.GPS.Time) != "[0 1 10 30]" || l.Start.Year() != 2026 || len(l.Files[0].Marks) != 1 {
		t.Errorf("times %v from %v, dropped %v", l.GPS.Time, l.Start, l.Files[0].Dropped)
	}
}

func TestGPXEncodings(t *testing.T) {
	doc := func(label string) string {
		return strings.Replace(track(p1+p2), `encoding="UTF-8"`, label, 1)
	}
	named := strings.Replace(doc(`encoding="ISO-8859-1"`), `creator="t"`, `creator="Bréhat"`, 1)
	latin, err := charmap.ISO8859_1.NewEncoder().String(named)
	if err != nil {
		t.Fatal(err)
	}
	utf16 := func(e unicode.Endianness, b unicode.BOMPolicy) string {
		s, err := unicode.UTF16(e, b).NewEncoder().String(strings.Replace(doc(`encoding="UTF-16"`), `creator="t"`, `creator="Bréhat"`, 1))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for _, c := range []struct {
		name, in, creator, warn string
	}{
		{"UTF-8 with a byte order mark", "\ufeff" + doc(`encoding="UTF-8"`), "t", ""},
		{"no declaration", doc(`encoding="UTF-8"`)[38:], "t", ""},
		{"Latin-1", latin, "Bréhat", ""},
		{"UTF-16, little-endian, marked", utf16(unicode.LittleEndian, unicode.UseBOM), "Bréhat", ""},
		{"UTF-16, big-endian, marked", utf16(unicode.BigEndian, unicode.UseBOM), "Bréhat", ""},
		{"UTF-16, little-endian, unmarked", utf16(unicode.LittleEndian, unicode.IgnoreBOM), "Bréhat", ""},
		{"UTF-16, big-endian, unmarked", utf16(unicode.BigEndian, unicode.IgnoreBOM), "Bréhat", ""},
		{"declared as UTF-16 and is not", doc(`encoding="UTF-16"`), "t", ""},
		{"Windows-1252", doc(`encoding="windows-1252"`), "t", ""},
		{"UTF-8 without its stroke", doc(`encoding="UTF8"`), "t", ""},
		{"ISO 8859-1 with one stroke", strings.Replace(latin, "ISO-8859-1", "ISO8859-1", 1), "Bréhat", ""},
		{"unknown", doc(`encoding="klingon-7"`), "t", "klingon-7"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := ingest.ReadGPX([]byte(c.in))
			if err != nil {
				t.Fatal(err)
			}
			if len(l.GPS.Time) != 2 || l.Files[0].Device != c.creator {
				t.Errorf("%d points, device %q", len(l.GPS.Time), l.Files[0].Device)
			}
			if (len(l.Warnings) > 0) != (c.warn != "") || c.warn != "" && !hasWarning(l, c.warn) {
				t.Errorf("warnings %v", l.Warnings)
			}
		})
	}
}

func TestGPXHostile(t *testing.T) {
	laughs := `<!DOCTYPE gpx [<!ENTITY a "ha"><!-- it's > ]> --><!ENTITY b "&a;&a;&a;&a;">
<!ENTITY c '&b;>&b;]'>]>`
	for _, c := range []struct {
		name, in string
		n        int
		warn     string
	}{
		{"entity bomb", strings.Replace(track(p1+`<trkpt lat="&c;" lon="1"><time>2026-09-20T10:00:01Z</time></trkpt>`+p2), "<gpx", laughs+"<gpx", 1), 2, "entity declarations"},
		{"document type without entities", strings.Replace(track(p1), "<gpx", `<!DOCTYPE gpx SYSTEM "gpx.dtd"><gpx`, 1), 1, ""},
		{"deep elements", track(p1 + strings.Repeat("<a>", 5000) + p2), 1, "deep"},
		{"deep elements in a point", track(p1 + "<trkpt lat='1' lon='1'>" + strings.Repeat("<a>", 5000) + p2), 1, "deep"},
		{"a tag without end", track(p1 + "<a b='" + strings.Repeat("x", 200_000)), 1, "tag"},
		{"a long comment", track(p1 + "<!--" + strings.Repeat("- ", 200_000) + "-->" + p2), 2, ""},
		{"a long text", track(p1 + "<desc>" + strings.Repeat("x\n", 200_000) + "</desc>" + p2), 2, ""},
		{"a long number", track(p1 + "<trkpt lat='1' lon='1'><ele>" + strings.Repeat("1", 200_000) + "</ele><time>2026-09-20T10:00:01Z</time></trkpt>"), 2, "altitude"},
		{"end tags alone", "</a></trkpt></b>" + track(p1) + "</gpx></gpx></trkpt>", 1, ""},
		{"an unclosed comment", track(p1) + "<!-- ", 1, "cut off"},
		{"two documents", track(p1) + track(p2), 2, ""},
		{"empty tags", track("<><//></><:/>" + p1), 1, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := ingest.ReadGPX([]byte(c.in))
			if err != nil {
				t.Fatal(err)
			}
			if len(l.GPS.Time) != c.n {
				t.Errorf("%d points, want %d", len(l.GPS.Time), c.n)
			}
			if (len(l.Warnings) > 0) != (c.warn != "") || c.warn != "" && !hasWarning(l, c.warn) {
				t.Errorf("warnings %v, want %q", l.Warnings, c.warn)
			}
		})
	}
}

func TestGPXNothingUsable(t *testing.T) {
	for name, c := range map[string][2]string{
		"no times":  {track(`<trkpt lat="1" lon="2"/><trkpt lat="1" lon="2"></trkpt>`), "2 × track point no time"},
		"waypoints": {`<gpx><wpt lat="1" lon="2"><time>2026-09-20T10:00:01Z</time></wpt><rte><rtept lat="1" lon="2"/></rte></gpx>`, "1 × route point"},
		"empty":     {"", "no track point"},
		"cut":       {track("")[:50], "cut off"},
	} {
		if _, err := ingest.ReadGPX([]byte(c[0])); err == nil || !strings.Contains(err.Error(), c[1]) {
			t.Errorf("%s: %v, want %q", name, err, c[1])
		}
	}
}

// A warning names the line.
func TestGPXLines(t *testing.T) {
	in := "<gpx>\n<!-- a\n comment -->\n<trk\n><trkseg><desc>\n</desc>" + p1 + "\n<trkpt\n lat='x' lon='1'>\n<time>2026-09-20T10:00:01Z</time></trkpt>\n\n<trkpt lat='1' lon='1'>\n<time>never</time></trkpt>"
	l, err := ingest.ReadGPX([]byte(in))
	if err != nil {
		t.Fatal(err)
	}
	var got []int
	for _, w := range l.Warnings {
		got = append(got, w.Line)
	}
	if fmt.Sprint(got) != "[7 11 12]" {
		t.Errorf("lines %v, want [7 11 12]: %v", got, l.Warnings)
	}
}

// Many faults of one kind are told a few times and counted.
func TestGPXManyFaults(t *testing.T) {
	l, err := ingest.ReadGPX([]byte(track(p1 + strings.Repeat("<trkpt lat='99' lon='0'/>", 10_000))))
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Warnings) > 10 || !hasWarning(l, "9995 more") || dropCount(l, "point without a position") != 10_000 {
		t.Errorf("%d warnings, last %v; dropped %v", len(l.Warnings), l.Warnings[len(l.Warnings)-1], l.Files[0].Dropped)
	}
}

// gpxgo agrees on every point of its own test files, and of another library's,
// wherever it is right.
func TestGPXAgainstGpxgo(t *testing.T) {
	files := append(testFiles(t, "github.com/tkrajina/gpxgo", ".gpx"), testFiles(t, "github.com/muktihari/xmltokenizer", ".gpx")...)
	points := 0
	for _, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if len(data) > 6<<20 {
			continue // the library takes a second and more
		}
		if most := 1 << 20; len(data) > most { // of the others what is read soon enough
			end := bytes.LastIndex(data[:most], []byte("</trkpt>")) + len("</trkpt>")
			data = append(data[:end], "</trkseg></trk></gpx>"...)
		}
		t.Run(filepath.Base(path), func(t *testing.T) {
			doc, err := gpx.ParseBytes(data)
			if err != nil {
				t.Skipf("gpxgo does not read it: %v", err)
			}
			l, err := ingest.ReadGPX(data)
			if err != nil {
				l = &ingest.Log{Files: make([]ingest.File, 1)}
			}
			i, untimed := 0, 0
			for _, tr := range doc.Tracks {
				for _, seg := range tr.Segments {
					for _, p := range seg.Points {
						if p.Timestamp.IsZero() {
							untimed++
							continue
						}
						if i == len(l.GPS.Time) {
							t.Fatalf("gpxgo has more than our %d points", i)
						}
						at := l.Start.Add(time.Duration(math.Round(l.GPS.Time[i] * 1e9)))
						if !at.Truncate(time.Second).Equal(p.Timestamp) { // gpxgo cuts at the second
							t.Errorf("point %d: time %v, gpxgo %v", i, at, p.Timestamp)
						}
						if l.GPS.Lat[i] != p.Latitude || l.GPS.Lon[i] != p.Longitude {
							t.Errorf("point %d: %v %v, gpxgo %v %v", i, l.GPS.Lat[i], l.GPS.Lon[i], p.Latitude, p.Longitude)
						}
						if e := p.Elevation; e.NotNull() && l.GPS.Alt[i] != float32(e.Value()) || e.Null() && l.GPS.Alt[i] == l.GPS.Alt[i] {
							t.Errorf("point %d: altitude %v, gpxgo %v", i, l.GPS.Alt[i], e)
						}
						i++
					}
				}
			}
			if i != len(l.GPS.Time) || dropCount(l, "no time") != untimed && err == nil {
				t.Errorf("%d points and %d without time, gpxgo %d and %d", len(l.GPS.Time), dropCount(l, "no time"), i, untimed)
			}
			points += i
		})
	}
	t.Logf("%d points in %d files", points, len(files))
}

// TestGPXLostQuote: one lost quote costs one point, wherever it was.
func TestGPXLostQuote(t *testing.T) {
	const broken = `<trkpt lat="45.2" lon="-1.2"><ele>3</ele><time>2026-09-20T10:00:00.5Z</time></trkpt>`
	for i, c := range broken {
		if c != '"' {
			continue
		}
		l, err := ingest.ReadGPX([]byte(track(p1 + broken[:i] + broken[i+1:] + p2)))
		if err != nil {
			t.Fatal(err)
		}
		if len(l.GPS.Time) != 2 || l.GPS.Lat[1] != 45.5 || len(l.Warnings) != 1 || l.Warnings[0].Line != 1 {
			t.Errorf("without the quote at %d: %d points, %v", i, len(l.GPS.Time), l.Warnings)
		}
	}
	// In another tag nothing is lost.
	l, err := ingest.ReadGPX([]byte(track(p1 + `<extensions><a b="1>x</a></extensions>` + p2)))
	if err != nil || len(l.GPS.Time) != 2 || !hasWarning(l, "broken tag") {
		t.Errorf("%v, %v", err, l.Warnings)
	}
}

// TestGPXWaypoints: a waypoint with a time is a mark, one without is counted.
func TestGPXWaypoints(t *testing.T) {
	l, err := ingest.ReadGPX([]byte(`<gpx><wpt lat="45" lon="-1"><time>2026-09-20T10:00:00.25Z</time><name> shim 1&#176; </name></wpt>` +
		`<wpt lat="45" lon="-1"><name>beach</name></wpt>` + track(p1 + p2)[len(`<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="t">`):]))
	if err != nil {
		t.Fatal(err)
	}
	want := ingest.Mark{Time: time.Date(2026, 9, 20, 10, 0, 0, 250e6, time.UTC), Kind: "waypoint", Text: "shim 1°"}
	if m := l.Files[0].Marks; len(m) != 1 || m[0] != want || dropCount(l, "waypoint") != 1 || len(l.GPS.Time) != 2 {
		t.Errorf("marks %v, dropped %v", m, l.Files[0].Dropped)
	}
}

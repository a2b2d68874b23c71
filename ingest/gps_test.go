package ingest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenfoot/ingest/raw"
)

// A course of reaches and jibes for the GPS tests: position in metres east and
// north and speed at time t, 8 m/s with a slow swell in it.
func boardAt(t float64) (x, y, v float64, straight bool) {
	const leg, turn = 60.0, 8.0 // s
	period := 2 * (leg + turn)
	u := math.Mod(t, period)
	v = 8
	r := v * turn / math.Pi // half circle
	switch {
	case u < leg:
		return v * u, 0, v, u > 4 && u < leg-4
	case u < leg+turn:
		a := math.Pi * (u - leg) / turn
		return v*leg + r*math.Sin(a), r * (1 - math.Cos(a)), v, false
	case u < 2*leg+turn:
		w := u - leg - turn
		return v*leg - v*w, 2 * r, v, w > 4 && w < leg-4
	}
	a := math.Pi * (u - 2*leg - turn) / turn
	return -r * math.Sin(a), r * (1 + math.Cos(a)), v, false
}

// gpsLog samples boardAt at hz for n fixes with position noise sd (m, each
// axis) and, when withSpeed, a receiver's speed.
func gpsLog(hz float64, n int, sd float64, withSpeed bool) *raw.Columns {
	rnd := rand.New(rand.NewPCG(7, uint64(hz*100)))
	r := &raw.Columns{File: File{Name: "gps", Kind: "GPX"}}
	plane := newPlane(52.3, 4.9)
	for i := range n {
		t := float64(i) / hz
		x, y, v, _ := boardAt(t)
		lat, lon := plane.unproject(x+rnd.NormFloat64()*sd, y+rnd.NormFloat64()*sd)
		s := float32(math.NaN())
		if withSpeed {
			s = float32(v + rnd.NormFloat64()*0.1)
		}
		r.Gps.Time = append(r.Gps.Time, t)
		r.Gps.Lat, r.Gps.Lon = append(r.Gps.Lat, lat), append(r.Gps.Lon, lon)
		r.Gps.Alt = append(r.Gps.Alt, float32(raw.NaN))
		r.Gps.Speed, r.Gps.Course = append(r.Gps.Speed, s), append(r.Gps.Course, float32(raw.NaN))
	}
	return r
}

// TestSpeedFromPositions holds the documented error to the one that is had.
func TestSpeedFromPositions(t *testing.T) {
	for _, hz := range []float64{0.5, 1, 2, 5, 10} {
		for _, sd := range []float64{0.02, 0.1, 0.4} {
			l, err := build(gpsLog(hz, int(1200*hz), sd, false))
			if err != nil {
				t.Fatal(err)
			}
			g := &l.GPS
			ss, ct, n := 0.0, 0.0, 0
			for i, x := range g.Time {
				_, _, v, straight := boardAt(x)
				if g.Flags[i] != 0 {
					t.Errorf("%g Hz, %g m: fix %d flagged %v", hz, sd, i, g.Flags[i])
				}
				if straight {
					e := float64(g.Speed[i]) - v
					ss += e * e
					c := math.Abs(math.Remainder(float64(g.Course[i])-90, 180))
					ct = max(ct, c)
					n++
				}
			}
			rms := math.Sqrt(ss / float64(n))
			t.Logf("%4g Hz, noise %.2f m: rms %.3f m/s, documented %.3f, course within %.1f°", hz, sd, rms, g.SpeedSD, ct)
			if g.SpeedFrom != "positions" {
				t.Errorf("speed from %q", g.SpeedFrom)
			}
			// The simulated receiver has no slow wander.
			if sd := math.Sqrt(g.SpeedSD*g.SpeedSD - slowSD*slowSD); rms > 1.4*sd || rms < 0.6*sd {
				t.Errorf("%g Hz, %g m: rms error %.4f m/s, documented %.4f", hz, sd, rms, g.SpeedSD)
			}
		}
	}
}

func TestFlags(t *testing.T) {
	plane := newPlane(52.3, 4.9)
	move := func(f *raw.Fixes, i int, dx, dy float64) {
		x, y := plane.project(f.Lat[i], f.Lon[i])
		f.Lat[i], f.Lon[i] = plane.unproject(x+dx, y+dy)
	}
	for _, hz := range []float64{1, 10} {
		for _, withSpeed := range []bool{true, false} {
			n := int(600 * hz)
			at := n / 3
			for _, c := range []struct {
				name   string
				change func(f *raw.Fixes)
				want   map[int]Flag
				speed  bool // needs a receiver's speed
			}{
				{"sound", func(f *raw.Fixes) {}, nil, false},
				{"speed spike", func(f *raw.Fixes) { f.Speed[at] = 31 }, map[int]Flag{at: FlagSpike}, true},
				{"absurd speeds", func(f *raw.Fixes) { f.Speed[at], f.Speed[at+1] = 90, 95 }, map[int]Flag{at: FlagSpike, at + 1: FlagSpike}, true},
				{"position spike", func(f *raw.Fixes) { move(f, at, 150, -90) }, map[int]Flag{at: FlagSpike}, false},
				{"jump", func(f *raw.Fixes) {
					for i := at; i < n; i++ {
						move(f, i, 0, 400)
					}
				}, map[int]Flag{at: FlagJump}, false},
				{"stale", func(f *raw.Fixes) {
					f.Lat[at+1], f.Lon[at+1], f.Speed[at+1] = f.Lat[at], f.Lon[at], f.Speed[at]
				}, map[int]Flag{at + 1: FlagStale}, false},
			} {
				name := fmt.Sprintf("%s, %g Hz, speed %v", c.name, hz, withSpeed)
				if c.speed && !withSpeed {
					continue
				}
				if c.name == "stale" && hz > 1 {
					continue // 0.8 m in 0.1 s may as well be rounding
				}
				r := gpsLog(hz, n, 0.1, withSpeed)
				c.change(&r.Gps)
				l, err := build(r)
				if err != nil {
					t.Fatal(err)
				}
				for i, f := range l.GPS.Flags {
					if f != c.want[i] {
						t.Errorf("%s: fix %d has flags %03b, want %03b", name, i, f, c.want[i])
					}
				}
				for i, v := range l.GPS.Speed {
					_, _, want, straight := boardAt(l.GPS.Time[i])
					if l.GPS.Flags[i] == 0 && (v != v || straight && math.Abs(float64(v)-want) > 1.2) {
						t.Errorf("%s: fix %d: speed %v, want %v", name, i, v, want)
					}
				}
				if len(c.want) > 0 {
					if !slices.ContainsFunc(l.Warnings, func(w Warning) bool {
						return w.Kind == raw.Spikes || w.Kind == raw.Stale || w.Kind == raw.Leaps
					}) {
						t.Errorf("the flags are not told: %v", l.Warnings)
					}
				}
			}
		}
	}
}

// TestRestIsSound: a board that lies still repeats itself without fault, and a
// fall from speed is no spike.
func TestRestIsSound(t *testing.T) {
	r := gpsLog(1, 300, 0.1, true)
	for i := 100; i < 200; i++ {
		r.Gps.Lat[i], r.Gps.Lon[i], r.Gps.Speed[i] = r.Gps.Lat[100], r.Gps.Lon[100], 0
	}
	plane := newPlane(52.3, 4.9)
	x0, y0 := plane.project(r.Gps.Lat[200], r.Gps.Lon[200])
	x1, y1 := plane.project(r.Gps.Lat[100], r.Gps.Lon[100])
	for i := 200; i < 300; i++ {
		x, y := plane.project(r.Gps.Lat[i], r.Gps.Lon[i])
		r.Gps.Lat[i], r.Gps.Lon[i] = plane.unproject(x-x0+x1+5, y-y0+y1)
	}
	l, err := build(r)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range l.GPS.Flags {
		if f != 0 {
			t.Errorf("fix %d flagged %v", i, f)
		}
	}
}

func TestImpossiblePositions(t *testing.T) {
	r := gpsLog(1, 100, 0.1, true)
	r.Gps.Lat[10], r.Gps.Lon[10] = 0, 0
	r.Gps.Lat[20] = 991
	r.Gps.Lon[30] = math.Inf(1)
	r.Gps.Speed[40] = -3
	r.Gps.Lat[50], r.Gps.Speed[50] = raw.NaN, float32(raw.NaN)
	r.Gps.Course[60] = -90
	l, err := build(r)
	if err != nil {
		t.Fatal(err)
	}
	g := &l.GPS
	if len(g.Time) != 99 {
		t.Errorf("%d fixes", len(g.Time))
	}
	for _, i := range []int{10, 20, 30} { // their speed is sound and stays
		if g.Lat[i] == g.Lat[i] || g.Lon[i] == g.Lon[i] || g.Flags[i] != 0 {
			t.Errorf("fix %d: %v, %v, flags %v", i, g.Lat[i], g.Lon[i], g.Flags[i])
		}
	}
	if v := g.Speed[40]; math.Abs(float64(v)-8) > 1 {
		t.Errorf("the negative speed became %v", v)
	}
	if g.Course[59] != 270 {
		t.Errorf("course -90 became %v", g.Course[59])
	}
	for reason, n := range map[string]int{"no fix": 1, "outside the earth": 1, "infinite value": 1, "negative or infinite speed": 1} {
		if dropped(l, reason) != n {
			t.Errorf("%s: %v", reason, l.Files[0].Dropped)
		}
	}
}

// TestTwoRowsAFix: a position in one row and its speed in the next, with one
// time stamp, are one fix.
func TestTwoRowsAFix(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,lat_deg,lon_deg,speed_kn,course_deg\n")
	for i := range 60 {
		fmt.Fprintf(&b, "%d,%.6f,7.5,,\n%d,,,10.5,1\n", i, 47+float64(i)*4.86e-5, i)
	}
	l := mustRead(t, b.String())
	if len(l.GPS.Time) != 60 || l.GPS.Speed[7] != float32(10.5*1852/3600) || l.GPS.Lat[7] != l.GPS.Lat[7] || l.GPS.Rate != 1 {
		t.Errorf("%d fixes at %v Hz, the eighth %v %v", len(l.GPS.Time), l.GPS.Rate, l.GPS.Lat[7], l.GPS.Speed[7])
	}
	hasWarning(t, l, 0, "complementary")
}

func TestClockNeverSet(t *testing.T) {
	l := mustRead(t, "# start: 2000-01-01T00:00:00Z\n"+imuHeader+imuRows(0, 100, 50))
	if !l.Start.IsZero() || len(l.IMU.Time) != 50 {
		t.Errorf("start %v, %d samples", l.Start, len(l.IMU.Time))
	}
	hasWarning(t, l, 0, "clock never set")
}

// TestSharedSecond: of two fixes in one second, the second belongs to the next
// when that is missing; else it is one too many.
func TestSharedSecond(t *testing.T) {
	r := gpsLog(1, 60, 0.1, true)
	r.Gps.Time[21] = 20 // 21 is missing now
	l, err := build(r)
	if err != nil {
		t.Fatal(err)
	}
	if len(l.GPS.Time) != 60 || l.GPS.Time[21] != 21 {
		t.Errorf("%d fixes, %v", len(l.GPS.Time), l.GPS.Time[19:23])
	}
	r = gpsLog(1, 60, 0.1, true)
	r.Gps.Time[20] = 19 // a lap's extra record: then 20 is missing, and 21 comes
	r.Gps.Time = append(r.Gps.Time[:21], grid(20, 1, 39)...)
	if l, err = build(r); err != nil {
		t.Fatal(err)
	}
	if len(l.GPS.Time) != 59 || dropped(l, "same time stamp") != 1 {
		t.Errorf("%d fixes, %v", len(l.GPS.Time), l.Files[0].Dropped)
	}
}

// TestFlagsAreToldInSentences: whatever the number, the warnings are English.
func TestFlagsAreToldInSentences(t *testing.T) {
	for _, c := range []struct {
		spikes int
		want   string
	}{
		{1, "impossible fixes, 1"},
		{3, "impossible fixes, 3"},
	} {
		r := gpsLog(1, 300, 0.3, true)
		for i := range c.spikes {
			r.Gps.Speed[50+60*i] = 44
		}
		l, err := build(r)
		if err != nil {
			t.Fatal(err)
		}
		hasWarning(t, l, 0, c.want)
	}
	r := gpsLog(1, 300, 0.3, true)
	for i := range 7 {
		r.Gps.Speed[20+i] = float32(raw.NaN)
	}
	l, err := build(r)
	if err != nil {
		t.Fatal(err)
	}
	hasWarning(t, l, 0, "speeds filled in, 7")
}

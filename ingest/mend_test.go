package ingest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"evenfoot/ingest/raw"
)

// truthScale turns the true time of a sample into the acceleration that tells
// it, small beside gravity.
const truthScale = 1e-3

// An imuLog is an IMU log whose accelerometer's x axis carries the true time,
// so that a test can see which sample ended up where. Start is a date.
func imuLog(t []float64, truth []float64) *raw.Columns {
	r := &raw.Columns{File: File{Name: "imu", Kind: "CSV"}, Start: time.Date(2026, 9, 20, 10, 0, 0, 0, time.UTC)}
	r.Acc.Time = slices.Clone(t)
	for i := range t {
		r.Acc.V[0] = append(r.Acc.V[0], float32(truth[i]*truthScale))
		r.Acc.V[1] = append(r.Acc.V[1], float32(math.Sin(20*truth[i])))
		r.Acc.V[2] = append(r.Acc.V[2], 9.81)
	}
	for k := range 3 {
		r.Gyr.V[k] = slices.Clone(r.Acc.V[k])
	}
	r.Gyr.Time = r.Acc.Time
	return r
}

func grid(t0, hz float64, n int) []float64 {
	t := make([]float64, n)
	for i := range t {
		t[i] = t0 + float64(i)/hz
	}
	return t
}

// worst is the largest difference between a sample's time and its truth.
func worst(l *Log) float64 {
	w := 0.0
	for i, x := range l.IMU.Time {
		w = max(w, math.Abs(x-float64(l.IMU.Acc[0][i])/truthScale))
	}
	return w
}

func TestMendTime(t *testing.T) {
	clean := grid(0, 100, 6000)
	for _, c := range []struct {
		name  string
		make  func() (stamps, truth []float64)
		undo  bool    // relative log
		n     int     // samples left
		worst float64 // s
		gaps  int
		warn  string
	}{
		{name: "nothing to mend", make: func() ([]float64, []float64) { return clean, clean }, n: 6000, worst: 1e-5},
		{name: "neighbours swapped", make: func() ([]float64, []float64) {
			s := slices.Clone(clean)
			for i := 100; i < 5000; i += 400 {
				s[i], s[i+1] = s[i+1], s[i]
			}
			return s, s
		}, n: 6000, worst: 1e-5, warn: "out of order"},
		{name: "a block written late", make: func() ([]float64, []float64) {
			s := slices.Concat(clean[:1000], clean[1500:3000], clean[1000:1500], clean[3000:])
			return s, s
		}, n: 6000, worst: 1e-5, warn: "out of order"},
		{name: "newest first", make: func() ([]float64, []float64) {
			s := slices.Clone(clean)
			slices.Reverse(s)
			return s, s
		}, n: 6000, worst: 1e-5, warn: "out of order"},
		{name: "newest first, a short log", make: func() ([]float64, []float64) {
			s := grid(0, 10, 300)
			slices.Reverse(s)
			return s, s
		}, n: 300, worst: 1e-5, warn: "out of order"},
		{name: "newest first, a short log without a date", undo: true, make: func() ([]float64, []float64) {
			s := grid(0, 10, 300)
			slices.Reverse(s)
			return s, s
		}, n: 300, worst: 1e-5, warn: "out of order"},
		{name: "one stamp far back", make: func() ([]float64, []float64) {
			s := slices.Clone(clean)
			s[3000] -= 20.003
			return s, clean
		}, n: 6000, worst: 20.01, warn: "out of order"},
		{name: "one stamp far back, on another's, without a date", undo: true, make: func() ([]float64, []float64) {
			s := slices.Clone(clean)
			s[3000] = s[1000]
			return s, clean
		}, n: 6000, worst: 20.01, warn: "out of order"},
		{name: "one stamp before all others, without a date", undo: true, make: func() ([]float64, []float64) {
			s := slices.Clone(clean)
			s[3000] = -5
			return s, clean
		}, n: 6000, worst: 35.01, gaps: 1, warn: "out of order"},
		{name: "a block twice", make: func() ([]float64, []float64) {
			s := slices.Concat(clean[:3000], clean[2000:])
			return s, s
		}, n: 6000, worst: 1e-5, warn: "out of order"},
		{name: "every sample twice", make: func() ([]float64, []float64) {
			var s []float64
			for _, x := range clean {
				s = append(s, x, x)
			}
			return s, s
		}, n: 6000, worst: 1e-5},
		{name: "clock corrected backwards", make: func() ([]float64, []float64) {
			s := slices.Clone(clean)
			for i := range 2500 { // early by 7.3 s, then set right
				s[i] += 7.3
			}
			return s, clean
		}, n: 6000, worst: 0.011, warn: "leapt back, 7.29"},
		{name: "restart from zero", undo: true, make: func() ([]float64, []float64) {
			return slices.Concat(clean, clean[:2000]), slices.Concat(clean, grid(61.0, 100, 2000))
		}, n: 8000, worst: 0.02, gaps: 1, warn: "clock restarted"},
		{name: "stamps cut to seconds", make: func() ([]float64, []float64) {
			s := grid(0.03, 10, 3000)
			c := slices.Clone(s)
			for i := range c {
				c[i] = math.Floor(c[i])
			}
			return c, s
		}, n: 3000, worst: 0.06, warn: "cut time stamps, 1"},
		{name: "cut to seconds, drifting rate, a gap", make: func() ([]float64, []float64) {
			var s, c []float64
			x := 0.4
			for i := range 6000 {
				x += 0.1 * (1 + 0.02*math.Sin(float64(i)/500))
				if i == 3000 {
					x += 20
				}
				s, c = append(s, x), append(c, math.Floor(x))
			}
			return c, s
		}, n: 6000, worst: 0.35, gaps: 1, warn: "cut time stamps, 1"},
		{name: "cut to 10 ms at 285.7 Hz", make: func() ([]float64, []float64) {
			s := grid(0.001, 285.7, 5000)
			c := slices.Clone(s)
			for i := range c {
				c[i] = math.Floor(c[i]*100) / 100
			}
			return c, s
		}, n: 5000, worst: 0.004, warn: "cut time stamps, 0.01"},
		{name: "some stamps shared by rounding", make: func() ([]float64, []float64) {
			r := rand.New(rand.NewPCG(1, 1))
			var s, c []float64
			for i := range 5000 {
				x := float64(i)*0.01 + 0.004*r.NormFloat64()
				s, c = append(s, x), append(c, math.Round(x*100)/100)
			}
			slices.Sort(s)
			slices.Sort(c)
			return c, s
		}, n: 5000, worst: 0.02, warn: "shared time stamps"},
		{name: "a clock that stands for a second", make: func() ([]float64, []float64) {
			s := slices.Clone(clean)
			for i := 3001; i < 3100; i++ {
				s[i] = s[3000]
			}
			return s, clean
		}, n: 6000, worst: 0.011, warn: "shared time stamps"},
		{name: "a clock that stands to the end", make: func() ([]float64, []float64) {
			s := slices.Clone(clean)
			for i := 5001; i < 6000; i++ {
				s[i] = s[5000]
			}
			return s, clean
		}, n: 5001, worst: 1e-5, warn: "same time stamp"},
		{name: "gaps stay", make: func() ([]float64, []float64) {
			s := slices.Concat(clean[:1000], clean[1030:2000], clean[2500:])
			return s, s
		}, n: 5470, worst: 1e-5, gaps: 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, truth := c.make()
			r := imuLog(s, truth)
			if c.undo {
				r.Start = time.Time{}
			}
			l, err := build(r)
			if err != nil {
				t.Fatal(err)
			}
			if len(l.IMU.Time) != c.n {
				t.Errorf("%d samples, want %d (%v)", len(l.IMU.Time), c.n, l.Files[0].Dropped)
			}
			if !increasing(l.IMU.Time) {
				t.Error("times do not increase")
			}
			if w := worst(l); w > c.worst {
				t.Errorf("a sample is off by %.4g s, want at most %.4g", w, c.worst)
			}
			if len(l.IMU.Gaps) != c.gaps {
				t.Errorf("gaps %v, want %d", l.IMU.Gaps, c.gaps)
			}
			if c.warn != "" {
				hasWarning(t, l, 0, c.warn)
			} else if len(l.Warnings) > 0 {
				t.Errorf("warnings %v", l.Warnings)
			}
		})
	}
}

func TestRateChange(t *testing.T) {
	s := append(grid(0, 100, 6000), grid(60, 25, 1500)...)
	l, err := build(imuLog(s, s))
	if err != nil {
		t.Fatal(err)
	}
	hasWarning(t, l, 0, "rate change, 100, 25")
	if len(l.IMU.Gaps) != 0 || len(l.IMU.Time) != 7500 {
		t.Errorf("%d samples, gaps %v", len(l.IMU.Time), l.IMU.Gaps)
	}
	// A lasting fall to 2 Hz is a change of rate, not 60 gaps.
	s = append(grid(0, 100, 60000), grid(600, 2, 120)...)
	if l, err = build(imuLog(s, s)); err != nil || len(l.IMU.Gaps) > 1 {
		t.Errorf("%v, gaps %v", err, l.IMU.Gaps)
	}
}

// TestJumpsStayTogether: a clock correction moves fixes and samples alike.
func TestJumpsStayTogether(t *testing.T) {
	r := imuLog(grid(0, 100, 6000), grid(0, 100, 6000))
	for i := range 3000 {
		r.Acc.Time[i] += 40
	}
	for i := range 60 {
		tt := float64(i)
		if i < 30 {
			tt += 40
		}
		r.Gps.Time = append(r.Gps.Time, tt+0.005)
		r.Gps.Lat = append(r.Gps.Lat, 47+float64(i)*5e-5)
		r.Gps.Lon = append(r.Gps.Lon, 7)
		r.Gps.Alt = append(r.Gps.Alt, 0)
		r.Gps.Speed = append(r.Gps.Speed, 5.56)
		r.Gps.Course = append(r.Gps.Course, 0)
	}
	l, err := build(r)
	if err != nil {
		t.Fatal(err)
	}
	if len(l.GPS.Time) != 60 || len(l.IMU.Time) != 6000 {
		t.Fatalf("%d fixes, %d samples", len(l.GPS.Time), len(l.IMU.Time))
	}
	for i, x := range l.GPS.Time {
		k, _ := slices.BinarySearch(l.IMU.Time, x)
		k = min(k, len(l.IMU.Time)-1)
		if d := math.Abs(float64(l.IMU.Acc[0][k])/truthScale - float64(i)); d > 0.03 {
			t.Errorf("fix %d lies beside the sample of %.2f s", i, l.IMU.Acc[0][k])
		}
	}
}

func TestSeveralOutings(t *testing.T) {
	s := slices.Concat(grid(0, 50, 1000), grid(86400, 50, 3000), []float64{4e8})
	l, err := build(imuLog(s, grid(0, 50, len(s))))
	if err != nil {
		t.Fatal(err)
	}
	if len(l.IMU.Time) != 3000 || !l.Start.Equal(time.Date(2026, 9, 21, 10, 0, 0, 0, time.UTC)) {
		t.Errorf("%d samples from %v", len(l.IMU.Time), l.Start)
	}
	hasWarning(t, l, 0, "several outings, 3")
	if n := dropped(l, "another outing"); n != 1001 { // a row of both sensors counts once
		t.Errorf("%d left out", n)
	}
}

// TestStampedApart: the gyroscope of a device that stamps its sensors apart is
// brought to the accelerometer's times, never across a gap.
func TestStampedApart(t *testing.T) {
	var b strings.Builder
	b.WriteString(imuHeader)
	f := func(x float64) float64 { return math.Sin(2 * x) }
	for i := range 2000 {
		ta, tg := float64(i)/100, float64(i)/100+0.0043
		fmt.Fprintf(&b, "%.4f,1,2,9.81,,,\n", ta)
		if tg < 8 || tg > 9 {
			fmt.Fprintf(&b, "%.4f,,,,%.6f,0,0\n", tg, f(tg))
		}
	}
	l := mustRead(t, b.String())
	if n := len(l.IMU.Time); n < 1897 || n > 1901 {
		t.Errorf("%d samples with both sensors, want about 1,899", n)
	}
	if len(l.IMU.Gaps) != 1 || math.Abs(l.IMU.Gaps[0].Start-8) > 0.02 {
		t.Errorf("gaps %v", l.IMU.Gaps)
	}
	if l.IMU.Time[0] < 0.0043 || l.IMU.Time[len(l.IMU.Time)-1] > 19.9943 {
		t.Errorf("samples from %v to %v s lie beyond the gyroscope's", l.IMU.Time[0], l.IMU.Time[len(l.IMU.Time)-1])
	}
	for i, x := range l.IMU.Time {
		if e := math.Abs(float64(l.IMU.Gyr[0][i]) - f(x)); e > 2e-4 {
			t.Fatalf("at %v s off by %v", x, e)
		}
	}
	if dropped(l, "without the gyroscope") != 2000-len(l.IMU.Time) {
		t.Errorf("%v", l.Files[0].Dropped)
	}
}

// TestMendNeverLies: whatever the stamps, the mended times increase, and every
// sample is kept or counted.
func TestMendNeverLies(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for round := range 400 {
		n := 2 + r.IntN(300)
		s := make([]float64, n)
		x := r.Float64() * 100
		for i := range s {
			switch r.IntN(12) {
			case 0:
				x -= r.Float64() * math.Pow(10, float64(r.IntN(5)-2))
			case 1:
				x += r.Float64() * math.Pow(10, float64(r.IntN(4)))
			case 2: // stays
			default:
				x += 0.01
			}
			s[i] = x
			if round%3 == 0 {
				s[i] = math.Floor(x)
			}
		}
		truth := grid(0, 1, n)
		r0 := imuLog(s, truth)
		if round%2 == 0 {
			r0.Start = time.Time{}
		}
		l, err := build(r0)
		if err != nil {
			t.Fatalf("%v: %v", s, err)
		}
		if !increasing(l.IMU.Time) {
			t.Fatalf("round %d: %v\nbecomes %v", round, s, l.IMU.Time)
		}
		left := 0
		for _, d := range l.Files[0].Dropped {
			if strings.HasPrefix(d.Sensor, "accelerometer") || d.Reason == raw.OtherOuting {
				left += d.Count
			}
		}
		if strings.Contains(fmt.Sprint(l.Files[0].Dropped), "outing") {
			continue // counts both sensors
		}
		if len(l.IMU.Time)+left != n {
			t.Fatalf("round %d: %d samples, %d kept, %d counted as left out (%v)", round, n, len(l.IMU.Time), left, l.Files[0].Dropped)
		}
	}
}

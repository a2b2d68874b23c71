package ride_test

import (
	"flag"
	"math"
	"testing"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/simulate"
)

// -ride.sessions runs the coverage study over more sessions than the default:
//
//	go test ./analysis/ride -run Coverage -v -ride.sessions 300
var sessions = flag.Int("ride.sessions", 8, "simulated sessions in the coverage study of wind and best speeds")

// trueBest is the fastest true mean over a time, m/s over ground.
func trueBest(s *simulate.Session, seconds float64) float64 {
	tr := &s.Truth
	n := int(seconds * s.Scenario.IMURate)
	sum, best := 0.0, 0.0
	for i := range tr.Time {
		sum += math.Hypot(float64(tr.East[i]), float64(tr.North[i]))
		if i >= n {
			sum -= math.Hypot(float64(tr.East[i-n]), float64(tr.North[i-n]))
			best = math.Max(best, sum/float64(n))
		}
	}
	return best
}

// trueBestOver is the fastest true mean over a distance, m/s.
func trueBestOver(s *simulate.Session, metres float64) float64 {
	tr := &s.Truth
	dist := make([]float64, len(tr.Time))
	best := 0.0
	j := 0
	for i := range tr.Time {
		if i > 0 {
			dist[i] = dist[i-1] + math.Hypot(float64(tr.East[i]), float64(tr.North[i]))/s.Scenario.IMURate
		}
		for j < i && dist[i]-dist[j+1] >= metres {
			j++
		}
		if d := dist[i] - dist[j]; d >= metres {
			best = math.Max(best, d/(tr.Time[i]-tr.Time[j]))
		}
	}
	return best
}

// TestCoverage: 90 % intervals of the wind and the best speeds hold the truth.
// Over 300 sessions (default, beginner, kite, rough; 1, 5 and 10 Hz receivers):
//
//	2 s   88 %   mean width 0.30 m/s   mean error +0.010 m/s
//	10 s  88 %   0.22   +0.012
//	500 m 90 %   0.12   +0.004
//	1 nmi 91 %   0.06   +0.001
//	wind  94 %   17°, known in 298, mean error 3.4°, never from the wrong end
func TestCoverage(t *testing.T) {
	names := []string{"2 s", "10 s", "500 m", "1 nmi", "wind"}
	var in, n [5]int
	var width, off [5]float64
	wrong := 0
	for k := range *sessions {
		sc := []simulate.Scenario{simulate.Default(), simulate.Beginner(), simulate.Kite(), simulate.Rough()}[k%4]
		sc.Seed = uint64(1000 + k)
		sc.IMURate = 50
		sc.Duration = 1500
		sc.WindFrom = float64(k) * 77 * deg
		sc.GPSRate = []float64{1, 5, 10}[k%3]
		s := simulate.Run(sc)
		got := ride.Detect(input(s, true))
		b := got.BestSpeeds
		for i, c := range []struct {
			got  interval.Interval
			want float64
		}{{b.TwoSeconds, trueBest(s, 2)}, {b.TenSeconds, trueBest(s, 10)}, {b.Metres500, trueBestOver(s, 500)}, {b.NauticalMile, trueBestOver(s, 1852)}} {
			if !c.got.Known() || c.want == 0 {
				continue
			}
			n[i]++
			width[i] += c.got.High - c.got.Low
			off[i] += c.got.Value - c.want
			if c.got.Contains(c.want) {
				in[i]++
			}
		}
		if w := got.WindFrom; w.Known() {
			d := math.Remainder(w.Value*deg-s.Truth.WindFrom, 2*math.Pi) / deg
			n[4]++
			width[4] += w.High - w.Low
			off[4] += math.Abs(d)
			if w.Low <= w.Value-d && w.Value-d <= w.High {
				in[4]++
			}
			if math.Abs(d) > 45 {
				wrong++
			}
		}
	}
	for i, name := range names {
		if n[i] == 0 {
			continue
		}
		k := float64(n[i])
		t.Logf("%-6s known %d, covered %.0f %%, mean width %.2f, mean error %+.3f", name, n[i], 100*float64(in[i])/k, width[i]/k, off[i]/k)
	}
	// With few sessions chance needs room.
	for i, name := range names {
		if floor := 0.5 + 0.3*math.Min(float64(n[i])/100, 1); n[i] > 4 && float64(in[i])/float64(n[i]) < floor {
			t.Errorf("%s: covered in %d of %d sessions", name, in[i], n[i])
		}
	}
	if wrong > 0 {
		t.Errorf("the wind was confidently wrong in %d of %d sessions", wrong, n[4])
	}
}

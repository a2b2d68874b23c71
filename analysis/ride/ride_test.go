package ride_test

import (
	"fmt"
	"math"
	"testing"

	"evenfoot/analysis/ride"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest"
)

const deg = math.Pi / 180

// input is what Detect gets of a simulated session.
func input(s *simulate.Session, withIMU bool) ride.Input {
	g := &s.Log.GPS
	in := ride.Input{SpeedSD: g.SpeedSD}
	lat0, lon0 := s.Scenario.Origin[0], s.Scenario.Origin[1]
	for i, t := range g.Time {
		e, n := math.NaN(), math.NaN()
		c := float64(g.Course[i])
		if math.IsNaN(c) {
			c = 0
		}
		if g.Flags[i] == 0 {
			e, n = float64(g.Speed[i])*math.Sin(c*deg), float64(g.Speed[i])*math.Cos(c*deg)
		}
		in.Time = append(in.Time, t)
		in.East, in.North = append(in.East, e), append(in.North, n)
		in.X = append(in.X, (g.Lon[i]-lon0)*111319*math.Cos(lat0*deg))
		in.Y = append(in.Y, (g.Lat[i]-lat0)*111132)
	}
	for _, x := range g.Gaps {
		in.Gaps = append(in.Gaps, [2]float64{x.Start, x.End})
	}
	if withIMU {
		in.Motion = s.Motion()
	}
	return in
}

// A tally counts what was found, missed and made up.
type tally struct{ hit, miss, extra int }

func (a *tally) add(b tally) { a.hit += b.hit; a.miss += b.miss; a.extra += b.extra }
func (a tally) recall() float64 {
	return float64(a.hit) / math.Max(float64(a.hit+a.miss), 1)
}
func (a tally) precision() float64 {
	return float64(a.hit) / math.Max(float64(a.hit+a.extra), 1)
}
func (a tally) String() string {
	return fmt.Sprintf("%d (recall %.3f, precision %.3f)", a.hit+a.miss, a.recall(), a.precision())
}

// match pairs times one to one within tol seconds.
func match(want, got []float64, tol float64) tally {
	used := make([]bool, len(got))
	var c tally
	for _, w := range want {
		best := -1
		for i, g := range got {
			if !used[i] && math.Abs(g-w) <= tol && (best < 0 || math.Abs(g-w) < math.Abs(got[best]-w)) {
				best = i
			}
		}
		if best < 0 {
			c.miss++
			continue
		}
		used[best] = true
		c.hit++
	}
	c.extra = len(got) - c.hit
	return c
}

type score struct {
	foiling                          float64 // relative error
	touch, fall, land, breach, turns tally
	flown, through                   tally // of the turns found: told rightly or not
	windKnown                        bool
	windError                        float64 // deg
	windCovered                      bool
	takeOffs                         tally
	straightOff                      float64
}

func judge(s *simulate.Session, got *ride.Session) score {
	tr := &s.Truth
	var sc score
	sc.foiling = got.Totals.Foiling/tr.FoilingS - 1
	times := func(kinds ...string) (w, g []float64) {
		for _, e := range tr.Events {
			for _, k := range kinds {
				if e.Kind == k {
					w = append(w, e.Time)
				}
			}
		}
		for _, e := range got.Events {
			for _, k := range kinds {
				if e.Kind == k {
					g = append(g, e.Time)
				}
			}
		}
		return w, g
	}
	tol := 2.0
	w, g := times("touchdown")
	sc.touch = match(w, g, tol)
	w, g = times("fall")
	sc.fall = match(w, g, tol)
	w, g = times("fall", "touchdown")
	sc.land = match(w, g, tol)
	w, g = times("breach")
	sc.breach = match(w, g, tol)
	w, g = times("take-off")
	sc.takeOffs = match(w, g, tol)
	used := make([]bool, len(got.Turns))
	for _, t := range tr.Turns {
		best, over := -1, 0.0
		for i, q := range got.Turns {
			if o := math.Min(t.End, q.End) - math.Max(t.Start, q.Start); q.Complete && !used[i] && o > over {
				best, over = i, o
			}
		}
		if best < 0 {
			sc.turns.miss++
			continue
		}
		used[best] = true
		sc.turns.hit++
		q := got.Turns[best]
		if q.Flown == t.Flown {
			sc.flown.hit++
		} else {
			sc.flown.miss++
		}
		if !got.Wind.From.Known() {
			continue
		}
		if q.ThroughWind == t.ThroughWind {
			sc.through.hit++
		} else {
			sc.through.miss++
		}
	}
	for i, q := range got.Turns {
		if q.Complete && !used[i] {
			sc.turns.extra++
		}
	}
	if sc.windKnown = got.Wind.From.Known(); sc.windKnown {
		off := math.Remainder(got.Wind.From.Value*deg-tr.WindFrom, 2*math.Pi) / deg
		sc.windError = off
		x := got.Wind.From.Value - off
		sc.windCovered = got.Wind.From.Low <= x && x <= got.Wind.From.High
	}
	return sc
}

// scenarios that the closed loop runs through.
func scenarios() map[string]simulate.Scenario {
	all := map[string]simulate.Scenario{
		"default": simulate.Default(), "rough": simulate.Rough(), "calm": simulate.Calm(),
		"beginner": simulate.Beginner(), "kite": simulate.Kite(),
	}
	sc := simulate.Default()
	sc.GPSRate, sc.IMURate = 10, 50
	sc.Flow = [2]float64{0.4, -0.3}
	all["10 Hz, 50 Hz, current"] = sc
	sc = simulate.Default()
	sc.GPSRate, sc.IMURate, sc.Vibration = 5, 200, 0.1
	sc.FlownTurns, sc.Tacks = 0.3, 0.6
	all["5 Hz, 200 Hz, dropped turns"] = sc
	sc = simulate.Default()
	sc.GPSRate, sc.PositionOnly, sc.Vibration = 1, true, 0
	sc.GPSSpikes = 20
	sc.GPSGaps = []ingest.Span{{Start: 700, End: 760}}
	sc.IMUGaps = []ingest.Span{{Start: 1200, End: 1230}}
	all["positions only, no vibration, gaps"] = sc
	return all
}

func TestClosedLoop(t *testing.T) {
	for _, imu := range []bool{true, false} {
		var land, touch, turns, fall, breach tally
		for name, sc := range scenarios() {
			var sum score
			var worst, wind float64
			known, covered := 0, 0
			for seed := range uint64(3) {
				sc.Seed = 100 + seed
				s := simulate.Run(sc)
				q := judge(s, ride.Detect(input(s, imu)))
				if math.Abs(q.foiling) > math.Abs(worst) {
					worst = q.foiling
				}
				sum.touch.add(q.touch)
				sum.fall.add(q.fall)
				sum.land.add(q.land)
				sum.breach.add(q.breach)
				sum.turns.add(q.turns)
				sum.takeOffs.add(q.takeOffs)
				sum.flown.add(q.flown)
				sum.through.add(q.through)
				if q.windKnown {
					known++
					wind = math.Max(wind, math.Abs(q.windError))
					if q.windCovered {
						covered++
					}
				}
			}
			t.Logf("imu %v %s:\n foiling %+.1f %%\n take-offs %v\n landings %v\n touchdowns %v\n falls %v\n breaches %v\n turns %v flown %.2f through %.2f\n wind known %d covered %d worst %.0f°", imu, name,
				100*worst, sum.takeOffs, sum.land, sum.touch, sum.fall, sum.breach, sum.turns, sum.flown.recall(), sum.through.recall(), known, covered, wind)
			land.add(sum.land)
			touch.add(sum.touch)
			fall.add(sum.fall)
			breach.add(sum.breach)
			turns.add(sum.turns)
		}
		t.Logf("imu %v ALL landings %v touchdowns %v falls %v breaches %v turns %v", imu, land, touch, fall, breach, turns)
	}
}

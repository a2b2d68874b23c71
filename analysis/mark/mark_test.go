package mark

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

const needed = `[rider]
mass_kg = 80
[stance]
front_cm = 33
back_cm = -20
[foil]
mast_cm = 85
[foil.wing]
area_cm2 = 1300
span_cm = 95
[foil.stabilizer]
area_cm2 = 220
span_cm = 40
behind_wing_cm = 70
`

func parsed(t *testing.T, more string) *setup.Setup {
	t.Helper()
	s, _, err := setup.Parse("setup.toml", []byte(needed+more))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// outing is a log of an hour from 23:30 UTC, in which all flight is one reach at
// the speed, m/s, but for a turn from 1500 to 1600 s and a touchdown at 3000 s.
func outing(speed float64) (*ingest.Log, *ride.Session) {
	log := &ingest.Log{Start: time.Date(2026, 9, 20, 23, 30, 0, 0, time.UTC)}
	log.GPS.Time = []float64{0, 3600}
	r := &ride.Session{Rides: []ride.Ride{{Start: 100, End: 3500}},
		Reaches: []ride.Reach{{Start: 100, End: 1500, Tack: "port"}, {Start: 1600, End: 3500, Tack: "starboard"}},
		Events:  []ride.Event{{Time: 3000, Kind: "touchdown"}}}
	r.Speed = ride.SpeedSeries{Step: 1, East: make([]float64, 3600), North: make([]float64, 3600)}
	for i := range r.Speed.East {
		r.Speed.East[i] = speed
	}
	return log, r
}

// TestParts: changes lie on the day that the log was ridden, past midnight too,
// and one that the log cannot hold says its line and what the log holds.
func TestParts(t *testing.T) {
	log, _ := outing(8)
	s := parsed(t, "[[change]]\nat = \"23:50\"\nfoil_cm = -2.5\n[[change]]\nat = \"00:10\"\nshim_mm = 0.76\nfoil_cm = 2.5\n")
	parts, err := Parts(log, s)
	if err != nil || len(parts) != 3 || parts[1].Start != 1200 || parts[2].Start != 2400 || parts[1].Change.Foil != -0.025 || !(parts[2].Change.Raise > 0) {
		t.Fatalf("%+v, %v", parts, err)
	}
	for more, want := range map[string]string{
		"[[change]]\nat = \"11:20\"\nfoil_cm = -2.5\n":                                          Beyond + "[11:20:00 23:30:00 00:30:00]",
		"[[change]]\nat = \"00:10\"\nfoil_cm = -2.5\n[[change]]\nat = \"23:50\"\nfoil_cm = 1\n": Disorder + "[23:50:00]",
	} {
		_, err := Parts(log, parsed(t, more))
		var e *setup.Error
		if !errors.As(err, &e) || !strings.Contains(err.Error(), want) || e.Line < 15 {
			t.Errorf("%q: %v", more, err)
		}
	}
	if _, err := Parts(nil, s); err == nil {
		t.Error("changes without a log")
	}
}

// TestFate: each mark counts or says why not.
func TestFate(t *testing.T) {
	log, r := outing(8)
	at := func(t float64, k raw.MarkKind, text string) {
		log.Marks = append(log.Marks, ingest.Mark{At: t, Kind: k, Text: text})
	}
	at(50, raw.Press, "")
	at(200, raw.Press, "")
	at(220, raw.Lap, "")
	at(400, raw.Noted, "front")
	at(600, raw.Waypoint, "buoy")
	at(1550, raw.Press, "")
	at(2000, raw.Knock, "")
	at(3001, raw.Press, "")
	at(3200, raw.Press, "")
	at(3599, raw.Press, "")
	s := parsed(t, "[[mark]]\nat = \"00:23:22\"\nfront = \"nothing\"\n[[mark]]\nat = \"23:45:00\"\nfront = \"60\"\n")
	parts, _ := Parts(log, s)
	type fate struct {
		at    float64
		kind  raw.MarkKind
		means string
		even  bool
		why   Why
	}
	var got []fate
	marks := Read(log, s, r, nil, parts)
	told := Evidence(marks, parts, r, Flow{East: 0.5, SD: 0.1})
	for _, m := range marks {
		got = append(got, fate{float64(m.At), m.Kind, m.Means, m.Even, m.Why})
	}
	want := []fate{
		{50, raw.Press, "even", false, OffFoil}, {200, raw.Press, "even", true, ""}, {400, raw.Noted, "front", false, ""},
		{600, raw.Waypoint, "", false, NotAgreed}, {900, Answer, "60 % on the front foot", false, ""}, {1550, raw.Press, "even", false, InTurn},
		{2000, raw.Knock, "even", true, ""}, {3001, raw.Press, "even", false, NearTouch}, {3200, raw.Press, "nothing", false, SaysNone}, {3599, raw.Press, "even", false, OffFoil},
	}
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%+v, want %+v", got[i], want[i])
		}
	}
	if len(told) != 3 || told[2].Kind != trim.NullKind || math.Abs(told[2].Speed-7.5) > 0.2 || told[1].Kind != trim.MomentKind || told[1].Value != 0.6 || told[1].Speed != 7.5 {
		t.Errorf("%+v", told)
	}
	// A knock that the analysis found counts only where its meaning was agreed.
	for means, why := range map[string]Why{"": NotAgreed, "[marks]\nmeans = \"even\"\n": ""} {
		m := said(&ingest.Log{}, parsed(t, means), []float64{300})
		if len(m) != 1 || (m[0].Says.Said == "") != (why == NotAgreed) {
			t.Errorf("%q: %+v", means, m)
		}
	}
}

// TestTexts: a text that is no word of the setup's counts only where the setup
// says what marks mean; an empty press counts as even.
func TestTexts(t *testing.T) {
	for _, c := range []struct {
		kind            raw.MarkKind
		text            string
		alone, meanBack string
	}{
		{raw.Press, "", "even", "back"}, {raw.Press, "lap 3", "even", "back"}, {raw.Noted, "", "even", "back"},
		{raw.Noted, "1", "even", "back"}, {raw.Noted, "X", "even", "back"}, {raw.Noted, "gybed", "", "back"},
		{raw.Noted, "front", "front", "front"}, {raw.Waypoint, "60 %", "60 % on the front foot", "60 % on the front foot"},
		{raw.Waypoint, "buoy", "", "back"},
	} {
		log := &ingest.Log{Marks: []ingest.Mark{{At: 1, Kind: c.kind, Text: c.text}}}
		for means, want := range map[string]string{"": c.alone, "[marks]\nmeans = \"back\"\n": c.meanBack} {
			if m := said(log, parsed(t, means), nil); len(m) != 1 || m[0].Says.Said != want {
				t.Errorf("%s %q, %q: %+v, want %q", c.kind, c.text, means, m, want)
			}
		}
	}
}

// TestOddOneOut: a press far from the others of its place does not count.
func TestOddOneOut(t *testing.T) {
	var presses []*Mark
	for _, v := range []float64{8, 8.3, 7.8, 8.1, 12} {
		presses = append(presses, &Mark{Speed: interval.Number(v), Even: true})
	}
	if kept := withoutOdd(presses); len(kept) != 4 || presses[4].Why != FarOff || presses[0].Why != "" {
		t.Errorf("%d kept, %q", len(kept), presses[4].Why)
	}
}

// TestEvenSpeed: by the law of presses that the package states, the load is even
// at the speed told within what is said of it, also where the even speed lies
// near the end of what was ridden and a plain mean would be off.
func TestEvenSpeed(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 14))
	const slope, low, high = 0.02, 6.0, 11.0 // share per m/s
	for _, even := range []float64{6.5, 8.5, 10.7} {
		inside, squares, n := 0, 0.0, 50
		for range n {
			var v, ridden []float64
			for len(v) < 6 {
				x := low + (high-low)*rng.Float64()
				ridden = append(ridden, x)
				if off := slope * (x - even) / blur; rng.Float64() < math.Exp(-off*off/2) {
					v = append(v, x)
				}
			}
			for range 300 {
				ridden = append(ridden, low+(high-low)*rng.Float64())
			}
			speed, off, _ := evenSpeed(v, histogram(ridden))
			miss := slope * (speed - even) / blur
			squares += miss * miss / float64(n)
			if math.Abs(miss) < 1.645*off {
				inside++
			}
		}
		if rate := float64(inside) / float64(n); rate < 0.75 || math.Sqrt(squares) > 0.8 {
			t.Errorf("even at %.1f: held %.2f, off by %.2f of the blur", even, rate, math.Sqrt(squares))
		} else {
			t.Logf("even at %.1f: held %.2f, off by %.2f of the blur", even, rate, math.Sqrt(squares))
		}
	}
}

// TestEvenFarFromRidden: one wild speed leaves a gap in the speeds ridden, and
// the even speed finite.
func TestEvenFarFromRidden(t *testing.T) {
	var speeds []float64
	for v := 7.0; v <= 10; v += 0.02 {
		speeds = append(speeds, v)
	}
	presses := []float64{8.2, 8.4, 8.5, 8.7}
	plain, _, _ := evenSpeed(presses, histogram(append([]float64{}, speeds...)))
	speed, off, _ := evenSpeed(presses, histogram(append(speeds, 22)))
	if !(math.Abs(speed-plain) < 0.3) || !(off > 0 && off < 2) {
		t.Errorf("even at %.2f m/s, off by %.2f; without the spike at %.2f", speed, off, plain)
	}
}

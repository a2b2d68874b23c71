package report

import (
	"bytes"
	"encoding/json"
	"html"
	"math"
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/simulate"
	"evenfoot/analysis/trim"
	"evenfoot/report/words"
)

// inPlaces simulates a watch's log of an outing with the foil at its start and at
// three places so far apart, m, the rider pressing for even at those three. The
// load moves the more with speed, the more the stabilizer is lowered, rad.
func inPlaces(seed uint64, lowered, apart float64) *simulate.Session {
	sc := simulate.Default()
	sc.Seed, sc.NoIMU, sc.IMURate = seed, true, 10
	sc.Foil.StabIncidence -= lowered
	mid := trim.NewFoil(sc.Foil).At((sc.SpeedLow+sc.SpeedHigh)/2, trim.Gravity).FeltShare
	sc.Foil.WingX -= (mid - 0.5) * (sc.Foil.FrontFoot - sc.Foil.BackFoot)
	sc = sc.InPlaces(720, -apart-0.005, -0.005, apart-0.005)
	s := simulate.Run(sc)
	for _, m := range s.Evens(simulate.UsualPresser()) {
		if m.At > sc.Changes[0].At {
			s.Log.Marks = append(s.Log.Marks, m)
		}
	}
	return s
}

func analysed(t *testing.T, s *simulate.Session, text string) *analysis.Result {
	t.Helper()
	set, _, err := setup.Parse("setup.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	r, err := analysis.Run(analysis.Request{Log: s.Log, Setup: set})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestComparedParts: a comparison lists the parts of a log with changes, each with
// its times, its trim and the speed that was marked as even, the true one inside.
func TestComparedParts(t *testing.T) {
	t.Parallel()
	s := inPlaces(811, 1.5*deg, 0.025)
	r := analysed(t, s, s.SetupTOML(nil))
	changes := s.Scenario.Changes
	s.Scenario.Changes = nil
	c, err := analysis.Compare([]*analysis.Result{analysed(t, s, s.SetupTOML(nil)).Light(), r.Light()})
	if err != nil {
		t.Fatal(err)
	}
	parts := c.Results[1].Parts
	if len(parts) != 4 || len(c.Results[0].Parts) != 0 {
		t.Fatalf("parts %+v", parts)
	}
	flown := 0.0
	for k, p := range parts {
		flown += float64(p.Foiling)
		if p.Foiling < 200 || p.End.Sub(p.Start).Seconds() < 700 || k > 0 && !p.Start.Equal(parts[k-1].End) {
			t.Errorf("part %d: %v to %v, %.0f s on the foil", k, p.Start, p.End, p.Foiling)
		}
		if k == 0 {
			if p.Marks != 0 || p.Even.Known() || p.Foil != 0 {
				t.Errorf("not marked, yet %+v", p)
			}
			continue
		}
		change := changes[k-1].Change
		f := trim.NewFoil(s.Scenario.Foil)
		even, least := 0.0, math.Inf(1)
		for v := 6.0; v < 14; v += 0.01 {
			p := f.Point(v, trim.Gravity)
			if share, _ := p.Felt(change); math.Abs(share-0.5) < least {
				even, least = v, math.Abs(share-0.5)
			}
		}
		t.Logf("even at %.1f m/s, marked %.1f (%.1f to %.1f) by %d", even, p.Even.Value, p.Even.Low, p.Even.High, p.Marks)
		if !p.Even.Contains(even) || p.Even.High-p.Even.Low > 6 || math.Abs(float64(p.Foil)-1000*change.Foil) > 0.1 {
			t.Errorf("part %d: even at %.1f m/s, %+v", k, even, p)
		}
	}
	if math.Abs(flown-float64(r.Totals.Foiling)) > 30 {
		t.Errorf("%.0f s on the foil in the parts, %.0f in all", flown, r.Totals.Foiling)
	}
	for _, m := range r.Marks {
		if m.Counts() && math.IsNaN(float64(m.Speed)) {
			t.Errorf("a mark that counts has no speed: %+v", m)
		}
	}
	var u words.Units
	_, trim, _, felt := u.OrDefault().Part(parts[1])
	if trim != "foil 3.0"+words.NBSP+"cm back" || !strings.HasPrefix(felt, "even at ") {
		t.Errorf("%q, %q", trim, felt)
	}
	var page, text, data bytes.Buffer
	for _, err := range []error{CompareHTML(&page, c, Options{}), CompareText(&text, c, TextOptions{}), CompareJSON(&data, c, u)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	if p := html.UnescapeString(page.String()); strings.Count(p, "The parts of ") == 0 || !strings.Contains(p, trim) || !strings.Contains(p, felt) || !strings.Contains(p, "not marked") {
		t.Error("the page does not list the parts")
	}
	if !strings.Contains(text.String(), words.Clean(trim+": "+felt)) {
		t.Errorf("the terminal does not list the parts:\n%s", text.String())
	}
	var j struct {
		Sessions []struct {
			Parts []analysis.Part `json:"parts"`
		} `json:"sessions"`
	}
	if err := json.Unmarshal(data.Bytes(), &j); err != nil || len(j.Sessions[1].Parts) != 4 || j.Sessions[1].Parts[3].Foil != 20 || !j.Sessions[1].Parts[3].Even.Known() || j.Sessions[0].Parts != nil {
		t.Errorf("%v, %+v", err, j)
	}
}

// TestMovesTheWrongWay: where the moves stand in the setup with the wrong sign, the
// rider is asked which way they were; where the load hardly moves with speed, so
// that nothing contradicts, the step comes with the word that it rests on them.
func TestMovesTheWrongWay(t *testing.T) {
	t.Parallel()
	u := words.Units{}.OrDefault()
	for _, c := range []struct {
		seed           uint64
		lowered, apart float64
		asked, rests   bool
	}{{820, 1.5 * deg, 0.025, true, false}, {821, 0.3 * deg, 0.01, false, true}} {
		s := inPlaces(c.seed, c.lowered, c.apart)
		for i := range s.Scenario.Changes {
			s.Scenario.Changes[i].Change.Foil *= -1
		}
		r := analysed(t, s, s.SetupTOML(nil))
		asked := false
		for _, w := range r.Session.Warnings {
			if x, ok := w.(trim.Conflict); ok {
				asked = asked || strings.Contains(u.Conflict(x), "was moved, check which way")
			}
		}
		rests := strings.Contains(words.For(r, u).Carried, "which way the foil was moved")
		if asked != c.asked || rests != c.rests || rests != (r.Advice.Verdict == advice.Change) {
			t.Errorf("seed %d: %s, asked %v, rests on the moves %v", c.seed, r.Advice.Verdict, asked, rests)
		}
	}
}

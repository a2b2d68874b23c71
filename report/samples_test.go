package report

import (
	"bytes"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
)

func sessionPage(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, fixture(), Options{Version: "test", Now: time.Date(2026, 9, 21, 0, 0, 0, 0, time.UTC)}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func itoa(n int64) string { return strconv.FormatInt(n, 10) }

// fixtures are n sessions that differ in name, weight and evenness.
func fixtures(n int) []*analysis.Result {
	out := make([]*analysis.Result, n)
	for i := range out {
		r := fixture()
		r.Session.Title = "Outing " + itoa(int64(i+1)) + " on the lagoon"
		k := 1 - 0.6*float64(i)/float64(n)
		for j := range r.FootLoad {
			s := &r.FootLoad[j].FrontShare
			*s = interval.Interval{Value: 0.5 + (s.Value-0.5)*k, Low: 0.5 + (s.Low-0.5)*k, High: 0.5 + (s.High-0.5)*k}
		}
		r.Advice.EvennessNow = r.Advice.EvennessNow.Scale(k)
		r.PitchLaw.Slope = r.PitchLaw.Slope.Scale(1 + 0.01*float64(i))
		r.Setup.Rider.Mass += float64(i)
		out[i] = r
	}
	return out
}

// comparison is of one athlete with one change where there are two sessions of
// one rider, else of as many athletes, the first of whom has two sessions where
// there are six or more.
func comparison(rs []*analysis.Result, ba *advice.BeforeAfter) *analysis.Comparison {
	c := &analysis.Comparison{Schema: analysis.Schema, Results: rs}
	for i, r := range rs {
		one := len(rs) == 2 && ba != nil || len(rs) > 5 && i == 1
		if i == 0 || !one {
			c.Athletes = append(c.Athletes, analysis.Athlete{})
			if r.Setup != nil && len(rs) > 2 {
				r.Setup.Rider.Name = "Rider " + itoa(int64(i+1))
			}
		}
		a := &c.Athletes[len(c.Athletes)-1]
		if a.Sessions = append(a.Sessions, r); i > 0 && one {
			a.Changes = append(a.Changes, analysis.Change{Judged: ba})
		}
	}
	return c
}

// wellSaid fails for a sentence that its template could not make.
func wellSaid(t *testing.T, page string) {
	t.Helper()
	if i := strings.Index(page, "executing &"); i >= 0 {
		t.Errorf("a sentence cannot be made: %.200s", page[i:])
	}
}

// TestSeasonsAreSaid: an athlete's changes are, beside others.
func TestSeasonsAreSaid(t *testing.T) {
	if p := string(comparedPage(t, 8)); !strings.Contains(p, "<dt>Changed</dt><dd>Shim") {
		t.Error("the page does not say what was changed")
	}
}

func comparedPage(t *testing.T, n int) []byte {
	t.Helper()
	var b bytes.Buffer
	ba := &advice.BeforeAfter{Verdict: advice.AsPredicted, ChanceBetter: 0.93, Says: []advice.Reason{{Kind: advice.FeltAsForetold}}, Changed: []advice.Difference{{Key: "foil.stabilizer.shim_mm", To: 0.00076}},
		Rows: []advice.Comparison{{Kind: advice.ZeroPitch, Unit: "deg", Predicted: interval.Normal(0.1, 0.05), Observed: interval.Normal(0.12, 0.1), Outcome: advice.AsForetold}}}
	if err := CompareHTML(&b, comparison(fixtures(n), ba), Options{Version: "test", Sheets: []string{"1/report.html"}}); err != nil {
		t.Fatal(err)
	}
	wellSaid(t, b.String())
	return b.Bytes()
}

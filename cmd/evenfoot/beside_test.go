package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"evenfoot/analysis/simulate"
	"evenfoot/analysis/trim"
)

// TestBesideCounts: the session before, of the same rider on the same foil, is
// evidence by itself and named; what came later, and anybody else's, is not; the
// answer knows that its advice was taken; --alone leaves it out; and the same logs
// under another name count once, and not as evidence for themselves.
func TestBesideCounts(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"wing", "card", "kite"} {
		if err := goldenOutings[name].lay(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"wing", "card"} {
		if err := os.CopyFS(filepath.Join(dir, name+" again"), os.DirFS(filepath.Join(dir, name))); err != nil {
			t.Fatal(err)
		}
	}
	for _, args := range [][]string{{"report", "card", "--with", "card again"}, {"report", "card", "--with", "wing", "--with", "wing again"}, {"compare", "card", "card again"}} {
		var out, errs bytes.Buffer
		for i, a := range args[1:] {
			if a != "--with" {
				args[i+1] = filepath.Join(dir, a)
			}
		}
		if code := run(args, nil, &out, &errs); code != 2 || !strings.Contains(errs.String(), "the very same log") {
			t.Errorf("%q: exit %d: %s", args, code, errs.String())
		}
	}
	for _, c := range []struct {
		args    []string
		earlier []string
		after   string // the session whose advice was taken
	}{
		{[]string{"card"}, []string{"Reservoir, no shim"}, "Reservoir, no shim"},
		{[]string{"card", "--alone"}, nil, ""},
		{[]string{"wing"}, nil, ""},
	} {
		args := append([]string{"report", filepath.Join(dir, c.args[0]), "--json", "-"}, c.args[1:]...)
		var out, errs bytes.Buffer
		if code := run(args, nil, &out, &errs); code != 0 {
			t.Fatalf("%v: exit %d: %s", c.args, code, errs.String())
		}
		var got struct {
			Session  struct{ Earlier []string }
			Followed *struct{ Session string }
		}
		if err := json.Unmarshal(out.Bytes(), &got); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got.Session.Earlier, c.earlier) {
			t.Errorf("%v: %q count, want %q", c.args, got.Session.Earlier, c.earlier)
		}
		after := ""
		if got.Followed != nil {
			after = got.Followed.Session
		}
		if after != c.after {
			t.Errorf("%v: the advice of %q was taken, want %q", c.args, after, c.after)
		}
	}
}

// TestCompareOrder: of an angle that two outings give otherwise and one leaves out, the
// sheets of a comparison are the same in whatever order the folders are named, and the
// last one's numbers are those of its own report.
func TestCompareOrder(t *testing.T) {
	const angle = "foil.stabilizer.incidence_deg"
	dir := t.TempDir()
	for i, name := range []string{"first", "second", "third"} {
		outing := goldenOuting{format: "gps", scenario: func() simulate.Scenario {
			sc := goldenNamed("Ines", simulate.Default)()
			sc.Seed, sc.GPSRate, sc.Duration, sc.Gear.Title = uint64(50+i), 1, 600, name
			sc.Start = time.Date(2026, 7, 3+i, 10, 0, 0, 0, time.UTC)
			switch i {
			case 0:
				sc.Foil.StabIncidence = -1 * simulate.Deg
			case 1:
				sc.Gear.Leave = append(sc.Gear.Leave, angle)
				sc.Gear.Shim = trim.Card
			case 2:
				sc.Foil.StabIncidence, sc.Gear.Shim = -2.4*simulate.Deg, trim.Card
			}
			return sc
		}}
		if err := outing.lay(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	answer := func(to any, args ...string) {
		t.Helper()
		var out, errs bytes.Buffer
		if code := run(append(args, "--json", "-", "--out", "page.html"), nil, &out, &errs); code != 0 {
			t.Fatalf("%q: exit %d: %s", args, code, errs.String())
		}
		if err := json.Unmarshal(out.Bytes(), to); err != nil {
			t.Fatal(err)
		}
	}
	type sheet struct {
		Session struct{ Title string }
		Advice  any
	}
	compared := func(folders ...string) map[string]any {
		var c struct{ Sessions []sheet }
		answer(&c, append([]string{"compare"}, folders...)...)
		out := map[string]any{}
		for _, s := range c.Sessions {
			out[s.Session.Title] = s.Advice
		}
		return out
	}
	want := compared("first", "second", "third")
	if len(want) != 3 {
		t.Fatalf("%d sheets", len(want))
	}
	if got := compared("third", "second", "first"); !reflect.DeepEqual(got, want) {
		t.Errorf("named the other way round %.500v, want %.500v", got, want)
	}
	var own sheet
	if answer(&own, "report", "third"); own.Advice == nil || !reflect.DeepEqual(own.Advice, want["third"]) {
		t.Errorf("on its own sheet %.500v, compared %.500v", own.Advice, want["third"])
	}
}

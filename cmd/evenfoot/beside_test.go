package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"slices"
	"testing"
)

// TestBesideCounts: the session before, of the same rider on the same foil, is
// evidence by itself and named; what came later, and anybody else's, is not; the
// answer knows that its advice was taken; and --alone leaves it out.
func TestBesideCounts(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"wing", "card", "kite"} {
		if err := goldenOutings[name].lay(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
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

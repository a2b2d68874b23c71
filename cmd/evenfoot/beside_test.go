package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
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

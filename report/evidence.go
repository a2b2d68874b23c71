package report

import (
	"fmt"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// setupLines is the setup as it was understood.
func setupLines(s *setup.Setup, u words.Units) []given {
	if s == nil {
		return nil
	}
	var out []given
	for i := range setup.Keys {
		k := &setup.Keys[i]
		v := k.Value(s)
		nothing := v == 0.0 || v == 0 || v == ""
		if k.Label == "" || nothing && k.Example != nil && !s.Given(k.Name) {
			continue
		}
		out = append(out, given{k.Label, valueText(k, v, u), !s.Given(k.Name)})
	}
	for _, f := range s.Feel {
		out = append(out, given{"Felt at " + u.SpeedText(f.Speed), fmt.Sprintf("%s, taken as %s ± %s", words.Clean(f.Said), words.Fixed(100*f.Share, 0), words.Percent(f.SD)), false})
	}
	return out
}

// valueText is a value of the setup in the reader's units.
func valueText(k *setup.Key, v any, u words.Units) string {
	switch x := v.(type) {
	case bool:
		return words.Choose(x, "in straps or hooks", "free")
	case int:
		return fmt.Sprintf("P %d", x)
	case [2]float64:
		return u.LengthText(-x[0]) + " back, " + u.LengthText(x[1]) + " forward"
	case float64:
		return u.Keyed(k, x)
	case string:
		if k.Name == "foil.stabilizer.mount" {
			return words.Choose(x == "bottom", "below the fuselage", "on top of the fuselage")
		}
		return words.Clean(x)
	}
	return words.Unknown
}

// fileLines say what was read.
func fileLines(r *analysis.Result, u words.Units) []fileFacts {
	var out []fileFacts
	if r.Log == nil {
		for _, f := range r.Session.Files {
			out = append(out, fileFacts{Name: words.FileName(f)})
		}
		return out
	}
	for _, f := range r.Log.Files {
		x := fileFacts{Name: words.FileName(f.Name), Kind: words.Clean(f.Kind)}
		for _, fact := range u.Facts("file", f) {
			x.Facts = append(x.Facts, fact.Name+": "+fact.Value)
		}
		out = append(out, x)
	}
	return out
}

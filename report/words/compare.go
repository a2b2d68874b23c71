package words

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// VerdictHead is the judgement of a change in a sentence: no more of a success
// than its rows and its chance allow.
func VerdictHead(b *advice.BeforeAfter) string {
	says := func(k advice.Kind) bool {
		return slices.ContainsFunc(b.Says, func(x advice.Reason) bool { return x.Kind == k })
	}
	partly := slices.ContainsFunc(b.Rows, func(r advice.Comparison) bool { return r.Outcome == advice.More || r.Outcome == advice.Less })
	return Units{}.Tell("verdict", struct {
		*advice.BeforeAfter
		Same, Unsaid, Partly bool
	}{b, says(advice.NothingChanged), says(advice.ChangedUnsaid), partly})
}

// whatChanged names a change by its one part, and as a change where it has several.
func whatChanged(all []advice.Difference) string {
	shim, place := 0, 0
	for _, d := range all {
		switch d.Key {
		case "foil.stabilizer.shim_mm":
			shim++
		case "stance.front_cm", "stance.back_cm":
			place++
		}
	}
	switch {
	case shim == 1 && len(all) == 1:
		return Choose(math.Abs(math.Abs(all[0].To-all[0].From)-trim.Card) < 0.1*trim.Card, "The card", "The shim")
	case place == 2 && len(all) == 2:
		return "The move"
	}
	return "The change"
}

// Missing lists what a session lacks that would make its answer surer.
func Missing(r *analysis.Result) (out []string) {
	add := func(lacks bool, what string) {
		if lacks {
			out = append(out, what)
		}
	}
	if add(r.Setup == nil, "a setup"); len(r.Session.Files) == 0 {
		return append(out, "a log")
	}
	counts := slices.ContainsFunc(r.Marks, func(m mark.Mark) bool { return m.Counts() })
	add(r.Setup != nil && len(r.Setup.Feel) == 0 && !counts && r.FootForces == nil, "notes of feel")
	add(!(r.Session.GPSHz > 0), "GPS")
	switch logger := r.Session.IMUHz > 0; {
	case !logger && loggerHardlyNarrows(r):
		add(len(out) == 0, "more notes of feel")
	case !logger:
		add(true, "a logger on the board")
	case r.Mount != nil && !r.Mount.Rigid:
		add(true, "a logger that is fixed to the board")
	case r.PitchLaw == nil || !r.PitchLaw.Enough:
		add(true, "a pitch law")
	default:
		add(!r.Mount.LevelZero, "the level at rest")
		add(len(r.PitchLaw.ByTack) < 2, "the other tack")
	}
	return out
}

// MostToGain orders results by what their next step gains, the largest gain
// first, then by how far the load is off even, what is not known last.
func MostToGain(a, b *analysis.Result) int {
	p, q := Units{}.Sheet(a), Units{}.Sheet(b)
	return cmp.Or(cmp.Compare(q.Gain(), p.Gain()), UnknownLast(-p.OffEven().Value, -q.OffEven().Value))
}

// feltMove is a change of the share that four notes can hardly tell from none.
const feltMove = 0.04

// Judgement says a judgement point by point.
func (u Units) Judgement(b *advice.BeforeAfter) string {
	var says []string
	for _, x := range b.Says {
		says = append(says, u.Reason(x, nil))
	}
	return strings.Join(says, " ")
}

// Row names the quantity of a comparison's row.
func (u Units) Row(c advice.Comparison) string {
	if c.Speed > 0 {
		return Clean(string(c.Kind)) + " at " + u.SpeedText(c.Speed)
	}
	return Clean(string(c.Kind))
}

// Changed lists what a change changed, in the key's unit or the reader's.
func (u Units) Changed(all []advice.Difference) []string {
	out := []string{}
	for _, d := range all {
		k := keyNamed(d.Key)
		out = append(out, fmt.Sprintf("%s: %s → %s", cmp.Or(LowerFirst(k.Label), k.Name), u.Keyed(k, d.From), u.Keyed(k, d.To)))
	}
	return out
}

// keys names keys of the setup, without what their labels add in brackets.
func keys(names []string) string {
	var out []string
	for _, n := range names {
		label, _, _ := strings.Cut(keyNamed(n).Label, " (")
		out = append(out, cmp.Or(LowerFirst(label), Clean(n)))
	}
	return strings.Join(out, "; ")
}

// keyNamed is a key of the setup; one that is not known has a name and no unit.
func keyNamed(name string) *setup.Key {
	return cmp.Or(setup.KeyNamed(name), &setup.Key{Name: Clean(name)})
}

// Keyed is a value (SI) of a setup's key in the reader's unit, else in the key's.
func (u Units) Keyed(k *setup.Key, v float64) string {
	switch unit, si := k.Unit(); {
	case unit == "kg":
		return u.MassText(v)
	case unit == "cm":
		return u.LengthText(v)
	case unit == "cm²":
		return Area(v, u)
	case k.Name == "foil.stabilizer.shim_mm":
		return u.Thin(v)
	case unit == "mm" || unit == "%" && si == 1:
		return in(v/si, 1, unit)
	case unit == "%":
		return in(v*100, 0, unit) + " of the chord"
	case unit == "°":
		return Fixed(v/si, 1) + unit
	case unit == "°C":
		return in(v, 0, unit)
	case unit != "":
		return fmt.Sprintf("%.3g %s", v/si, unit)
	}
	return in(v*100, 0, "%")
}

// Part says when a part of a log was, UTC, its trim as it counts from the log's
// start, the time on the foil, and what the marks in it say.
func (u Units) Part(p analysis.Part) (when, trim, flown, felt string) {
	m := func(mm interval.Number) float64 { return float64(mm) / 1000 }
	trim = strings.Join(u.TellAll("part trim", struct{ Foil, Shim, Front, Back float64 }{m(p.Foil), m(p.Shim), m(p.Front), m(p.Back)}), ", ")
	return p.Start.Format("15:04") + "–" + p.End.Format("15:04"), cmp.Or(trim, "as at the start"), Minutes(float64(p.Foiling)), u.Tell("part felt", p)
}

// NextOf says what to do after an outing that is compared, and what to mind with
// it; "" and "" without advice.
func (u Units) NextOf(after *analysis.Result) (next, mind string) {
	if after.Advice == nil {
		return "", ""
	}
	w := For(after, u)
	if after.Advice.Verdict == advice.Change || len(w.Steps) > 1 {
		mind = w.Mind
	}
	return w.Next, mind
}

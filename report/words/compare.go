package words

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/setup"
)

// WhyNoChange says why a comparison judges no change, "" where it does.
func WhyNoChange(c *analysis.Comparison) string {
	switch c.Why {
	case analysis.NotTwo:
		return "A change is judged between two sessions only."
	case analysis.NoSetupBoth:
		return "A change is judged only where both sessions have a setup."
	case analysis.TwoRiders:
		return "These are two riders, so there is no before and after."
	case analysis.OtherFoil:
		return "There is no before and after: " + c.Differ.Error() + "."
	}
	return ""
}

// VerdictHead is the judgement of a change in a sentence: no more of a success
// than its rows and its chance allow.
func VerdictHead(b *advice.BeforeAfter) string {
	p := float64(b.ChanceBetter)
	says := func(k advice.Kind) bool {
		return slices.ContainsFunc(b.Says, func(x advice.Reason) bool { return x.Kind == k })
	}
	if says(advice.NothingChanged) {
		if says(advice.ChangedUnsaid) {
			return "The two setups are the same, yet the outings do not fit each other."
		}
		return "The two setups are the same: there is no change to judge."
	}
	switch b.Verdict {
	case advice.AsPredicted:
		for _, r := range b.Rows {
			if r.Outcome == advice.More || r.Outcome == advice.Less {
				return "The change did a part of what was foretold; not all rows agree."
			}
		}
		switch {
		case p >= advice.Surely:
			return "The change did what was foretold, and the load is more even than before."
		case p <= 1-advice.Surely:
			return "The change did what was foretold, but the load is less even than before."
		}
		return "The change did what was foretold. Whether the load is more even than before is not clear."
	case advice.NotAsPredicted:
		return "The change did not do what was foretold."
	}
	return "Whether the change did what was foretold cannot be told yet."
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
		name := map[string]string{
			"foil.stabilizer.shim_mm":       "shim under the stabilizer",
			"foil.stabilizer.incidence_deg": "stabilizer incidence without shim",
			"stance.front_cm":               "front foot from the mast",
			"stance.back_cm":                "back foot from the mast",
			"foil.wing.ahead_cm":            "wing ahead of the mast",
			"foil.wing.incidence_deg":       "wing incidence to the deck",
			"rider.mass_kg":                 "rider",
			"rig.lift_fraction":             "weight that the rig carries",
		}[d.Key]
		k := keyNamed(d.Key)
		name = cmp.Or(name, LowerFirst(k.Label), k.Name)
		out = append(out, fmt.Sprintf("%s: %s → %s", name, u.Keyed(k, d.From), u.Keyed(k, d.To)))
	}
	return out
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
		return Percent(v) + " of the chord"
	case unit == "°":
		return Fixed(v/si, 1) + unit
	case unit == "°C":
		return in(v, 0, unit)
	case unit != "":
		return fmt.Sprintf("%.3g %s", v/si, unit)
	}
	return Percent(v)
}

// NextOf says what to do after a change, and what to mind with it; "" and ""
// without advice. after is the outing after the change.
func (u Units) NextOf(b *advice.BeforeAfter, after *analysis.Result) (next, mind string) {
	if b.Next == nil {
		return "", ""
	}
	alt := *after
	alt.Advice, alt.Followed = b.Next, nil
	w := For(&alt, u)
	if b.Next.Verdict == advice.Change || len(w.Steps) > 1 {
		mind = w.Mind
	}
	return w.Next, mind
}

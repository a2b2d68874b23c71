package words

import (
	"fmt"
	"math"
	"strings"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/glide"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
)

// newtons is a force.
func newtons(i interval.Interval) string { return Between(i, 1, 0) + NBSP + "N" }

// percentOf is a part in percent, with a digit where it is small.
func percentOf(v float64) string { return Fixed(v, Choose(math.Abs(v) < 9.5, 1, 0)) + NBSP + "%" }

// Drag says what the glides show, a sentence a point; nothing without any.
func (u Units) Drag(r *analysis.Result) (says []string) {
	d := r.Drag
	if d == nil || len(d.Curve) == 0 {
		return nil
	}
	top := d.Curve[len(d.Curve)-1]
	at := fmt.Sprintf("At the top speed (%s)", u.SpeedText(float64(top.Speed)))
	if _, _, ridden := SpeedsOf(r); ridden > float64(top.Speed)+0.01 {
		at = fmt.Sprintf("At %s, the fastest that is told since the wing may cavitate from there to the top speed (%s),", u.SpeedText(float64(top.Speed)), u.SpeedText(ridden))
	}
	least := "no speed of least drag was found"
	if d.LeastDrag.Known() {
		least = "the least drag is at " + u.SpeedText(d.LeastDrag.Value)
	}
	says = append(says,
		fmt.Sprintf("%s show a drag area in the water of %s cm² at %s (C_D A, 90 %% in brackets).", UpperFirst(Plural(d.Glides, "glide")), Between(d.Area, 1e4, 1), u.SpeedText(float64(d.Speed))),
		fmt.Sprintf("%s that is %s in the water: wing %s, stabilizer %s, mast %s, spray %s N; rider, board and the luffed rig in the air add about %s, across the wind.",
			at, newtons(top.Drag), Fixed(top.Wing.Value, 0), Fixed(top.Stabilizer.Value, 0), Fixed(top.Mast.Value, 0), Fixed(top.Spray.Value, 0), Fixed(top.Air.Value, 0)+NBSP+"N"),
		fmt.Sprintf("There it lifts %s times its drag; %s.", Between(top.LiftToDrag, 1, 1), least),
		u.couldShow(d.Glides, float64(d.Smallest), float64(d.SmallestTwenty)))
	return says
}

// couldShow says which change glides can show.
func (u Units) couldShow(n int, smallest, twenty float64) string {
	s := fmt.Sprintf("%s each show a change of %s against another outing, in four cases of five", UpperFirst(Plural(n, "glide")), percentOf(smallest))
	if n < 20 {
		s += fmt.Sprintf("; twenty each would show %s", percentOf(twenty))
	}
	return s + ". A smaller change may be there and is not seen."
}

// Cavitation says where the wing would cavitate, and how far the speeds that
// count are from it.
func (u Units) Cavitation(r *analysis.Result) string {
	c := r.Drag.Cavitation
	at := fmt.Sprintf("At about %s (90 %%: %s to %s)", u.SpeedText(c.Value), u.SpeedText(c.Low), u.SpeedText(c.High))
	limit := u.SpeedText(trim.CavitationSearched)
	switch {
	case !Finite(c.Low):
		return fmt.Sprintf("Up to %s the suction peak of a smooth wing section does not reach vapour pressure in level flight (estimate after Abbott & von Doenhoff).", limit)
	case !Finite(c.Value):
		at = fmt.Sprintf("Above %s, or from %s on at the soonest (90 %%),", limit, u.SpeedText(c.Low))
	case !Finite(c.High):
		at = fmt.Sprintf("At about %s (90 %%: %s to more than %s)", u.SpeedText(c.Value), u.SpeedText(c.Low), limit)
	}
	s := fmt.Sprintf("%s the suction peak of a smooth wing section reaches vapour pressure in level flight; a rough leading edge, a turn or a gust has it sooner (estimate after Abbott & von Doenhoff).", at)
	if _, _, top := SpeedsOf(r); top > c.Low {
		return s + " Your top speed comes near: the drag is told up to there only, and nothing here is advice to ride faster."
	}
	return s
}

// TopSpeedCautions belong to all that is said of the top speed.
var TopSpeedCautions = []string{
	"A fall at top speed hurts: helmet, impact vest, deep clear water, nobody near, and a leash that lets go.",
	"What is said of a knot is at the same pull in flat water. A trim that drags less can be livelier: read its speed gradient first.",
}

// Glide says what a glide was and what became of it.
func (u Units) Glide(g analysis.Glide) (when, what, became string) {
	when = Clock(float64(g.Start))
	if g.Time != nil {
		when = g.Time.UTC().Format("15:04:05") + " UTC"
	}
	if Finite(float64(g.From)) {
		what = fmt.Sprintf("%.0f s, %s to %s, course %03.0f°", float64(g.End-g.Start), u.SpeedFine(float64(g.From)), u.SpeedFine(float64(g.To)), float64(g.Course))
	}
	switch g.Why {
	case "":
		became = "counts"
		if g.Drag.Known() {
			became += fmt.Sprintf(", its drag is %s from the others'", strings.TrimSuffix(Between(g.Drag, 100, 0), " ")+NBSP+"%")
		}
	case glide.Pulled, glide.Braked:
		became = "counts for little: " + whyNoGlide[g.Why]
	default:
		became = "does not count: " + whyNoGlide[g.Why]
	}
	return when, what, became
}

var whyNoGlide = map[glide.Why]string{
	glide.NotSlowing:  "no steady straight slowing down in flight there",
	glide.Outside:     "outside the log; from and to are times of day in UTC",
	glide.Twice:       "another one names the same stretch, which counts once",
	glide.Pumped:      "the board was pumped",
	glide.Unconfirmed: "it looks like a glide, and nobody said that the rig pulled nothing",
	glide.Pulled:      "it slows much less than the others, as if the rig still pulled",
	glide.Braked:      "it slows much more than the others",
}

// GlideLines are the setup's lines for what looks like a glide and was not named.
func GlideLines(glides []analysis.Glide) string {
	var out []string
	for _, g := range glides {
		if g.Time != nil && g.Why == glide.Unconfirmed {
			end := g.Time.Add(time.Duration(float64(g.End-g.Start) * float64(time.Second))).UTC()
			out = append(out, fmt.Sprintf("[[glide]]\nfrom = %q\nto = %q", g.Time.UTC().Format("15:04:05"), end.Format("15:04:05")))
		}
	}
	return strings.Join(out, "\n")
}

// DragOptions says what each number of cards does at the top speed: cards, drag
// in N, speed at the same pull.
func (u Units) DragOptions(d *analysis.Drag) (rows [][]string) {
	for _, o := range d.Options {
		if o.Cards != 0 {
			rows = append(rows, []string{fmt.Sprintf("%+g", o.Cards), Between(o.Drag, 1, 1), Between(o.Speed, u.SpeedValue(1), 2)})
		}
	}
	return rows
}

// DragChange says whether the drag changed, and no more than the glides show.
func (u Units) DragChange(c *analysis.DragChange) string {
	if c == nil {
		return ""
	}
	n := min(c.Glides[0], c.Glides[1])
	found := fmt.Sprintf("Drag in the water at %s: %s", u.SpeedText(float64(c.Speed)), Between(c.Change, 1, 0)+NBSP+"%")
	switch {
	case c.Change.Contains(0):
		return found + ", which no change at all explains as well. " + u.couldShow(n, float64(c.Smallest), float64(c.SmallestTwenty))
	case math.Abs(c.Change.Value) < float64(c.Smallest):
		return found + fmt.Sprintf(". That is more than chance explains, but less than such glides show reliably (%s): glide again before you believe it.", percentOf(float64(c.Smallest)))
	}
	return found + Choose(c.Change.Value < 0, ": less than before.", ": more than before.")
}

// GlideProtocol is how to glide so that the drag shows; nothing where enough
// glides are there.
func (u Units) GlideProtocol(r *analysis.Result) *Trial {
	known := 0
	if r.Drag != nil {
		known = r.Drag.Glides
	}
	if known >= 20 || r.Setup == nil {
		return nil
	}
	luff := map[string]string{"wing": "luff the wing to the hand", "kite": "let the bar out until the kite pulls nothing", "sail": "let the sail out until it flags", "tow": "let go of the rope", "none": "stop pumping, or cut the motor"}[r.Setup.Rig.Kind]
	t := &Trial{
		Do: "Glide five times, for the drag.",
		How: []string{
			"From top speed, on a straight course in flat water, " + luff + " and stand still until the foil is about to sink: no pumping, no steering, the same posture and the same height each time.",
			"In turn as near to the wind and as far from it as you sail, so that wind and current tell themselves.",
			"Press the lap key at each start (" + u.here("with [marks] means = \"glide\" in the setup), or write each down: [[glide]] with from and to, UTC.", "the setup says that a mark meant a glide), or write the start and end of each into the setup, UTC."),
		},
		Tells: "About 10 minutes. It shows the drag and what a card costs at the top speed.",
	}
	if d := r.Drag; d != nil {
		t.Tells = fmt.Sprintf("About 10 minutes. %s", u.couldShow(d.Glides, float64(d.Smallest), float64(d.SmallestTwenty)))
	}
	return t
}

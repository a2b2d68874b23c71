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
func (u Units) Drag(r *analysis.Result) []string {
	if r.Drag == nil || len(r.Drag.Curve) == 0 {
		return nil
	}
	_, _, ridden := SpeedsOf(r)
	top := r.Drag.Curve[len(r.Drag.Curve)-1]
	return u.tellAll("drag", struct {
		*analysis.Drag
		Top    analysis.DragPoint
		Ridden float64
		Cut    bool // the wing may cavitate from there on
		Could  string
	}{r.Drag, top, ridden, ridden > float64(top.Speed)+0.01, u.couldShow(r.Drag.Glides, r.Drag.Smallest, r.Drag.SmallestTwenty)})
}

// couldShow says which change glides can show.
func (u Units) couldShow(n int, smallest, twenty interval.Number) string {
	return u.tell("could show", struct {
		N                int
		Smallest, Twenty interval.Number
	}{n, smallest, twenty})
}

// Cavitation says where the wing would cavitate, and how far the speeds that
// count are from it.
func (u Units) Cavitation(r *analysis.Result) string {
	_, _, top := SpeedsOf(r)
	return u.tell("cavitation", struct {
		interval.Interval
		Limit float64
		Near  bool
	}{r.Drag.Cavitation, trim.CavitationSearched, top > r.Drag.Cavitation.Low})
}

// TopSpeedCautions belong to all that is said of the top speed.
var TopSpeedCautions = Units{}.tellAll("top speed", nil)

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
	return u.tell("drag change", struct {
		*analysis.DragChange
		None, Little bool // no change explains it; less than is shown reliably
		Could        string
	}{c, c.Change.Contains(0), math.Abs(c.Change.Value) < float64(c.Smallest), u.couldShow(min(c.Glides[0], c.Glides[1]), c.Smallest, c.SmallestTwenty)})
}

// enoughGlides is how many glides tell all that they can.
const enoughGlides = 20

// GlideProtocol is how to glide so that the drag shows; nothing where enough
// glides are there.
func (u Units) GlideProtocol(r *analysis.Result) *Trial {
	if r.Setup == nil || r.Drag != nil && r.Drag.Glides >= enoughGlides {
		return nil
	}
	t := &Trial{Do: u.tell("glide", nil), How: u.tellAll("glide how", r.Setup.Rig), Tells: u.tell("glide tells", nil)}
	if d := r.Drag; d != nil {
		t.Tells = "About 10 minutes. " + u.couldShow(d.Glides, d.Smallest, d.SmallestTwenty)
	}
	return t
}

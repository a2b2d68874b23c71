package words

import (
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pace"
	"evenfoot/analysis/trim"
)

// percentOf is a part in percent, with a digit where it is small.
func percentOf(v float64) string { return Fixed(v, Choose(math.Abs(v) < 9.5, 1, 0)) + NBSP + "%" }

// Drag says what the glides show, a sentence a point; nothing without any.
func (u Units) Drag(r *analysis.Result) []string {
	if r.Drag == nil || len(r.Drag.Curve) == 0 {
		return nil
	}
	_, _, ridden := SpeedsOf(r)
	top := r.Drag.Curve[len(r.Drag.Curve)-1]
	return u.TellAll("drag", struct {
		*analysis.Drag
		Top    analysis.DragPoint
		Ridden float64
		Cut    bool // the wing may cavitate from there on
		Could  string
	}{r.Drag, top, ridden, ridden > float64(top.Speed)+0.01, u.couldShow(r.Drag.Glides, r.Drag.Smallest, r.Drag.SmallestTwenty)})
}

// couldShow says which change glides can show.
func (u Units) couldShow(n int, smallest, twenty interval.Number) string {
	return u.Tell("could show", struct {
		N                int
		Smallest, Twenty interval.Number
	}{n, smallest, twenty})
}

// Cavitation says where the wing would cavitate, and how far the speeds that
// count are from it.
func (u Units) Cavitation(r *analysis.Result) string {
	_, _, top := SpeedsOf(r)
	return u.Tell("cavitation", struct {
		interval.Interval
		Limit float64
		Near  bool
	}{r.Drag.Cavitation, trim.CavitationSearched, top > r.Drag.Cavitation.Low})
}

// DragChange says whether the drag changed, and no more than the glides show.
func (u Units) DragChange(c *analysis.DragChange) string {
	if c == nil {
		return ""
	}
	return u.Tell("drag change", struct {
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
	t := &Trial{Do: u.Tell("glide", nil), How: u.TellAll("glide how", r.Setup.Rig), Tells: u.Tell("glide tells", nil)}
	if d := r.Drag; d != nil {
		t.Tells = "About 10 minutes. " + u.couldShow(d.Glides, d.Smallest, d.SmallestTwenty)
	}
	return t
}

// paceNames say what a feature of a reach is, and with how many digits and which unit.
var paceNames = map[string]struct {
	name, unit string
	digits     int
}{
	analysis.PacePitch:  {"pitch beyond what the speed asks for", "°", 2},
	analysis.PaceHeel:   {"heel to windward", "°", 1},
	analysis.PaceLoad:   {"load on the foil", " g", 3},
	analysis.PaceSail:   {"angle off the wind", "°", 0},
	analysis.PaceEffort: {"pitch corrections", " °/s", 2},
}

// saysNothing is the width of a 90 % interval of a part of the time, of 1, from
// which on it is not told (common sense).
const saysNothing = 0.9

// Pace says what a racer asks of a log, a sentence a point.
func (u Units) Pace(p *analysis.Pace) (says []string) {
	if p.OffEven.Known() && p.OffEven.High-p.OffEven.Low < saysNothing {
		says = append(says, u.Tell("off even", struct {
			From, Part any
		}{p.TopFrom, part(p.OffEven)}))
	}
	told := false
	for _, a := range p.Apart {
		if n := paceNames[a.Name]; p.Reaches > 0 && a.Told() {
			told = true
			says = append(says, u.Tell("fastest", struct {
				Name, Fastest, Rest, P any
			}{n.name, Fixed(float64(a.Fastest), n.digits) + n.unit, Fixed(float64(a.Rest), n.digits) + n.unit, a.P}))
		}
	}
	if !told {
		says = append(says, u.Tell("nothing apart", struct{ Reaches, Least int }{p.Reaches, pace.Least}))
	}
	return says
}

// part is a part of something with its doubt, where that shows.
func part(i interval.Interval) string {
	if s := Share(i); strings.Contains(s, "(") {
		return s + NBSP + "%"
	}
	return Percent(i.Value)
}

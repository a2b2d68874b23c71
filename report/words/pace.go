package words

import (
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pace"
)

// paceNames say what a feature of a reach is, and with how many digits and which unit.
var paceNames = map[analysis.PaceFeature]struct {
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
		says = append(says, u.tell("off even", struct {
			From, Part any
		}{p.TopFrom, part(p.OffEven)}))
	}
	told := false
	for _, a := range p.Apart {
		if n := paceNames[a.Name]; p.Reaches > 0 && a.Told() {
			told = true
			says = append(says, u.tell("fastest", struct {
				Name, Fastest, Rest, P any
			}{n.name, Fixed(float64(a.Fastest), n.digits) + n.unit, Fixed(float64(a.Rest), n.digits) + n.unit, a.P}))
		}
	}
	if !told {
		says = append(says, u.tell("nothing apart", struct{ Reaches, Least int }{p.Reaches, pace.Least}))
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

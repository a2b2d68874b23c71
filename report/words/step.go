package words

import (
	"fmt"
	"math"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
)

// shimStep says what to do at the stabilizer, nil for nothing.
func shimStep(r *analysis.Result, u Units) *Step {
	a := r.Advice
	m := float64(a.Shim) / 1000
	if !Finite(m) || math.Abs(m) < 0.00005 {
		return nil
	}
	fitted, span := 0.0, 0.0
	if r.Setup != nil {
		fitted, span = r.Setup.Foil.Stabilizer.Shim, r.Setup.Foil.Stabilizer.ShimSpan
	}
	after := fitted + m
	s := &Step{Kind: "shim", Name: "Shim"}
	size := u.cardsText(m)
	switch {
	case fitted*m < 0 && math.Abs(after) < 0.00015:
		s.Do = fmt.Sprintf("Take the shim (%s) out from between fuselage and stabilizer.", u.Thin(math.Abs(fitted)))
	case fitted*m < 0 && fitted*after > 0:
		s.Do = fmt.Sprintf("Take %s out, and leave %s %s.", size, u.Thin(math.Abs(after)), placeFor(r, after))
	case fitted*m < 0:
		s.Do = fmt.Sprintf("Take the old shim out, and put %s %s.", u.Thin(math.Abs(after)), placeFor(r, m))
	case fitted != 0:
		s.Do = fmt.Sprintf("Add %s %s.", size, placeFor(r, m))
	default:
		s.Do = fmt.Sprintf("Put %s %s.", size, placeFor(r, m))
	}
	s.How = "The leading edge is the edge that meets the water first. A shim is a thin, hard spacer."
	if EdgeFor(r, m) == "trailing edge" {
		s.How = "The trailing edge is the rear edge. A shim is a thin, hard spacer."
	}
	if span > 0 {
		s.How += fmt.Sprintf(" It turns the leading edge %s by %s degrees.", Choose(m < 0, "down", "up"), Fixed(math.Abs(math.Atan(m/span))*radian, 1))
	}
	return s
}

// cardsText is a thickness of shims (m) in cards where it is a number of them.
func (u Units) cardsText(m float64) string {
	m = math.Abs(m)
	switch n := math.Round(m / trim.Card); {
	case n >= 1 && math.Abs(m-n*trim.Card) < 0.1*trim.Card:
		return Plural(int(n), "card") + " (" + u.Thin(m) + ")"
	case math.Abs(m-trim.Card/2) < 0.1*trim.Card:
		return "half a card's thickness (" + u.Thin(m) + ")"
	}
	return u.Thin(m) + " of shim"
}

// EdgeFor is where a shim goes that raises (m > 0) or lowers the leading edge.
func EdgeFor(r *analysis.Result, m float64) string { return advice.ShimPlace(MountOf(r), m > 0) }

// MountOf is the side of the fuselage that the stabilizer sits on, "" when the
// setup does not say.
func MountOf(r *analysis.Result) string {
	if r.Setup == nil {
		return ""
	}
	return r.Setup.Foil.Stabilizer.Mount
}

// placeFor says where the shim goes: the gap and the edge. Under a stabilizer
// that hangs below, nothing would be held.
func placeFor(r *analysis.Result, m float64) string { return placeAt(MountOf(r), EdgeFor(r, m)) }

// placeAt is the place at an edge of the stabilizer.
func placeAt(mount, edge string) string {
	return "between fuselage and stabilizer, " + Choose(mount == "bottom", "at", "under") + " its " + edge
}

func moveStep(r *analysis.Result, u Units) *Step {
	mm := float64(r.Advice.MoveNow)
	if !Finite(mm) || math.Abs(mm) < 0.5 {
		return nil
	}
	s := &Step{Kind: "move", Name: "Move", Do: "Slide the foil " + u.way(mm/1000) + "."}
	if r.Setup != nil {
		left := r.Setup.Board.Track[1]
		if mm < 0 {
			left = -r.Setup.Board.Track[0]
		}
		way := u.LengthText(left) + " " + ForeAft(mm)
		s.How = "The mast can slide " + way + " on this track."
		if !r.Setup.Given("board.track_cm") {
			s.How = "Assumed: a track on which the mast can slide " + way + ". Measure it."
		}
		if math.Abs(mm)/1000 > left+1e-4 && !Finite(float64(r.Advice.FeetNow)) {
			s.How += " That is not enough: move the straps or your feet the other way for the rest."
		}
	}
	return s
}

func feetStep(r *analysis.Result, u Units) *Step {
	mm := float64(r.Advice.FeetNow)
	if !Finite(mm) || math.Abs(mm) < 0.5 {
		return nil
	}
	return &Step{Kind: "feet", Name: "Stand", Do: "Stand " + u.further(mm/1000) + ".", How: "Both feet, the same way. This is the part that the track cannot give."}
}

// track is how far the mast can slide.
func (u Units) track(s *setup.Setup) string {
	return u.LengthText(-s.Board.Track[0]) + " back and " + u.LengthText(s.Board.Track[1]) + " forward"
}

func room(s *setup.Setup, u Units) string {
	left := u.track(s)
	if !s.Given("board.track_cm") {
		return "It is assumed that the track has " + left + " left: measure it."
	}
	return "The track has " + left + " left."
}

// ForeAft is the way of a move, + forward.
func ForeAft(v float64) string { return Choose(v < 0, "back", "forward") }

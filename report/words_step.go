package report

import (
	"fmt"
	"math"

	"evenfoot/analysis"
)

// shimStep says what to do at the stabilizer, nil for nothing.
func shimStep(r *analysis.Result, u Units) *step {
	a := r.Advice
	m := float64(a.Shim) / 1000
	if !finite(m) || math.Abs(m) < 0.00005 {
		return nil
	}
	fitted, span := 0.0, 0.0
	if r.Setup != nil {
		fitted, span = r.Setup.Foil.Stabilizer.Shim, r.Setup.Foil.Stabilizer.ShimSpan
	}
	after := fitted + m
	s := &step{Kind: "shim", Name: "Shim"}
	size := fmt.Sprintf("%s of shim", u.thin(math.Abs(m)))
	if n := math.Round(math.Abs(m) / cardM); n >= 1 && math.Abs(math.Abs(m)-n*cardM) < 0.1*cardM {
		size = plural(int(n), "card", "cards") + " (" + u.thin(math.Abs(m)) + ")"
	}
	switch {
	case fitted*m < 0 && math.Abs(after) < 0.00015:
		s.Do = fmt.Sprintf("Take the shim (%s) out from between fuselage and stabilizer.", u.thin(math.Abs(fitted)))
	case fitted*m < 0 && fitted*after > 0:
		s.Do = fmt.Sprintf("Take %s out. Leave %s %s.", size, u.thin(math.Abs(after)), placeFor(r, after))
	case fitted*m < 0:
		s.Do = fmt.Sprintf("Take the old shim out. Put %s %s.", u.thin(math.Abs(after)), placeFor(r, m))
	case fitted != 0:
		s.Do = fmt.Sprintf("Add %s %s.", size, placeFor(r, m))
	default:
		s.Do = fmt.Sprintf("Put %s %s.", size, placeFor(r, m))
	}
	s.How = "The leading edge is the edge that meets the water first. A shim is a thin, hard spacer."
	if edgeFor(r, m) == "trailing edge" {
		s.How = "The trailing edge is the rear edge. A shim is a thin, hard spacer."
	}
	if span > 0 {
		s.How += fmt.Sprintf(" It turns the leading edge %s by %s degrees.", choose(m < 0, "down", "up"), fixed(math.Abs(math.Atan(m/span))*180/math.Pi, 1))
	}
	return s
}

// edgeFor is where a shim goes that raises (m > 0) or lowers the leading edge:
// as the advice says, or from the mount (trim model §6).
func edgeFor(r *analysis.Result, m float64) string {
	mount := mountOf(r)
	if mount == "" {
		if r.Advice != nil && r.Advice.ShimPlace != nil && float64(r.Advice.Shim)*m > 0 {
			return *r.Advice.ShimPlace
		}
		mount = "top"
	}
	return choose((m > 0) == (mount == "top"), "leading edge", "trailing edge")
}

// mountOf is the side of the fuselage that the stabilizer sits on, "" when the
// setup does not say.
func mountOf(r *analysis.Result) string {
	if r.Setup == nil {
		return ""
	}
	return r.Setup.Foil.Stabilizer.Mount
}

// placeFor says where the shim goes: the gap and the edge. Under a stabilizer
// that hangs below, nothing would be held.
func placeFor(r *analysis.Result, m float64) string {
	return "between fuselage and stabilizer, " + choose(mountOf(r) == "bottom", "at", "under") + " its " + edgeFor(r, m)
}

func moveStep(r *analysis.Result, u Units) *step {
	mm := float64(r.Advice.MoveNow)
	if !finite(mm) || math.Abs(mm) < 0.5 {
		return nil
	}
	s := &step{Kind: "move", Name: "Move", Do: fmt.Sprintf("Slide the foil %s %s.", u.lengthText(math.Abs(mm)/1000), foreAft(mm))}
	if r.Setup != nil {
		t := r.Setup.Board.Track
		left := t[1]
		if mm < 0 {
			left = -t[0]
		}
		s.How = fmt.Sprintf("The mast can slide %s %s on this track.", u.lengthText(left), foreAft(mm))
		if math.Abs(mm)/1000 > left+1e-4 && !finite(float64(r.Advice.FeetNow)) {
			s.How += " That is not enough: move the straps or your feet the other way for the rest."
		}
	}
	return s
}

func room(track [2]float64, u Units) string {
	return fmt.Sprintf("The track has %s back and %s forward left.", u.lengthText(-track[0]), u.lengthText(track[1]))
}

func foreAft(v float64) string { return choose(v < 0, "back", "forward") }

package words

import (
	"fmt"
	"math"

	"evenfoot/analysis"
)

// shimStep says what to do at the stabilizer, nil for nothing.
func ShimStep(r *analysis.Result, u Units) *Step {
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
	size := fmt.Sprintf("%s of shim", u.Thin(math.Abs(m)))
	if n := math.Round(math.Abs(m) / cardM); n >= 1 && math.Abs(math.Abs(m)-n*cardM) < 0.1*cardM {
		size = Plural(int(n), "card", "cards") + " (" + u.Thin(math.Abs(m)) + ")"
	}
	switch {
	case fitted*m < 0 && math.Abs(after) < 0.00015:
		s.Do = fmt.Sprintf("Take the shim (%s) out from between fuselage and stabilizer.", u.Thin(math.Abs(fitted)))
	case fitted*m < 0 && fitted*after > 0:
		s.Do = fmt.Sprintf("Take %s out. Leave %s %s.", size, u.Thin(math.Abs(after)), placeFor(r, after))
	case fitted*m < 0:
		s.Do = fmt.Sprintf("Take the old shim out. Put %s %s.", u.Thin(math.Abs(after)), placeFor(r, m))
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
		s.How += fmt.Sprintf(" It turns the leading edge %s by %s degrees.", Choose(m < 0, "down", "up"), Fixed(math.Abs(math.Atan(m/span))*180/math.Pi, 1))
	}
	return s
}

// edgeFor is where a shim goes that raises (m > 0) or lowers the leading edge:
// as the advice says, or from the mount (trim model §6).
func EdgeFor(r *analysis.Result, m float64) string {
	mount := MountOf(r)
	if mount == "" {
		if r.Advice != nil && r.Advice.ShimPlace != nil && float64(r.Advice.Shim)*m > 0 {
			return *r.Advice.ShimPlace
		}
		mount = "top"
	}
	return Choose((m > 0) == (mount == "top"), "leading edge", "trailing edge")
}

// mountOf is the side of the fuselage that the stabilizer sits on, "" when the
// setup does not say.
func MountOf(r *analysis.Result) string {
	if r.Setup == nil {
		return ""
	}
	return r.Setup.Foil.Stabilizer.Mount
}

// placeFor says where the shim goes: the gap and the edge. Under a stabilizer
// that hangs below, nothing would be held.
func placeFor(r *analysis.Result, m float64) string {
	return "between fuselage and stabilizer, " + Choose(MountOf(r) == "bottom", "at", "under") + " its " + EdgeFor(r, m)
}

func moveStep(r *analysis.Result, u Units) *Step {
	mm := float64(r.Advice.MoveNow)
	if !Finite(mm) || math.Abs(mm) < 0.5 {
		return nil
	}
	s := &Step{Kind: "move", Name: "Move", Do: fmt.Sprintf("Slide the foil %s %s.", u.LengthText(math.Abs(mm)/1000), ForeAft(mm))}
	if r.Setup != nil {
		t := r.Setup.Board.Track
		left := t[1]
		if mm < 0 {
			left = -t[0]
		}
		s.How = fmt.Sprintf("The mast can slide %s %s on this track.", u.LengthText(left), ForeAft(mm))
		if math.Abs(mm)/1000 > left+1e-4 && !Finite(float64(r.Advice.FeetNow)) {
			s.How += " That is not enough: move the straps or your feet the other way for the rest."
		}
	}
	return s
}

func Room(track [2]float64, u Units) string {
	return fmt.Sprintf("The track has %s back and %s forward left.", u.LengthText(-track[0]), u.LengthText(track[1]))
}

func ForeAft(v float64) string { return Choose(v < 0, "back", "forward") }

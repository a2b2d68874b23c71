package report

import (
	"fmt"
	"math"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
)

// setupLines is the setup as it was understood.
func setupLines(s *setup.Setup, u Units) []given {
	if s == nil {
		return nil
	}
	var out []given
	add := func(key, name, value string) {
		out = append(out, given{name, value, !s.Given(key)})
	}
	deg := func(rad float64) string { return fixed(rad*radian, 1) + "°" }
	mm := func(m float64) string { return fixed(m*1000, 1) + nbsp + "mm" }
	add("rider.mass_kg", "Rider, dressed, rig in hand", u.massText(s.Rider.Mass))
	if s.Rider.Height > 0 {
		add("rider.height_cm", "Height", u.lengthText(s.Rider.Height))
	}
	if s.Rider.Level != "" {
		add("rider.level", "Level", clean(s.Rider.Level))
	}
	add("stance.front_cm", "Front foot from the mast (+ forward)", u.lengthText(s.Stance.Front))
	add("stance.back_cm", "Back foot from the mast", u.lengthText(s.Stance.Back))
	add("stance.fixed", "Feet", choose(s.Stance.Fixed, "in straps or hooks", "free"))
	add("board.mass_kg", "Board and foil", u.massText(s.Board.Mass))
	add("board.cg_cm", "Their centre of gravity from the mast", u.lengthText(s.Board.CG))
	add("board.deck_height_cm", "Deck above the mast's top", u.lengthText(s.Board.DeckHeight))
	add("board.track_cm", "Mast can still slide", u.lengthText(-s.Board.Track[0])+" back, "+u.lengthText(s.Board.Track[1])+" forward")
	add("rig.kind", "Rig", clean(s.Rig.Kind))
	add("rig.lift_fraction", "Share of the rider's weight that the rig carries", percent(s.Rig.LiftFraction))
	add("foil.mast_cm", "Mast", u.lengthText(s.Foil.Mast))
	add("foil.depth_cm", "Mast under water while riding", u.lengthText(s.Foil.Depth))
	w, t := s.Foil.Wing, s.Foil.Stabilizer
	add("foil.wing.area_cm2", "Wing area", area(w.Area, u))
	add("foil.wing.span_cm", "Wing span", u.lengthText(w.Span))
	add("foil.wing.ahead_cm", "Wing ahead of the mast", u.lengthText(w.Ahead))
	add("foil.wing.camber_percent", "Wing camber (curve of the profile)", fixed(w.CamberPercent, 1)+nbsp+"%")
	add("foil.wing.thickness_percent", "Wing thickness", percent(w.ThicknessRatio)+" of the chord")
	add("foil.wing.incidence_deg", "Wing angle to the deck (incidence)", deg(w.Incidence))
	add("foil.stabilizer.area_cm2", "Stabilizer area", area(t.Area, u))
	add("foil.stabilizer.span_cm", "Stabilizer span", u.lengthText(t.Span))
	add("foil.stabilizer.behind_wing_cm", "Stabilizer behind the wing", u.lengthText(t.BehindWing))
	add("foil.stabilizer.incidence_deg", "Stabilizer angle to the wing, without shims (+ leading edge up)", deg(t.Incidence))
	add("foil.stabilizer.zero_lift_deg", "Stabilizer's own zero-lift angle", deg(t.ZeroLift))
	add("foil.stabilizer.mount", "Stabilizer sits", choose(t.Mount == "bottom", "below the fuselage", "on top of the fuselage"))
	add("foil.stabilizer.shim_span_mm", "From the shim to the opposite contact", mm(t.ShimSpan))
	add("foil.stabilizer.shim_mm", "Shim fitted in this session", u.thin(t.Shim))
	if f := s.Foil.Finish; f.Grit > 0 {
		add("foil.finish.grit", "Last paper used", fmt.Sprintf("P %d", f.Grit))
	} else if f.Surface != "" {
		add("foil.finish.surface", "Surface", clean(f.Surface))
	}
	if e := s.Foil.Finish.TrailingEdge; e > 0 {
		add("foil.finish.trailing_edge_mm", "Trailing edge", mm(e))
	}
	add("water.kind", "Water", clean(s.Water.Kind))
	add("water.temperature_c", "Water temperature", fixed(s.Water.Temperature, 0)+nbsp+"°C")
	for _, f := range s.Feel {
		out = append(out, given{"Felt at " + u.speedText(f.Speed), clean(f.Said) + " (" + percent(f.Share) + " on the front foot, give or take " + percent(f.SD) + ")", false})
	}
	return out
}

func choose[T any](b bool, yes, no T) T {
	if b {
		return yes
	}
	return no
}

// rate is a number of samples per second without needless decimals.
func rate(hz float64) string {
	if math.Abs(hz-math.Round(hz)) < 0.05 {
		return fixed(hz, 0)
	}
	return fixed(hz, 1)
}

// fileLines say what was read.
func fileLines(r *analysis.Result) []fileFacts {
	var out []fileFacts
	if r.Log == nil {
		for _, f := range r.Session.Files {
			out = append(out, fileFacts{Name: fileName(f)})
		}
		return out
	}
	for _, f := range r.Log.Files {
		x := fileFacts{Name: fileName(f.Name), Kind: clean(f.Kind)}
		if d := clean(f.Device); d != "" {
			x.Facts = append(x.Facts, "Device: "+d)
		}
		for _, c := range f.Channels {
			s := fmt.Sprintf("%s: %d samples", clean(c.Name), c.Samples)
			if finite(c.RateHz) && c.RateHz > 0 {
				s += fmt.Sprintf(", %s per second", rate(c.RateHz))
			}
			if c.Unit != "" {
				s += ", written in " + clean(c.Unit)
			}
			if c.Gaps > 0 {
				s += fmt.Sprintf(", %s (longest %s s)", plural(c.Gaps, "gap", "gaps"), fixed(c.LongestGapS, 1))
			}
			x.Facts = append(x.Facts, upperFirst(s))
		}
		for _, d := range f.Dropped {
			x.Facts = append(x.Facts, fmt.Sprintf("Left out: %d, because %s", d.Count, cleanTo(d.Reason, 160)))
		}
		out = append(out, x)
	}
	return out
}

// sensorLines are clocks, mount and zero.
func sensorLines(r *analysis.Result) []fact {
	var f []fact
	s := r.Session
	if t := s.Start; t != nil && !t.IsZero() {
		f = append(f, fact{"Start", t.UTC().Format("2 January 2006, 15:04:05") + " UTC"})
	}
	if d := minutes(float64(s.Duration)); d != unknown && s.Duration > 0 {
		f = append(f, fact{"Length of the log", d})
	}
	if v := float64(s.GPSHz); finite(v) && v > 0 {
		f = append(f, fact{"GPS", rate(v) + " fixes per second"})
	} else if r.Log != nil {
		f = append(f, fact{"GPS", "none in this log"})
	}
	if r.Log != nil && r.Log.GPS.SpeedFrom != "" {
		f = append(f, fact{"Speed comes from", "the " + clean(r.Log.GPS.SpeedFrom)})
	}
	if v := float64(s.IMUHz); finite(v) && v > 0 {
		f = append(f, fact{"Motion sensor (IMU)", fixed(v, 0) + " samples per second"})
	} else if r.Log != nil {
		f = append(f, fact{"Motion sensor (IMU)", "none in this log"})
	}
	if r.Log != nil && r.Log.Clock.How != "" {
		c := r.Log.Clock
		v := clean(c.How)
		if s.ClockOffset.Known() && !(s.ClockOffset.Value == 0 && s.ClockOffset.High == 0) {
			v += "; the sensor's clock was ahead by " + between(s.ClockOffset, 1, 2) + " s"
			if c.DriftPPM != 0 && finite(c.DriftPPM) {
				v += fmt.Sprintf(", drifting %s parts per million", fixed(c.DriftPPM, 0))
			}
			v += "; this is already taken out"
		}
		f = append(f, fact{"The two clocks", v})
	}
	m := r.Mount
	if m == nil {
		return f
	}
	if m.Why != "" {
		f = append(f, fact{"Mount", sentence(m.Why)})
	}
	if m.Heading.Known() {
		f = append(f, fact{"The sensor's x axis points from the bow by", between(m.Heading, 1, 1) + " degrees"})
	}
	if v := float64(m.Tilt); finite(v) {
		f = append(f, fact{"The sensor is tilted by", fixed(v, 1) + " degrees"})
	}
	if m.AccelerometerSign < 0 {
		f = append(f, fact{"Accelerometer", "reports the opposite sign; this is already put right"})
	}
	f = append(f, fact{"Level", choose(m.LevelZero, "known: ", "not known, so pitch is relative: ") + cleanTo(m.LevelFrom, 200)},
		fact{"Fixed to the board", choose(m.Rigid, "yes", "no, so its pitch is not used")})
	return f
}

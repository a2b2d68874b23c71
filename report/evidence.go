package report

import (
	"fmt"
	"math"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// setupLines is the setup as it was understood.
func setupLines(s *setup.Setup, u words.Units) []given {
	if s == nil {
		return nil
	}
	var out []given
	add := func(key, name, value string) {
		out = append(out, given{name, value, !s.Given(key)})
	}
	deg := func(rad float64) string { return words.Fixed(rad*radian, 1) + "°" }
	mm := func(m float64) string { return words.Fixed(m*1000, 1) + words.NBSP + "mm" }
	add("rider.mass_kg", "Rider, dressed, rig in hand", u.MassText(s.Rider.Mass))
	if s.Rider.Height > 0 {
		add("rider.height_cm", "Height", u.LengthText(s.Rider.Height))
	}
	if s.Rider.Level != "" {
		add("rider.level", "Level", words.Clean(s.Rider.Level))
	}
	add("stance.front_cm", "Front foot from the mast (+ forward)", u.LengthText(s.Stance.Front))
	add("stance.back_cm", "Back foot from the mast", u.LengthText(s.Stance.Back))
	add("stance.fixed", "Feet", words.Choose(s.Stance.Fixed, "in straps or hooks", "free"))
	add("board.mass_kg", "Board and foil", u.MassText(s.Board.Mass))
	add("board.cg_cm", "Their centre of gravity from the mast", u.LengthText(s.Board.CG))
	add("board.deck_height_cm", "Deck above the mast's top", u.LengthText(s.Board.DeckHeight))
	add("board.track_cm", "Mast can still slide", u.LengthText(-s.Board.Track[0])+" back, "+u.LengthText(s.Board.Track[1])+" forward")
	add("rig.kind", "Rig", words.Clean(s.Rig.Kind))
	add("rig.lift_fraction", "Share of the rider's weight that the rig carries", words.Percent(s.Rig.LiftFraction))
	add("foil.mast_cm", "Mast", u.LengthText(s.Foil.Mast))
	add("foil.depth_cm", "Mast under water while riding", u.LengthText(s.Foil.Depth))
	w, t := s.Foil.Wing, s.Foil.Stabilizer
	add("foil.wing.area_cm2", "Wing area", words.Area(w.Area, u))
	add("foil.wing.span_cm", "Wing span", u.LengthText(w.Span))
	add("foil.wing.ahead_cm", "Wing ahead of the mast", u.LengthText(w.Ahead))
	add("foil.wing.camber_percent", "Wing camber (curve of the profile)", words.Fixed(w.CamberPercent, 1)+words.NBSP+"%")
	add("foil.wing.thickness_percent", "Wing thickness", words.Percent(w.ThicknessRatio)+" of the chord")
	add("foil.wing.incidence_deg", "Wing angle to the deck (incidence)", deg(w.Incidence))
	add("foil.stabilizer.area_cm2", "Stabilizer area", words.Area(t.Area, u))
	add("foil.stabilizer.span_cm", "Stabilizer span", u.LengthText(t.Span))
	add("foil.stabilizer.behind_wing_cm", "Stabilizer behind the wing", u.LengthText(t.BehindWing))
	add("foil.stabilizer.incidence_deg", "Stabilizer angle to the wing, without shims (+ leading edge up)", deg(t.Incidence))
	add("foil.stabilizer.zero_lift_deg", "Stabilizer's own zero-lift angle", deg(t.ZeroLift))
	add("foil.stabilizer.mount", "Stabilizer sits", words.Choose(t.Mount == "bottom", "below the fuselage", "on top of the fuselage"))
	add("foil.stabilizer.shim_span_mm", "From the shim to the opposite contact", mm(t.ShimSpan))
	add("foil.stabilizer.shim_mm", "Shim fitted in this session", u.Thin(t.Shim))
	if f := s.Foil.Finish; f.Grit > 0 {
		add("foil.finish.grit", "Last paper used", fmt.Sprintf("P %d", f.Grit))
	} else if f.Surface != "" {
		add("foil.finish.surface", "Surface", words.Clean(f.Surface))
	}
	if e := s.Foil.Finish.TrailingEdge; e > 0 {
		add("foil.finish.trailing_edge_mm", "Trailing edge", mm(e))
	}
	add("water.kind", "Water", words.Clean(s.Water.Kind))
	add("water.temperature_c", "Water temperature", words.Fixed(s.Water.Temperature, 0)+words.NBSP+"°C")
	for _, f := range s.Feel {
		out = append(out, given{"Felt at " + u.SpeedText(f.Speed), words.Clean(f.Said) + " (" + words.Percent(f.Share) + " on the front foot, give or take " + words.Percent(f.SD) + ")", false})
	}
	return out
}

// rate is a number of samples per second without needless decimals.
func rate(hz float64) string {
	if math.Abs(hz-math.Round(hz)) < 0.05 {
		return words.Fixed(hz, 0)
	}
	return words.Fixed(hz, 1)
}

// fileLines say what was read.
func fileLines(r *analysis.Result) []fileFacts {
	var out []fileFacts
	if r.Log == nil {
		for _, f := range r.Session.Files {
			out = append(out, fileFacts{Name: words.FileName(f)})
		}
		return out
	}
	for _, f := range r.Log.Files {
		x := fileFacts{Name: words.FileName(f.Name), Kind: words.Clean(f.Kind)}
		if d := words.Clean(f.Device); d != "" {
			x.Facts = append(x.Facts, "Device: "+d)
		}
		for _, c := range f.Channels {
			s := fmt.Sprintf("%s: %d samples", words.Clean(c.Name), c.Samples)
			if words.Finite(c.RateHz) && c.RateHz > 0 {
				s += fmt.Sprintf(", %s per second", rate(c.RateHz))
			}
			if c.Unit != "" {
				s += ", written in " + words.Clean(c.Unit)
			}
			if c.Gaps > 0 {
				s += fmt.Sprintf(", %s (longest %s s)", words.Plural(c.Gaps, "gap", "gaps"), words.Fixed(c.LongestGapS, 1))
			}
			x.Facts = append(x.Facts, words.UpperFirst(s))
		}
		for _, d := range f.Dropped {
			x.Facts = append(x.Facts, fmt.Sprintf("Left out: %d, because %s", d.Count, words.CleanTo(d.Reason, 160)))
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
	if d := words.Minutes(float64(s.Duration)); d != words.Unknown && s.Duration > 0 {
		f = append(f, fact{"Length of the log", d})
	}
	if v := float64(s.GPSHz); words.Finite(v) && v > 0 {
		f = append(f, fact{"GPS", rate(v) + " fixes per second"})
	} else if r.Log != nil {
		f = append(f, fact{"GPS", "none in this log"})
	}
	if r.Log != nil && r.Log.GPS.SpeedFrom != "" {
		f = append(f, fact{"Speed comes from", "the " + words.Clean(r.Log.GPS.SpeedFrom)})
	}
	if v := float64(s.IMUHz); words.Finite(v) && v > 0 {
		f = append(f, fact{"Motion sensor (IMU)", words.Fixed(v, 0) + " samples per second"})
	} else if r.Log != nil {
		f = append(f, fact{"Motion sensor (IMU)", "none in this log"})
	}
	if r.Log != nil && r.Log.Clock.How != "" {
		c := r.Log.Clock
		v := words.Clean(c.How)
		if s.ClockOffset.Known() && !(s.ClockOffset.Value == 0 && s.ClockOffset.High == 0) {
			v += "; the sensor's clock was ahead by " + words.Between(s.ClockOffset, 1, 2) + " s"
			if c.DriftPPM != 0 && words.Finite(c.DriftPPM) {
				v += fmt.Sprintf(", drifting %s parts per million", words.Fixed(c.DriftPPM, 0))
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
		f = append(f, fact{"Mount", words.Sentence(m.Why)})
	}
	if m.Heading.Known() {
		f = append(f, fact{"The sensor's x axis points from the bow by", words.Between(m.Heading, 1, 1) + " degrees"})
	}
	if v := float64(m.Tilt); words.Finite(v) {
		f = append(f, fact{"The sensor is tilted by", words.Fixed(v, 1) + " degrees"})
	}
	if m.AccelerometerSign < 0 {
		f = append(f, fact{"Accelerometer", "reports the opposite sign; this is already put right"})
	}
	f = append(f, fact{"Level", words.Choose(m.LevelZero, "known: ", "not known, so pitch is relative: ") + words.CleanTo(m.LevelFrom, 200)},
		fact{"Fixed to the board", words.Choose(m.Rigid, "yes", "no, so its pitch is not used")})
	return f
}

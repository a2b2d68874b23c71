package setup

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// A checker converts the file to SI and keeps the first thing that is wrong.
type checker struct {
	name     string
	lines    map[string]int
	s        *Setup
	err      error
	warnings []string
}

func (c *checker) fail(key, format string, args ...any) {
	if c.err == nil {
		c.err = &Error{File: c.name, Line: c.lines[key], Key: key, What: fmt.Sprintf(format, args...)}
	}
}

func (c *checker) odd(key, format string, args ...any) {
	w := fmt.Sprintf(format, args...)
	if line := c.lines[key]; line > 0 && c.name != "" {
		w = fmt.Sprintf("%s:%d: %s", c.name, line, w)
	}
	c.warnings = append(c.warnings, w)
}

// complete refuses a setup that lacks what advice needs, and names all of it.
func (c *checker) complete() {
	missing := slices.DeleteFunc(slices.Clone(required), c.s.Given)
	switch len(missing) {
	case 0:
	case 1:
		c.fail(missing[0], "%s is missing. It is needed for advice; `evenfoot setup` prints a setup to fill in", missing[0])
	default:
		c.fail(missing[0], "these keys are missing: %s. They are needed for advice; `evenfoot setup` prints a setup to fill in", strings.Join(missing, ", "))
	}
}

// within refuses a value outside what physics or a board allows.
func (c *checker) within(key string, v, low, high float64) {
	if !(v >= low && v <= high) {
		c.fail(key, "%s = %g is impossible here: it must lie between %g and %g", key, v, low, high)
	}
}

// usual warns of a value that is possible but rare.
func (c *checker) usual(key string, v, low, high float64) {
	if v < low || v > high {
		c.odd(key, "%s = %g is unusual (most lie between %g and %g); check the number and its unit", key, v, low, high)
	}
}

func (c *checker) oneOf(key, v string, allowed ...string) {
	if !slices.Contains(allowed, v) {
		c.fail(key, "%s = %q is not known: use %s", key, v, strings.Join(allowed, ", "))
	}
}

// A limit is what a key may hold (hard) and what it mostly holds (soft).
type limit struct {
	key                string
	value              float64
	hardLow, hardHigh  float64
	usualLow, usualTop float64
}

func limits(f *file) []limit {
	w, s := f.Foil.Wing, f.Foil.Stabilizer
	return []limit{
		{"rider.mass_kg", f.Rider.MassKg, 15, 400, 35, 150},
		{"rider.height_cm", f.Rider.HeightCm, 80, 250, 130, 210},
		{"stance.front_cm", f.Stance.FrontCm, -150, 200, -20, 90},
		{"stance.back_cm", f.Stance.BackCm, -200, 150, -80, 30},
		{"board.mass_kg", f.Board.MassKg, 0.5, 100, 3, 25},
		{"board.cg_cm", f.Board.CGCm, -150, 150, -40, 60},
		{"board.deck_height_cm", f.Board.DeckHeightCm, 0, 60, 2, 25},
		{"rig.lift_fraction", f.Rig.LiftFraction, -0.2, 0.9, 0, 0.5},
		{"foil.mast_cm", f.Foil.MastCm, 15, 250, 40, 125},
		{"foil.depth_cm", f.Foil.DepthCm, 1, 250, 10, 100},
		{"foil.mast_chord_mm", f.Foil.MastChordMm, 20, 500, 80, 200},
		{"foil.mast_thickness_mm", f.Foil.MastThicknessMm, 2, 80, 8, 25},
		{"foil.wing.area_cm2", w.AreaCm2, 50, 10000, 250, 3000},
		{"foil.wing.span_cm", w.SpanCm, 10, 400, 40, 180},
		{"foil.wing.ahead_cm", w.AheadCm, -100, 150, -10, 40},
		{"foil.wing.camber_percent", w.CamberPercent, -5, 12, 0, 6},
		{"foil.wing.thickness_percent", w.ThicknessPercent, 2, 35, 6, 18},
		{"foil.wing.incidence_deg", w.IncidenceDeg, -20, 20, -3, 5},
		{"foil.stabilizer.area_cm2", s.AreaCm2, 10, 5000, 60, 700},
		{"foil.stabilizer.span_cm", s.SpanCm, 5, 200, 20, 70},
		{"foil.stabilizer.behind_wing_cm", s.BehindWingCm, 5, 300, 35, 120},
		{"foil.stabilizer.thickness_percent", s.ThicknessPercent, 2, 35, 5, 15},
		{"foil.stabilizer.incidence_deg", s.IncidenceDeg, -20, 20, -5, 3},
		{"foil.stabilizer.zero_lift_deg", s.ZeroLiftDeg, -10, 10, -4, 4},
		{"foil.stabilizer.shim_span_mm", s.ShimSpanMm, 5, 400, 15, 120},
		{"foil.stabilizer.shim_mm", s.ShimMm, -10, 10, -2.5, 2.5},
		{"foil.finish.trailing_edge_mm", f.Foil.Finish.TrailingEdgeMm, 0, 20, 0, 3},
		{"water.temperature_c", f.Water.TemperatureC, -2, 45, 2, 32},
		{"water.current_kn", f.Water.CurrentKn, 0, 15, 0, 4},
		{"water.current_to_deg", f.Water.CurrentToDeg, -360, 360, -360, 360},
		{"sensor.pitch_zero_deg", f.Sensor.PitchZeroDeg, -180, 180, -180, 180},
	}
}

// fill checks the file and converts it to SI.
func (c *checker) fill(f *file) {
	if !c.s.Given("foil.depth_cm") {
		f.Foil.DepthCm = f.Foil.MastCm / 2
	}
	c.oneOf("rider.level", f.Rider.Level, "beginner", "intermediate", "advanced")
	c.oneOf("rig.kind", f.Rig.Kind, "wing", "kite", "sail", "tow", "none")
	c.oneOf("foil.stabilizer.mount", f.Foil.Stabilizer.Mount, "top", "bottom")
	c.oneOf("water.kind", f.Water.Kind, "sea", "fresh")
	if !c.s.Given("rig.lift_fraction") {
		f.Rig.LiftFraction = LiftFractions[f.Rig.Kind]
	}
	if c.s.Given("foil.stabilizer.behind_wing_cm") && f.Foil.Stabilizer.BehindWingCm <= 0 {
		c.fail("foil.stabilizer.behind_wing_cm",
			"foil.stabilizer.behind_wing_cm = %g puts the stabilizer ahead of the wing; give the distance from the wing's quarter chord back to the stabilizer's, as a positive number",
			f.Foil.Stabilizer.BehindWingCm)
	}
	for _, l := range limits(f) {
		c.within(l.key, l.value, l.hardLow, l.hardHigh)
	}
	c.geometry(f)
	c.finish(f)
	if c.err != nil {
		return
	}
	for _, l := range limits(f) {
		c.usual(l.key, l.value, l.usualLow, l.usualTop)
	}
	c.convert(f)
	c.feel(f)
}

// geometry checks what no single number shows.
func (c *checker) geometry(f *file) {
	w, s := f.Foil.Wing, f.Foil.Stabilizer
	if f.Stance.FrontCm-f.Stance.BackCm < 5 {
		c.fail("stance.front_cm", "the front foot (front_cm = %g) must stand at least 5 cm ahead of the back foot (back_cm = %g); positions count from the mast's centreline, + towards the nose",
			f.Stance.FrontCm, f.Stance.BackCm)
	}
	if d := f.Stance.FrontCm - f.Stance.BackCm; d > 120 || d < 25 {
		c.odd("stance.front_cm", "feet %g cm apart are unusual; check stance.front_cm and stance.back_cm", d)
	}
	if f.Foil.DepthCm > f.Foil.MastCm {
		c.fail("foil.depth_cm", "foil.depth_cm = %g is more than the mast (foil.mast_cm = %g): the board would be under water", f.Foil.DepthCm, f.Foil.MastCm)
	}
	if f.Foil.MastThicknessMm >= f.Foil.MastChordMm {
		c.fail("foil.mast_thickness_mm", "the mast cannot be thicker (%g mm) than its chord (%g mm)", f.Foil.MastThicknessMm, f.Foil.MastChordMm)
	}
	aspect := func(table string, span, area float64) {
		ar := span * span / area
		if ar < 0.7 || ar > 60 {
			c.fail(table+".span_cm", "%s: span %g cm with area %g cm² gives an aspect ratio of %.1f, which no wing has; check both numbers", table, span, area, ar)
		} else if ar < 2.5 || ar > 18 {
			c.odd(table+".span_cm", "%s: span %g cm with area %g cm² gives an aspect ratio of %.1f, which is unusual; check both numbers", table, span, area, ar)
		}
	}
	if c.err == nil {
		aspect("foil.wing", w.SpanCm, w.AreaCm2)
		aspect("foil.stabilizer", s.SpanCm, s.AreaCm2)
	}
	if s.AreaCm2 >= w.AreaCm2 {
		c.fail("foil.stabilizer.area_cm2", "the stabilizer (%g cm²) is not smaller than the wing (%g cm²); are the two exchanged?", s.AreaCm2, w.AreaCm2)
	}
	t := f.Board.TrackCm
	if len(t) != 2 || !(t[0] <= 0 && t[1] >= 0) || t[0] < -60 || t[1] > 60 {
		c.fail("board.track_cm", "board.track_cm = %v must hold two numbers: how far the mast can slide aft (zero or negative) and forward (zero or positive), for example [-4, 5]", t)
	}
	if c.s.Given("water.current_to_deg") && !c.s.Given("water.current_kn") {
		c.fail("water.current_to_deg", "water.current_to_deg is given without water.current_kn; give both, or neither to have the current estimated")
	}
	if c.s.Given("water.current_kn") && !c.s.Given("water.current_to_deg") && f.Water.CurrentKn != 0 {
		c.fail("water.current_kn", "water.current_kn is given without water.current_to_deg (where it flows to, true); give both, or neither to have the current estimated")
	}
}

func (c *checker) finish(f *file) {
	fin := f.Foil.Finish
	if c.s.Given("foil.finish.grit") && (fin.Grit < 12 || fin.Grit > 10000) {
		c.fail("foil.finish.grit", "foil.finish.grit = %d is not a paper: give the FEPA P number, for example 400", fin.Grit)
	}
	if c.s.Given("foil.finish.surface") {
		c.oneOf("foil.finish.surface", fin.Surface, "satin", "gloss", "rough")
	}
	if c.s.Given("foil.finish.grit") && c.s.Given("foil.finish.surface") {
		c.odd("foil.finish.surface", "both foil.finish.grit and foil.finish.surface are given; the grit is used")
	}
}

func (c *checker) convert(f *file) {
	s := c.s
	s.Title = f.Title
	s.Rider = Rider{Name: f.Rider.Name, Mass: f.Rider.MassKg, Height: f.Rider.HeightCm * cm, Level: f.Rider.Level}
	s.Stance = Stance{Front: f.Stance.FrontCm * cm, Back: f.Stance.BackCm * cm, Fixed: f.Stance.Fixed}
	s.Board = Board{Mass: f.Board.MassKg, CG: f.Board.CGCm * cm, DeckHeight: f.Board.DeckHeightCm * cm,
		Track: [2]float64{f.Board.TrackCm[0] * cm, f.Board.TrackCm[1] * cm}}
	s.Rig = Rig{Kind: f.Rig.Kind, LiftFraction: f.Rig.LiftFraction}
	w, st, fin := f.Foil.Wing, f.Foil.Stabilizer, f.Foil.Finish
	s.Foil = Foil{
		Mast: f.Foil.MastCm * cm, Depth: f.Foil.DepthCm * cm,
		MastChord: f.Foil.MastChordMm * mm, MastThickness: f.Foil.MastThicknessMm * mm,
		Wing: Wing{Area: w.AreaCm2 * cm2, Span: w.SpanCm * cm, Ahead: w.AheadCm * cm,
			CamberPercent: w.CamberPercent, ThicknessRatio: w.ThicknessPercent * percent, Incidence: w.IncidenceDeg * degree},
		Stabilizer: Stabilizer{Area: st.AreaCm2 * cm2, Span: st.SpanCm * cm, BehindWing: st.BehindWingCm * cm,
			ThicknessRatio: st.ThicknessPercent * percent, Incidence: st.IncidenceDeg * degree, ZeroLift: st.ZeroLiftDeg * degree,
			Mount: st.Mount, ShimSpan: st.ShimSpanMm * mm, Shim: st.ShimMm * mm},
		Finish: Finish{Grit: fin.Grit, Surface: fin.Surface, TrailingEdge: fin.TrailingEdgeMm * mm},
	}
	s.Water = Water{Kind: f.Water.Kind, Temperature: f.Water.TemperatureC,
		Current: f.Water.CurrentKn * knot, CurrentTo: math.Mod(f.Water.CurrentToDeg+360, 360) * degree}
	s.Sensor = Sensor{PitchZero: f.Sensor.PitchZeroDeg * degree}
}

func (c *checker) feel(f *file) {
	for i, n := range f.Feel {
		table := fmt.Sprintf("feel.%d", i)
		speeds := []float64{n.SpeedKn * knot, n.SpeedKmh * kmh, n.SpeedMph * mph, n.SpeedMps}
		speed, count := 0.0, 0
		for _, v := range speeds {
			if v != 0 {
				speed, count = v, count+1
			}
		}
		switch {
		case count == 0:
			c.fail(table, "note of feel number %d has no speed; give speed_kn", i+1)
		case count > 1:
			c.fail(table, "note of feel number %d has more than one speed; give speed_kn only", i+1)
		case !(speed >= 1 && speed <= 40):
			c.fail(table, "note of feel number %d is at %.1f knots, which is not a foiling speed", i+1, speed/knot)
		}
		share, sd, said, err := ParseFeel(n.Front)
		if n.Front == nil {
			err = fmt.Errorf("it has no front; say even, front, back, strong front, strong back, or the percentage on the front foot")
		}
		if err != nil {
			c.fail(table, "note of feel number %d: %v", i+1, err)
		}
		if c.err != nil {
			return
		}
		c.s.Feel = append(c.s.Feel, Feel{Speed: speed, Share: share, SD: sd, Said: said})
	}
}

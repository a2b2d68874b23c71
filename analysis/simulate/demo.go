package simulate

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/analysis/water"
)

// Card is the thickness of a payment card, m (ISO/IEC 7810 ID-1).
const Card = 0.76e-3

// Demo is the demo's story: an invented rider whose foil gets front-heavy
// with speed, and her next outing with one card under the stabilizer.
func Demo() [2]Scenario {
	before := Default()
	before.Seed = 2026
	before.Duration = 2100
	before.Foil.RiderMass, before.Foil.BoardMass = 72, 10.5
	before.Foil.WingArea, before.Foil.WingSpan = 0.115, 0.92
	before.Foil.StabArea, before.Foil.StabSpan = 0.0205, 0.385
	before.Foil.StabArm, before.Foil.WingX = 0.68, 0.145
	before.Foil.StabIncidence = -1.45 * Deg
	fresh := water.Of("fresh", before.Gear.Temp)
	before.Gear.Water, before.Foil.Density, before.Foil.Viscosity = "fresh", fresh.Density, fresh.Viscosity
	stated := before.Foil
	stated.StabIncidence = -1.2 * Deg // what the box says
	before.Gear.Stated = &stated
	before.SpeedLow, before.SpeedHigh = 6, 11
	before.Flow = [2]float64{-0.22, 0.12}
	before.LevelError = 0.1 * Deg
	before.ClockOffset, before.DriftPPM = 47.3, 18
	before.Mount = Euler(-118*Deg, 6*Deg, 11*Deg)
	before.GPSRate = 5
	before.Gear.Title, before.Gear.Name, before.Gear.Height = "Reservoir, no shim", "Odalys", 1.74

	after := before
	after.Seed = 2027
	after.Start = before.Start.Add(26 * time.Hour)
	raised := stated
	for _, in := range []*trim.Inputs{&after.Foil, &raised} {
		in.StabIncidence += math.Atan(Card / before.Gear.ShimSpan)
	}
	after.Gear.Stated = &raised
	after.WindFrom, after.Flow = 240*Deg, [2]float64{0.1, -0.15}
	after.ClockOffset, after.DriftPPM = 0, 0
	after.Mount = Euler(64*Deg, -4*Deg, 3*Deg)
	after.Gear.Title, after.Gear.Shim = "Reservoir, one card", Card
	return [2]Scenario{before, after}
}

// SetupTOML is the setup that the rider writes down: the stated foil, gear and
// the notes of feel.
func (s *Session) SetupTOML(feel []setup.Feel) string {
	sc := &s.Scenario
	g := sc.Gear
	in := sc.Foil
	if g.Stated != nil {
		in = *g.Stated
	}
	w := tomlWriter{leave: g.Leave}
	w.text("title", g.Title)
	w.table("rider")
	w.text("name", g.Name)
	w.number("mass_kg", in.RiderMass)
	w.number("height_cm", 100*g.Height)
	w.text("level", g.Level)
	w.table("stance")
	w.number("front_cm", 100*in.FrontFoot)
	w.number("back_cm", 100*in.BackFoot)
	w.raw("fixed", "true")
	w.table("board")
	w.number("mass_kg", in.BoardMass)
	w.number("cg_cm", 100*in.BoardCG)
	w.number("deck_height_cm", 100*in.DeckHeight)
	if g.Track != [2]float64{} {
		w.raw("track_cm", fmt.Sprintf("[%s, %s]", short(100*g.Track[0]), short(100*g.Track[1])))
	}
	w.table("rig")
	w.text("kind", g.Rig)
	w.number("lift_fraction", in.RigLiftFraction)
	w.table("foil")
	w.number("mast_cm", 100*in.Mast)
	w.number("depth_cm", 100*in.Depth)
	w.number("mast_chord_mm", 1000*in.MastChord)
	w.number("mast_thickness_mm", 1000*in.MastThickness)
	w.table("foil.wing")
	w.number("area_cm2", 1e4*in.WingArea)
	w.number("span_cm", 100*in.WingSpan)
	w.number("ahead_cm", 100*in.WingX)
	w.number("camber_percent", in.CamberPercent)
	w.number("thickness_percent", 100*in.WingThickness)
	w.number("incidence_deg", in.WingIncidence/Deg)
	w.table("foil.stabilizer")
	w.number("area_cm2", 1e4*in.StabArea)
	w.number("span_cm", 100*in.StabSpan)
	w.number("behind_wing_cm", 100*in.StabArm)
	w.number("thickness_percent", 100*in.StabThickness)
	bare := in.StabIncidence
	if g.ShimSpan > 0 {
		bare -= math.Atan(g.Shim / g.ShimSpan)
	}
	w.number("incidence_deg", bare/Deg)
	w.number("zero_lift_deg", in.StabZeroLift/Deg)
	w.text("mount", g.Mount)
	w.number("shim_span_mm", 1000*g.ShimSpan)
	w.number("shim_mm", 1000*g.Shim)
	w.table("water")
	w.text("kind", g.Water)
	w.number("temperature_c", g.Temp)
	if c := g.StatedCurrent; c != nil {
		w.number("current_kn", math.Hypot(c[0], c[1])/knot)
		w.number("current_to_deg", wrap2(math.Atan2(c[0], c[1]))/Deg)
	}
	for _, f := range feel {
		w.table("[feel]")
		w.number("speed_kn", f.Speed/knot)
		w.text("front", f.Said)
	}
	clock := func(t float64) string { return sc.Start.Add(seconds(t)).UTC().Format("15:04:05") }
	for _, c := range sc.Changes {
		w.table("[change]")
		w.text("at", clock(c.At))
		for _, x := range []struct {
			key string
			v   float64
		}{
			{"foil_cm", 100 * c.Change.Foil}, {"front_cm", 100 * c.Change.Front}, {"back_cm", 100 * c.Change.Back},
			{"shim_mm", 1000 * (g.ShimSpan*math.Tan(math.Atan(g.Shim/g.ShimSpan)+c.Change.Raise) - g.Shim)},
		} {
			if x.v != 0 {
				w.number(x.key, x.v)
			}
		}
	}
	for _, x := range s.Truth.Glides {
		if !sc.Coast.Silent {
			w.table("[glide]")
			w.text("from", clock(x.Start))
			w.text("to", clock(x.End))
		}
	}
	return w.String()
}

const knot = 1852.0 / 3600 // m/s

type tomlWriter struct {
	strings.Builder
	in    string
	leave []string
}

func (w *tomlWriter) table(name string) {
	w.in = strings.Trim(name, "[]") + "."
	fmt.Fprintf(w, "\n[%s]\n", name)
}

func (w *tomlWriter) raw(key, value string) {
	if !slices.Contains(w.leave, w.in+key) {
		fmt.Fprintf(w, "%s = %s\n", key, value)
	}
}

func (w *tomlWriter) text(key, value string) {
	if value != "" {
		w.raw(key, fmt.Sprintf("%q", value))
	}
}

func (w *tomlWriter) number(key string, v float64) { w.raw(key, short(v)) }

// short prints at most three decimals, always as a TOML float or integer.
func short(v float64) string {
	v = math.Round(v*1000) / 1000
	return fmt.Sprintf("%g", v+0) // +0 turns -0 into 0
}

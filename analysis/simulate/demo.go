package simulate

import (
	"fmt"
	"math"
	"time"

	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/analysis/water"
)

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
		in.StabIncidence += trim.ShimAngle(trim.Card, before.Gear.ShimSpan)
	}
	after.Gear.Stated = &raised
	after.WindFrom, after.Flow = 240*Deg, [2]float64{0.1, -0.15}
	after.ClockOffset, after.DriftPPM = 0, 0
	after.Mount = Euler(64*Deg, -4*Deg, 3*Deg)
	after.Gear.Title, after.Gear.Shim = "Reservoir, one card", trim.Card
	return [2]Scenario{before, after}
}

// InPlaces is an outing of that many seconds on the water at a time, and ashore
// the foil is moved to each place in turn, m from where it was at the start. Every
// reach goes from slow to fast or back.
func (sc Scenario) InPlaces(ride float64, places ...float64) Scenario {
	leg := ride + sc.Rest + 2*sc.Carry + 2*sc.Swim
	sc.Duration, sc.Sweep = float64(len(places)+1)*leg+sc.Rest, true
	for k, dx := range places {
		sc.Changes = append(sc.Changes, Changed{At: float64(k+1) * leg, Change: trim.Change{Foil: dx}})
	}
	return sc
}

// SetupTOML is the setup that the rider writes down: the stated foil, gear and
// the notes of feel.
func (s *Session) SetupTOML(feel []setup.Feel) string {
	sc, g := &s.Scenario, s.Scenario.Gear
	in := sc.Foil
	if g.Stated != nil {
		in = *g.Stated
	}
	shim := math.Atan2(g.Shim, g.ShimSpan)
	v := map[string]any{
		"title": g.Title, "rider.name": g.Name, "rider.level": g.Level, "rig.kind": g.Rig, "water.kind": g.Water, "water.temperature_c": g.Temp,
		"rider.height_cm": 100 * g.Height, "stance.fixed": true, "foil.stabilizer.mount": g.Mount, "foil.stabilizer.shim_span_mm": 1000 * g.ShimSpan,
	}
	in.StabIncidence, in.Shim = in.StabIncidence-shim, g.Shim
	for _, x := range trim.Keyed {
		if _, si := setup.KeyNamed(x.Key).Unit(); x.Key != "foil.fuselage.flex_deg_per_100n" { // which nobody measures
			v[x.Key] = *x.At(&in) / si
		}
	}
	if g.Track != [2]float64{} {
		v["board.track_cm"] = []float64{100 * g.Track[0], 100 * g.Track[1]}
	}
	if c := g.StatedCurrent; c != nil {
		v["water.current_kn"], v["water.current_to_deg"] = math.Hypot(c[0], c[1])/knot, wrap2(math.Atan2(c[0], c[1]))/Deg
	}
	entries := map[string]int{"feel": len(feel), "mark": 0, "change": len(sc.Changes), "glide": len(s.Truth.Glides)}
	for i, f := range feel {
		e := fmt.Sprintf("feel.%d.", i)
		v[e+"speed_kn"], v[e+"front"] = f.Speed/knot, f.Said
	}
	clock := func(t float64) string { return sc.Start.Add(seconds(t)).UTC().Format("15:04:05") }
	for i, c := range sc.Changes {
		e := fmt.Sprintf("change.%d.", i)
		v[e+"at"] = clock(c.At)
		for key, x := range map[string]float64{
			"foil_cm": 100 * c.Change.Foil, "front_cm": 100 * c.Change.Front, "back_cm": 100 * c.Change.Back,
			"shim_mm": 1000 * (g.ShimSpan*math.Tan(shim+c.Change.Raise) - g.Shim),
		} {
			if x != 0 {
				v[e+key] = x
			}
		}
	}
	if sc.Coast.Silent {
		entries["glide"] = 0
	}
	for i, x := range s.Truth.Glides {
		e := fmt.Sprintf("glide.%d.", i)
		v[e+"from"], v[e+"to"] = clock(x.Start), clock(x.End)
	}
	for _, key := range g.Leave {
		delete(v, key)
	}
	text, err := setup.Text(func(list string) int { return entries[list] }, func(k *setup.Key, n int) any {
		switch x := v[k.Entry(n)].(type) {
		case string:
			if x == "" {
				return nil
			}
		case float64:
			return math.Round(x*1000)/1000 + 0 // +0 turns -0 into 0
		}
		return v[k.Entry(n)]
	})
	if err != nil {
		panic(err) // a scenario that is no number
	}
	return text
}

const knot = 1852.0 / 3600 // m/s

package trim

import "math"

// LeastDragSpeed is the speed, m/s, at which the foil's drag in level flight is
// least, from its slowest flight on; NaN where it falls up to 25 m/s.
func (f *Foil) LeastDragSpeed() float64 {
	const fastest, step = 25, 0.1
	const past = 1.2 // of the least drag, from which on it only rises
	best, least := math.NaN(), math.Inf(1)
	for v := f.SlowestFlight(); v < fastest; v += step {
		p := f.Point(v, Gravity)
		_, wing, stab := p.lifts(0)
		_, _, d := p.drags(wing, stab)
		if d < least {
			best, least = v, d
		}
		if d > past*least {
			break
		}
	}
	if best > fastest-2*step {
		return math.NaN()
	}
	return best
}

// naca0012 are stations of a NACA 0012, part of the chord: the velocity v/V over
// the section at no lift, and what a lift coefficient of one adds to it (Abbott & von
// Doenhoff, Theory of Wing Sections, 1959, appendix I, from memory).
var naca0012 = [][3]float64{
	{0.005, 0.800, 1.475}, {0.0125, 1.005, 1.199}, {0.025, 1.114, 0.934}, {0.05, 1.174, 0.685}, {0.075, 1.184, 0.558},
	{0.10, 1.188, 0.479}, {0.15, 1.188, 0.381}, {0.20, 1.183, 0.319}, {0.30, 1.162, 0.239}, {0.40, 1.135, 0.187},
}

// idealLift is the lift coefficient per percent of camber at which a NACA
// four-digit mean line of maximum camber at 40 % meets the water smoothly: 0.76
// at 6 % (the same book, mean line 64, from memory).
const idealLift = 0.76 / 6

// suction is -C_p at the section's suction peak, by the same book's sum of
// velocities (§4.5, from memory): thickness, camber (spread evenly, c_l,i/4),
// and angle of attack,
//
//	C_p = 1 - (v/V ± Δv/V ± (c_l - c_l,i) Δv_a/V)²
func suction(cl, camberPercent, thickness float64) float64 {
	ideal := idealLift * camberPercent
	peak := 0.0
	for _, s := range naca0012 {
		v := 1 + (s[1]-1)*thickness/0.12
		off := ideal/4 + (cl-ideal)*s[2]
		peak = math.Max(peak, (v+math.Abs(off))*(v+math.Abs(off))-1)
	}
	return peak
}

// Around a wing in the water: standard atmosphere, Pa (ISO 2533), and how much
// more than the mean the middle of an elliptic wing's span lifts, 4/π.
const (
	atmosphere = 101325.0
	midSpan    = 4 / math.Pi
)

// CavitationSearched is the speed, m/s, up to which [Foil.CavitationSpeed] looks.
const CavitationSearched = 40.0

// CavitationSpeed is the speed, m/s, at which the wing's suction peak reaches
// vapour pressure in level flight in water of a temperature, °C: an estimate for a
// smooth section, and a rough one or a gust has it sooner. [CavitationSearched]
// stands for none below it.
//
//	-C_p,min = (p_a + ρ g d - p_v) / q
//
// p_v by Magnus's formula (WMO-No. 8, from memory).
func (f *Foil) CavitationSpeed(temperature float64) float64 {
	in := &f.In
	vapour := 611.2 * math.Exp(17.62*temperature/(243.12+temperature))
	spare := atmosphere + in.Density*Gravity*in.Depth - vapour
	for v := f.SlowestFlight(); v < CavitationSearched; v += 0.1 {
		p := f.lifting(v, Gravity)
		_, wing, _ := p.lifts(0)
		cl := midSpan * wing / (p.q * in.WingArea)
		if p.q*suction(cl, in.CamberPercent, in.WingThickness) > spare {
			return v
		}
	}
	return CavitationSearched
}

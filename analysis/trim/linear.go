package trim

// A Linear is a lift or a moment that is linear in the wing's angle of attack
// α (from its zero-lift line) and in the stabilizer's setting δ:
//
//	Const + Alpha·α + Tail·δ
//
// Per unit of dynamic pressure it is m² or m³; as a coefficient it has no
// unit. Angles may be radians or degrees, as long as one Linear keeps to one.
// Moments are positive bow-up, positions positive forward.
type Linear struct{ Const, Alpha, Tail float64 }

// At is the value at the angle of attack α and the setting δ.
func (l Linear) At(alpha, tail float64) float64 { return l.Const + l.Alpha*alpha + l.Tail*tail }

// Plus adds two of a kind.
func (l Linear) Plus(m Linear) Linear {
	return Linear{l.Const + m.Const, l.Alpha + m.Alpha, l.Tail + m.Tail}
}

// Times scales by k.
func (l Linear) Times(k float64) Linear { return Linear{l.Const * k, l.Alpha * k, l.Tail * k} }

// SolveAlpha is the angle of attack at which l has the value, with setting δ:
// the trim condition when l is the moment and value is 0.
func (l Linear) SolveAlpha(value, tail float64) float64 {
	return (value - l.Const - l.Tail*tail) / l.Alpha
}

// MomentAbout moves a moment to a point x forward of its own reference point:
//
//	M_x = M - x L
func MomentAbout(lift, moment Linear, x float64) Linear { return moment.Plus(lift.Times(-x)) }

// AerodynamicCentre is the point, forward of the moment's reference, about
// which the moment does not change with α (of a whole foil: the neutral
// point):
//
//	x_ac = M_α / L_α
func AerodynamicCentre(lift, moment Linear) float64 { return moment.Alpha / lift.Alpha }

// TailVolume is the stabilizer's volume ratio V_H = l S_s / (c S_w).
func TailVolume(arm, stabArea, chord, wingArea float64) float64 {
	return arm * stabArea / (chord * wingArea)
}

// TailMoment is the stabilizer's moment coefficient, on S_w c, about the
// point that its arm is measured from:
//
//	c_m = -V_H a_s [(1 - ε') α + δ]
//
// (the textbook form, for example J. D. Anderson, Introduction to Flight, ch. 7,
// where the tail's setting is positive leading edge down; here it is up).
func TailMoment(volume, slope, downwash float64) Linear {
	return Linear{Alpha: -volume * slope * (1 - downwash), Tail: -volume * slope}
}

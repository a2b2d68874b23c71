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

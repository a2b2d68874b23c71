package write

// A Column is a value of each fix that goes into the extensions of its point.
type Column struct {
	Name     string // as pitch_deg
	Decimals int
	Value    func(fix int) float64 // NaN: none at this fix
}

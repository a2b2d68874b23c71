package water

import "math"

// TurbulentFriction is the ITTC-57 correlation line, the mean friction
// coefficient of one side of a turbulent plate:
//
//	C_t = 0.075 / (log10 Re - 2)²
func TurbulentFriction(re float64) float64 {
	l := math.Log10(re) - 2
	return 0.075 / (l * l)
}

// LaminarFriction is Blasius' mean friction coefficient of one side of a
// laminar plate:
//
//	C_l = 1.328 / √Re
func LaminarFriction(re float64) float64 { return 1.328 / math.Sqrt(re) }

// PlateFriction is the mean friction coefficient of one side of a smooth
// plate that is laminar up to the fraction xt of its length (trim model §2):
//
//	C_f = C_t(Re) - x_t [C_t(x_t Re) - C_l(x_t Re)]
func PlateFriction(re, xt float64) float64 {
	if xt <= 0 {
		return TurbulentFriction(re)
	}
	return TurbulentFriction(re) - xt*(TurbulentFriction(xt*re)-LaminarFriction(xt*re))
}

// FormFactor is the ratio of a section's friction drag to the plate's:
//
//	F = 1 + 2 t/c + 60 (t/c)⁴
func FormFactor(thicknessRatio float64) float64 {
	t := thicknessRatio
	return 1 + 2*t + 60*t*t*t*t
}

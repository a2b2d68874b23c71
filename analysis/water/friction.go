package water

import "math"

// Reynolds is the Reynolds number of a part of a length, m, at a speed, m/s, in
// water of a kinematic viscosity, m²/s.
func Reynolds(speed, length, viscosity float64) float64 { return speed * length / viscosity }

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
// plate that is laminar up to the fraction xt of its length: the turbulent
// line, with the run-in's turbulent friction exchanged for the laminar
// (Prandtl's composition; Schlichting, Boundary-Layer Theory, ch. 21):
//
//	C_f = C_t(Re) - x_t [C_t(x_t Re) - C_l(x_t Re)]
func PlateFriction(re, xt float64) float64 {
	if xt <= 0 {
		return TurbulentFriction(re)
	}
	return TurbulentFriction(re) - xt*(TurbulentFriction(xt*re)-LaminarFriction(xt*re))
}

// FormFactor is the ratio of a section's friction drag to the plate's (Hoerner,
// Fluid-Dynamic Drag, 1965, ch. 6):
//
//	F = 1 + 2 t/c + 60 (t/c)⁴
func FormFactor(thicknessRatio float64) float64 {
	t := thicknessRatio
	return 1 + 2*t + 60*t*t*t*t
}

// SmoothRoughness is the largest roughness that a flow at speed U does not
// feel, m, whatever the length (Schlichting, Boundary-Layer Theory, eq. 21.44):
//
//	k_adm = 100 ν / U
func SmoothRoughness(speed, viscosity float64) float64 { return 100 * viscosity / speed }

// RoughFriction is the mean friction coefficient of one side of a fully rough
// plate of length l with sand roughness k_s, 1e2 < l/k_s < 1e6 (Schlichting,
// eq. 21.38):
//
//	C_f = (1.89 + 1.62 log10(l/k_s))^-2.5
func RoughFriction(lengthOverRoughness float64) float64 {
	return math.Pow(1.89+1.62*math.Log10(lengthOverRoughness), -2.5)
}

// PlateFrictionRough is the mean friction coefficient of one side of a plate
// with transition at the fraction xt and sand roughness ks, m. Below the
// smooth limit (100 ν/U) it is the smooth plate's; above, the turbulent part
// follows the larger of the smooth and the fully rough line, which is what the
// plate diagram shows outside its narrow transition band.
func PlateFrictionRough(speed, length, viscosity, xt, ks float64) float64 {
	re := Reynolds(speed, length, viscosity)
	smooth := PlateFriction(re, xt)
	if ks <= SmoothRoughness(speed, viscosity) {
		return smooth
	}
	turbulent := math.Max(TurbulentFriction(re), RoughFriction(math.Max(length/ks, 100)))
	return smooth + (1-xt)*(turbulent-TurbulentFriction(re))
}

package water

import "math"

// Reynolds is the Reynolds number of a part of a length, m, at a speed, m/s, in
// water of a kinematic viscosity, m²/s.
func Reynolds(speed, length, viscosity float64) float64 { return speed * length / viscosity }

// TurbulentFriction is the ITTC-57 correlation line, the mean friction
// coefficient of one side of a turbulent plate:
//
//	C_t = 0.075 / (log10 Re - 2)²
func TurbulentFriction(re float64) float64 { return turbulent(math.Log10(re)) }

// turbulent is the same by log10 Re.
func turbulent(logRe float64) float64 { return 0.075 / ((logRe - 2) * (logRe - 2)) }

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
	p := Plate{re, xt, math.Log10(re), math.Log10(xt)}
	return p.Friction(1, 0)
}

// A Plate is one side of a smooth plate, as in [PlateFriction], that meets the
// water at many speeds: logarithms are dear.
type Plate struct {
	re, xt       float64 // re is the Reynolds number at 1 m/s
	logRe, logXt float64
}

// NewPlate is a plate of a length, m, that is laminar up to the fraction xt of
// it, in water of a kinematic viscosity, m²/s.
func NewPlate(length, viscosity, xt float64) Plate {
	re := Reynolds(1, length, viscosity)
	return Plate{re, xt, math.Log10(re), math.Log10(xt)}
}

// Friction is the plate's mean friction coefficient at a speed, m/s, whose
// log10 is given with it.
func (p *Plate) Friction(speed, logSpeed float64) float64 {
	c := turbulent(p.logRe + logSpeed)
	if p.xt <= 0 {
		return c
	}
	return c - p.xt*(turbulent(p.logRe+logSpeed+p.logXt)-LaminarFriction(p.xt*p.re*speed))
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

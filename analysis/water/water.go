// Package water holds the properties of fresh and sea water, and the friction
// of smooth and rough plates in it.
//
// It imports the standard library only.
package water

import "math"

// SeaSalinity is the practical salinity of standard sea water (PSS-78), and
// SeaMassFraction its absolute salinity in kg/kg (TEOS-10 reference).
const (
	SeaSalinity     = 35.0
	SeaMassFraction = 0.03516504
)

// Properties of one water.
type Properties struct {
	Density   float64 // kg/m³
	Viscosity float64 // kinematic, m²/s
}

// DynamicPressure is q = ½ ρ V², Pa, for a density in kg/m³ and a speed in m/s
// (or in any other coherent units).
func DynamicPressure(density, speed float64) float64 { return 0.5 * density * speed * speed }

// Of is the water named "sea" or "fresh" at a temperature in °C (ITS-90), at
// atmospheric pressure. The temperature is clamped to 0..40 °C, where the
// formulas hold.
func Of(kind string, celsius float64) Properties {
	t := min(max(celsius, 0), 40)
	s, fraction := SeaSalinity, SeaMassFraction
	if kind == "fresh" {
		s, fraction = 0, 0
	}
	rho := Density(1.00024*t, s)
	return Properties{Density: rho, Viscosity: DynamicViscosity(t, fraction) / rho}
}

// Density is the one-atmosphere equation of state EOS-80, kg/m³, for t in °C
// on IPTS-68 (t68 = 1.00024 t90) and practical salinity S, 0 ≤ t ≤ 40,
// 0 ≤ S ≤ 42 (Millero & Poisson, Deep-Sea Res. 28A:625, 1981; UNESCO Technical
// Papers in Marine Science 44, 1983):
//
//	ρ = ρ_w + A S + B S^1.5 + C S²
func Density(t, s float64) float64 {
	rw := 999.842594 + t*(6.793952e-2+t*(-9.095290e-3+t*(1.001685e-4+t*(-1.120083e-6+t*6.536332e-9))))
	a := 8.24493e-1 + t*(-4.0899e-3+t*(7.6438e-5+t*(-8.2467e-7+t*5.3875e-9)))
	b := -5.72466e-3 + t*(1.0227e-4+t*-1.6546e-6)
	const c = 4.8314e-4
	return rw + a*s + b*s*math.Sqrt(s) + c*s*s
}

// DynamicViscosity is in Pa·s for t in °C (ITS-90) and salinity S in kg/kg,
// 0 ≤ t ≤ 180, 0 ≤ S ≤ 0.15, stated accuracy 1.5 % (Sharqawy, Lienhard &
// Zubair, Desalination and Water Treatment 16:354, 2010, eq. 22–23):
//
//	μ = μ_w (1 + A S + B S²)
//	μ_w = 4.2844e-5 + 1/(0.157 (t + 64.993)² - 91.296)
func DynamicViscosity(t, s float64) float64 {
	mw := 4.2844e-5 + 1/(0.157*(t+64.993)*(t+64.993)-91.296)
	a := 1.541 + 1.998e-2*t - 9.52e-5*t*t
	b := 7.974 - 7.561e-2*t + 4.724e-4*t*t
	return mw * (1 + a*s + b*s*s)
}

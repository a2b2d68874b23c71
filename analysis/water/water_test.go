package water

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g ± %.2g", what, got, want, tol)
	}
}

// Fofonoff & Millard 1983, UNESCO Technical Papers in Marine Science 44, p. 19;
// Millero & Poisson 1981, Deep-Sea Research 28A:625, Table 1.
func TestDensityPublished(t *testing.T) {
	for _, c := range []struct{ s, t, want float64 }{
		{0, 5, 999.96675}, {0, 25, 997.04796}, {35, 5, 1027.67547}, {35, 25, 1023.34306},
	} {
		near(t, "density", Density(c.t, c.s), c.want, 1e-5)
	}
}

// ITTC Recommended Procedure 7.5-02-01-03 (2011), fresh water and sea water of
// 35.16504 g/kg: fresh to 0.002 kg/m³; the sea column sits 0.045 high (it is
// tabulated at one atmosphere of water), so 0.06.
func TestITTC2011(t *testing.T) {
	for _, c := range []struct{ t, fresh, sea, nuSea float64 }{
		{10, 999.7025, 1027.0000, 1.3604e-6}, {15, 999.1026, 1026.0210, 1.1892e-6},
		{20, 998.2072, 1024.8103, 1.0508e-6}, {25, 997.0476, 1023.3873, 9.3713e-7},
	} {
		f, s := Of("fresh", c.t), Of("sea", c.t)
		near(t, "fresh density", f.Density, c.fresh, 0.002)
		near(t, "sea density", s.Density, c.sea, 0.06)
		near(t, "sea viscosity", s.Viscosity/c.nuSea, 1, 2e-4)
	}
	near(t, "fresh viscosity 15", Of("fresh", 15).Viscosity/1.1386e-6, 1, 3e-4)
	near(t, "fresh viscosity 18.5", Of("fresh", 18.5).Viscosity/1.0411e-6, 1, 3e-4)
	// From memory: these are Sharqawy over EOS-80, not the procedure's print.
	for _, c := range [][2]float64{{10, 1.3064e-6}, {20, 1.0036e-6}, {25, 8.928e-7}} {
		near(t, "fresh viscosity", Of("fresh", c[0]).Viscosity/c[1], 1, 3e-4)
	}
}

// Sharqawy, Lienhard & Zubair 2010, Desalination and Water Treatment 16:354,
// eq. 22–23, worked by hand; Millero 1974 at 25 °C and S = 40 within the stated 1.5 %.
func TestViscosityPublished(t *testing.T) {
	for _, c := range []struct{ t, sea, fresh float64 }{
		{10, 1.39725e-3, 1.30601e-3}, {15, 1.22030e-3, 1.13774e-3},
		{20, 1.07702e-3, 1.00176e-3}, {25, 9.5919e-4, 8.9015e-4},
	} {
		near(t, "sea", DynamicViscosity(c.t, 0.03516504)/c.sea, 1, 1e-5)
		near(t, "fresh", DynamicViscosity(c.t, 0)/c.fresh, 1, 1e-5)
	}
	near(t, "Millero", DynamicViscosity(25, 0.0402)/9.6541e-4, 1, 0.015)
}

// The friction lines at Reynolds numbers where their values are tabulated:
// ITTC-57 (International Towing Tank Conference, 1957); Blasius' laminar plate;
// Schlichting, Boundary-Layer Theory, eq. 21.44 (smooth limit, from memory) and
// eq. 21.38 (fully rough plate). A plate that is laminar to its end is Blasius'.
func TestFrictionLines(t *testing.T) {
	for re, want := range map[float64]float64{1e5: 8.333e-3, 5e5: 5.482e-3, 1e6: 4.6875e-3, 1e7: 3e-3, 1e8: 2.083e-3, 1e9: 1.531e-3} {
		near(t, "ITTC-57", TurbulentFriction(re), want, 1e-6)
		near(t, "turbulent plate", PlateFriction(re, 0), want, 1e-6)
	}
	for re, want := range map[float64]float64{1e5: 4.2e-3, 5e5: 1.878e-3, 1e6: 1.328e-3} {
		near(t, "Blasius", LaminarFriction(re), want, 1e-6)
		near(t, "laminar plate", PlateFriction(re, 1), want, 1e-6)
	}
	for u, want := range map[float64]float64{5: 23.8e-6, 8: 14.9e-6, 10: 11.9e-6, 15: 7.93e-6} {
		near(t, "smooth limit", SmoothRoughness(u, 1.1892e-6), want, 0.05e-6) // printed to 0.1 µm
	}
	for x, want := range map[float64]float64{1e3: 8.448e-3, 3e3: 6.442e-3, 1e4: 4.934e-3, 1e5: 3.170e-3, 1e6: 2.177e-3} {
		near(t, "rough plate", RoughFriction(x), want, 1e-6)
	}
}

// Holtrop & Mennen, An Approximate Power Prediction Method, International
// Shipbuilding Progress 29(335), 1982, the worked example: a ship of 205 m at 25 kn.
func TestHoltropMennenExample(t *testing.T) {
	const v, length, wetted = 12.8611, 205, 7381.45
	re := Reynolds(v, length, 1.1883e-6)
	near(t, "Rn", re/2.2187e9, 1, 5e-4)
	near(t, "C_F", TurbulentFriction(re)/0.001390, 1, 5e-4)
	near(t, "R_F kN", DynamicPressure(1025, v)*wetted*TurbulentFriction(re)/1000/869.63, 1, 5e-4)
}

// A ship of 250 ft with a roughness of 0.01 ft at 16.9 ft/s, 30,000 ft² wetted,
// 2 slug/ft³: the example that textbooks give with Schlichting's rough line.
func TestRoughShipExample(t *testing.T) {
	cf := RoughFriction(250 / 0.01)
	near(t, "C_F", cf/4.0985e-3, 1, 1e-4)
	near(t, "F lb", DynamicPressure(2, 16.9)*30000*cf/35117, 1, 1e-4)
}

// F. M. White, Fluid Mechanics, example 7.4: a hydrofoil plate of 1.2 × 6 ft
// at 40 ft/s, both sides (answers from memory), and problem 7.39: 0.5 × 4 m at
// 28 kn. The book takes C_D = 0.031/Re^(1/7), less 1440/Re where the flow turns
// turbulent at 5e5; ITTC-57 keeps within the scatter of such lines, 6 %. The
// rough plates are Schlichting's in both.
func TestWhiteHydrofoilPlate(t *testing.T) {
	const nu, u, chord = 1.1e-5, 40, 1.2
	re := Reynolds(u, chord, nu)
	near(t, "Re", re/4.36e6, 1, 2e-3)
	both := 2 * DynamicPressure(1.99, u) * chord * 6
	near(t, "smooth lbf", both*PlateFrictionRough(u, chord, nu, 0, 0)/80, 1, 0.06)
	near(t, "smooth from 5e5 on, lbf", both*PlateFriction(re, 5e5/re)/72.4, 1, 0.06)
	near(t, "rough C_D", RoughFriction(chord/0.0004)/6.44e-3, 1, 0.01)
	near(t, "rough lbf", both*PlateFrictionRough(u, chord, nu, 0, 0.0004)/148, 1, 0.01)

	const v, nuSea = 28 * 1852.0 / 3600, 1.07e-3 / 1025
	re = Reynolds(v, 0.5, nuSea)
	near(t, "Re 7.39", re/6.90e6, 1, 2e-3)
	both = 2 * DynamicPressure(1025, v) * 0.5 * 4
	near(t, "rough N", both*PlateFrictionRough(v, 0.5, nuSea, 0, 0.3e-3)/3156, 1, 0.01)
	near(t, "smooth N", both*PlateFriction(re, 5e5/re)/1302, 1, 0.06)
}

// J. D. Anderson, Fundamentals of Aerodynamics, example 4.10: a plate at
// Re 3.1e6 with transition at 1e6 has 2.6458e-3 by the line 0.074/Re^0.2;
// ITTC-57 in its place keeps within 6 %.
func TestMixedBoundaryLayer(t *testing.T) {
	near(t, "C_f", PlateFriction(3.1e6, 1/3.1)/2.6458e-3, 1, 0.06)
}

func TestRoughPlateIsContinuousWithSmooth(t *testing.T) {
	const u, l, nu = 10, 0.15, 1.19e-6
	smooth := PlateFrictionRough(u, l, nu, 0.1, 0)
	near(t, "zero roughness", smooth, PlateFriction(u*l/nu, 0.1), 1e-15)
	last := smooth
	for k := 1e-6; k < 1e-3; k *= 1.3 {
		c := PlateFrictionRough(u, l, nu, 0.1, k)
		if c < last-1e-12 {
			t.Fatalf("friction falls from %g to %g at k = %g", last, c, k)
		}
		last = c
	}
	if !(last > 1.5*smooth) {
		t.Errorf("1 mm of roughness costs only %g over %g", last, smooth)
	}
}

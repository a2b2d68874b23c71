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

// Fofonoff & Millard 1983, UNESCO Tech. Pap. Mar. Sci. 44 p. 19; Millero &
// Poisson 1981, Table 1 (status V, C).
func TestDensityPublished(t *testing.T) {
	for _, c := range []struct{ s, t, want float64 }{
		{0, 5, 999.96675}, {0, 25, 997.04796}, {35, 5, 1027.67547}, {35, 25, 1023.34306},
	} {
		near(t, "density", Density(c.t, c.s), c.want, 1e-5)
	}
}

// ITTC 7.5-02-01-03 (2011): fresh to 0.002 kg/m³; the sea column sits 0.045
// high (it is tabulated at one atmosphere of water), so 0.06 (status V).
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
	// From memory (status C M): these are Sharqawy over EOS-80.
	for _, c := range [][2]float64{{10, 1.3064e-6}, {20, 1.0036e-6}, {25, 8.928e-7}} {
		near(t, "fresh viscosity", Of("fresh", c[0]).Viscosity/c[1], 1, 3e-4)
	}
}

// Sharqawy, Lienhard & Zubair 2010, eq. 22–23, recomputed (status V, C);
// Millero 1974 at t = 25, S = 40 within the stated 1.5 %.
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

// Friction lines: ITTC-57, Prandtl–Schlichting (from memory in part), Blasius
// and Schlichting's smooth limit and rough plate (status V, C).
func TestFrictionLines(t *testing.T) {
	for re, want := range map[float64]float64{1e5: 8.333e-3, 5e5: 5.482e-3, 1e6: 4.6875e-3, 1e7: 3e-3, 1e8: 2.083e-3, 1e9: 1.531e-3} {
		near(t, "ITTC-57", TurbulentFriction(re), want, 1e-6)
	}
	for re, want := range map[float64][2]float64{5e5: {5.106e-3, 1.706e-3}, 1e6: {4.471e-3, 2.771e-3}, 1e7: {3.004e-3, 2.834e-3}} {
		near(t, "Prandtl–Schlichting", PrandtlSchlichting(re, 0), want[0], 1e-6)
		near(t, "with laminar run-in", PrandtlSchlichting(re, 1700), want[1], 1e-6)
	}
	for re, want := range map[float64]float64{1e5: 4.2e-3, 5e5: 1.878e-3, 1e6: 1.328e-3} {
		near(t, "Blasius", LaminarFriction(re), want, 1e-6)
	}
	for u, want := range map[float64]float64{5: 23.8e-6, 8: 14.9e-6, 10: 11.9e-6, 15: 7.93e-6} {
		near(t, "smooth limit", SmoothRoughness(u, 1.1892e-6), want, 0.05e-6) // printed to 0.1 µm
	}
	for x, want := range map[float64]float64{1e3: 6.259e-3, 1e4: 3.906e-3, 1e5: 2.627e-3} {
		near(t, "rough, local", RoughFrictionLocal(x), want, 1e-6)
	}
	for x, want := range map[float64]float64{1e3: 8.448e-3, 3e3: 6.442e-3, 1e4: 4.934e-3, 1e5: 3.170e-3, 1e6: 2.177e-3} {
		near(t, "rough, mean", RoughFriction(x), want, 1e-6)
	}
}

// Holtrop & Mennen 1982, ISP 29(335), worked example (status V, C).
func TestHoltropMennenExample(t *testing.T) {
	const v, l, nu, s, rho = 12.8611, 205, 1.1883e-6, 7381.45, 1025
	re := v * l / nu
	near(t, "Rn", re/2.2187e9, 1, 5e-4)
	cf := TurbulentFriction(re)
	near(t, "C_F", cf/0.001390, 1, 5e-4)
	near(t, "R_F kN", 0.5*rho*v*v*s*cf/1000/869.63, 1, 5e-4)
}

// Ship example with Schlichting's rough line, e = 0.01 ft on 250 ft (status V, C).
func TestRoughShipExample(t *testing.T) {
	cf := RoughFriction(250 / 0.01)
	near(t, "C_F", cf/4.0985e-3, 1, 1e-4)
	force := 0.5 * 2 * 16.9 * 16.9 * 30000 * cf // lb, density 2 slug/ft³
	near(t, "F lb", force/35117, 1, 1e-4)
	near(t, "hp", force*16.9/550/1079.1, 1, 1e-4)
}

// White, Fluid Mechanics, Example 7.4 (hydrofoil plate 1.2 × 6 ft, 40 ft/s,
// both sides; inputs V, answers C M) and Problem 7.39 (V-inputs, C). The book
// uses the one-seventh-power line C_D = 0.031/Re^(1/7) - 1440/Re; the
// product's ITTC-57 and Prandtl–Schlichting lines agree with it within the
// scatter of the lines (6 %), and the rough plate is Schlichting's in both.
func TestWhiteHydrofoilPlate(t *testing.T) {
	const rho, nu, u, b, l = 1.99, 1.1e-5, 40, 6, 1.2 // slug, ft, s
	re := u * l / nu
	near(t, "Re", re/4.36e6, 1, 2e-3)
	both := 2 * 0.5 * rho * u * u * b * l
	seventh := 0.031 / math.Pow(re, 1.0/7)
	near(t, "smooth lbf, book's line", both*seventh, 80, 0.8)
	near(t, "smooth, ITTC-57 against the book", both*TurbulentFriction(re)/80, 1, 0.06)
	near(t, "transition, Prandtl–Schlichting", both*PrandtlSchlichting(re, 1700)/72.4, 1, 0.06)
	near(t, "rough C_D", RoughFriction(l/0.0004)/6.44e-3, 1, 0.01)
	near(t, "rough lbf", both*RoughFriction(l/0.0004)/148, 1, 0.01)
	near(t, "rough, by the product's plate", both*PlateFrictionRough(u, l, nu, 0, 0.0004)/148, 1, 0.01)

	// 0.5 × 4 m in sea water at 28 kn, roughness 0.3 mm.
	const v = 28 * 1852.0 / 3600
	re = 1025 * v * 0.5 / 1.07e-3
	near(t, "Re 7.39", re/6.90e6, 1, 2e-3)
	near(t, "rough N", 2*0.5*1025*v*v*0.5*4*PlateFrictionRough(v, 0.5, 1.07e-3/1025, 0, 0.3e-3)/3156, 1, 0.01)
	near(t, "smooth N", 2*0.5*1025*v*v*0.5*4*PrandtlSchlichting(re, 1440)/1302, 1, 0.06)
}

// Anderson's mixed boundary layer example 4.10: Re 3.1e6, transition at 1e6
// (status V). The book's turbulent line is 0.074/Re^0.2; the product's own
// line replaces it and agrees within 5 %.
func TestMixedBoundaryLayer(t *testing.T) {
	const re, xt = 3.1e6, 1e6 / 3.1e6
	turbulent := func(re float64) float64 { return 0.074 / math.Pow(re, 0.2) }
	book := turbulent(re) - xt*(turbulent(xt*re)-LaminarFriction(xt*re))
	near(t, "book's composition", book, 2.6458e-3, 1e-6)
	near(t, "product", PlateFriction(re, xt)/2.6458e-3, 1, 0.06)
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

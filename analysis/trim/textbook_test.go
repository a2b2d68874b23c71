package trim

import (
	"math"
	"testing"

	"evenfoot/analysis/water"
)

// Textbook problems through the functions that the balance is made of. The
// books measure positions aft of the nose (or of the leading edge) in chords;
// here they are forward, so the signs of positions turn.

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %.6g ± %.2g", what, got, want, tol)
	}
}

// trimOf is the angle of attack at which the moment is nothing, as
// intercept and slope in the tail's setting.
func trimOf(m Linear) (at0, slope float64) {
	at0 = m.SolveAlpha(0, 0)
	return at0, m.SolveAlpha(0, 1) - at0
}

// J. J. Chattot & M. M. Hafez, Theoretical and Applied Aerodynamics (Springer,
// 2015), problem 15.3.3 "Glider Equilibrium", degrees.
func TestGliderEquilibrium(t *testing.T) {
	lift := Linear{0.7, 0.1, 0.01}
	nose := Linear{-0.13, -0.02, -0.01}
	ac := AerodynamicCentre(lift, nose)
	near(t, "x_ac/l", -ac, 0.2, 1e-12)
	near(t, "x_ac for l = 1.5 m", -ac*1.5, 0.3, 1e-12)
	about := MomentAbout(lift, nose, ac)
	near(t, "CM_ac at 0", about.Const, 0.01, 1e-12)
	near(t, "CM_ac slope in the tail", about.Tail, -0.008, 1e-12)
	near(t, "CM_ac slope in α", about.Alpha, 0, 1e-12)
	cg := MomentAbout(lift, nose, ac+0.04) // static margin 4 %
	near(t, "CM_cg at 0", cg.Const, -0.018, 1e-12)
	near(t, "CM_cg in α", cg.Alpha, -0.004, 1e-12)
	near(t, "CM_cg in the tail", cg.Tail, -0.0084, 1e-12)
	at0, slope := trimOf(cg)
	near(t, "α_eq at 0", at0, -4.5, 1e-9)
	near(t, "α_eq slope", slope, -2.1, 1e-9)
}

// The same book, 15.2.3, radians. The book rounds the
// c.g. to 0.298 and goes on rounding; from that c.g. without further rounding
// the tail is -2.42° and α 14.18°.
func TestGliderTakeoff(t *testing.T) {
	lift := Linear{0.5, 3.88, 0.481}
	nose := Linear{-0.124, -1.31, -0.452}
	ac := AerodynamicCentre(lift, nose)
	near(t, "x_ac", -ac, 0.338, 5e-4)
	about := MomentAbout(lift, nose, ac)
	near(t, "CM_ac at 0", about.Const, 0.045, 5e-4)
	near(t, "CM_ac in the tail", about.Tail, -0.289, 1e-3)
	near(t, "x_cg", -(ac + 0.04), 0.298, 5e-4)
	cg := MomentAbout(lift, nose, -0.298) // as the book prints it
	near(t, "CM_cg at 0", cg.Const, 0.025, 5e-4)
	near(t, "CM_cg in α", cg.Alpha, -0.154, 2e-3)
	near(t, "CM_cg in the tail", cg.Tail, -0.309, 1e-3)
	at0, slope := trimOf(cg)
	near(t, "α_eq at 0", at0, 0.162, 2e-3)
	near(t, "α_eq slope", slope, -2.0, 0.02)
	cl0, cl1 := lift.At(at0, 0), lift.At(cg.SolveAlpha(0, 1), 1)
	tail := (1.44 - cl0) / (cl1 - cl0)
	near(t, "tail for CL 1.44, deg", tail/deg, -2.42, 0.02)
	near(t, "α for CL 1.44, deg", cg.SolveAlpha(0, tail)/deg, 14.18, 0.02)
}

// The same book, 14.1.3: a canard-like glider at CL 1.9.
func TestGliderLanding(t *testing.T) {
	lift := Linear{1.56, 5.3, 0.5}
	nose := Linear{-0.43, -1.7, -0.45}
	cg := MomentAbout(lift, nose, -0.29)
	at0, slope := trimOf(cg)
	near(t, "α_eq at 0", at0, 0.1374, 1e-4)
	near(t, "α_eq slope", slope, -1.8712, 1e-4)
	cl0, cl1 := lift.At(at0, 0), lift.At(cg.SolveAlpha(0, 1), 1)
	tail := (1.9 - cl0) / (cl1 - cl0)
	near(t, "tail, deg", tail/deg, 2.36, 0.01)
	near(t, "α, deg", cg.SolveAlpha(0, tail)/deg, 3.45, 0.01)
}

// J. D. Anderson, Introduction to Flight, examples 7.1–7.7 (values from memory).
// Degrees. The book leaves the tail's lift out of the whole, and its tail
// setting is positive leading edge down.
func TestAndersonExamples(t *testing.T) {
	// 7.1: c.g. 0.05 c behind the wing-body's aerodynamic centre.
	wb := Linear{Const: 0.45}
	near(t, "7.1 CM_cg", MomentAbout(wb, Linear{Const: -0.016}, -0.05).Const, 0.0065, 1e-12)
	// 7.2: zero lift at -1.5°, CL 0.52 at 5°; CM_cg -0.01 at 1° and 0.05 at 7.88°; c.g. at 0.35 c.
	lift := Linear{Const: 0.52 / 6.5 * 1.5, Alpha: 0.52 / 6.5}
	cg := Linear{Const: -0.01 - 0.06/6.88, Alpha: 0.06 / 6.88}
	ac := AerodynamicCentre(lift, cg) // forward of the c.g.
	near(t, "7.2 h_ac", 0.35-ac, 0.24, 1.5e-3)
	near(t, "7.2 CM_ac", MomentAbout(lift, cg, ac).Const, -0.032, 1e-3)

	// 7.3–7.6: the whole, tail included. α is absolute: from zero lift.
	const c, S, lt, St, it, at, deda = 0.1, 0.1, 0.17, 0.02, 2.7, 0.1, 0.35
	vh := TailVolume(lt, St, c, S)
	near(t, "7.3 V_H", vh, 0.34, 1e-12)
	wing := Linear{Alpha: 0.08}
	whole := MomentAbout(wing, Linear{Const: -0.032}, -0.11).Plus(TailMoment(vh, at, deda))
	near(t, "7.3 CM_cg", whole.At(9.38, -it), -0.065, 0.01*0.065+3e-4)
	near(t, "7.4 dCM/dα", whole.Alpha, -0.0133, 1.4e-4)
	near(t, "7.4 CM_0", whole.At(0, -it), 0.06, 6e-4)
	near(t, "7.4 α_e", whole.SolveAlpha(0, -it), 4.5, 0.05)
	near(t, "7.6 static margin", -AerodynamicCentre(wing, whole), 0.166, 1.7e-3)
	near(t, "7.5 h_n", 0.35-AerodynamicCentre(wing, whole), 0.516, 5e-3)

	// 7.7: the elevator that trims at W = 2.27e4 N, S = 19 m², 61 m/s; it turns
	// the tail's zero-lift line by 0.04/0.1 of its angle.
	cl := 2.27e4 / (water.DynamicPressure(1.225, 61) * 19)
	near(t, "7.7 CL", cl, 0.52, 5e-3)
	alpha := wing.SolveAlpha(cl, 0)
	near(t, "7.7 α", alpha, 6.5, 0.07)
	// The setting that trims there, less the one fitted, by the elevator's gear.
	trimmed := Linear{Const: whole.At(alpha, 0), Alpha: whole.Tail}.SolveAlpha(0, 0)
	near(t, "7.7 elevator", (trimmed+it)/0.4, -1.94, 0.1)
}

// The same book, problems 7.2 and 7.4–7.6 (the tail setting of 2° is taken as
// in two of three copies; the third has it the other way up).
func TestAndersonProblems(t *testing.T) {
	const S, c = 1.5, 0.45
	q := water.DynamicPressure(1.225, 100)
	// 7.2: the moment about the c.g. is -12.4 N m at zero lift and 20.67 N m at L = 3675 N.
	lift := Linear{Alpha: 3675}
	about := Linear{Const: -12.4, Alpha: 20.67 + 12.4}
	ac := AerodynamicCentre(lift, about)
	near(t, "7.2 h - h_ac", ac/c, 0.02, 1e-4)
	near(t, "7.2 CL", lift.At(1, 0)/(q*S), 0.4, 1e-4)
	near(t, "7.2 CM_ac", MomentAbout(lift, about, ac).At(1, 0)/(q*S*c), -0.003, 1e-4)

	const lt, St, it, at, deda, h = 1.0, 0.4, 2.0, 0.12, 0.42, 0.26
	vh := TailVolume(lt, St, c, S)
	near(t, "V_H", vh, 0.5926, 1e-4)
	wing := Linear{Alpha: 4134 / (q * S) / 5} // absolute angle of attack 5°
	whole := MomentAbout(wing, Linear{Const: -0.003}, -0.02).Plus(TailMoment(vh, at, deda))
	near(t, "CM_cg", whole.At(5, -it), -0.0580, 6e-4)
	near(t, "M_cg, N m", whole.At(5, -it)*q*S*c, -240, 2.4)
	near(t, "dCM/dα", whole.Alpha, -0.0394, 4e-4)
	near(t, "CM_0", whole.At(0, -it), 0.139, 1.4e-3)
	near(t, "α_e", whole.SolveAlpha(0, -it), 3.53, 0.035)
	near(t, "static margin", -AerodynamicCentre(wing, whole), 0.438, 4.4e-3)
	near(t, "h_n", h-AerodynamicCentre(wing, whole), 0.698, 7e-3)
}

// A payment card, 0.76 mm within 0.08 mm (ISO/IEC 7810 ID-1), under one of two
// screws 25 mm apart turns the stabilizer by 1.741°, within 1.558° to 1.924°.
func TestCardTurns(t *testing.T) {
	near(t, "thickness, mm", Card/mm, 0.76, 1e-12)
	near(t, "thinnest, mm", (Card-CardTolerance)/mm, 0.68, 1e-12)
	near(t, "thickest, mm", (Card+CardTolerance)/mm, 0.84, 1e-12)
	for thickness, want := range map[float64]float64{Card: 1.741, Card - CardTolerance: 1.558, Card + CardTolerance: 1.924, -Card: -1.741} {
		near(t, "turn, deg", ShimAngle(thickness, 25*mm)/deg, want, 1e-3)
	}
	s := gear()
	s.Foil.Stabilizer.ShimSpan = 25 * mm
	bare := FromSetup(s, 1025, 1.19e-6)
	s.Foil.Stabilizer.Shim = Card
	near(t, "turn that a setup makes, deg", (FromSetup(s, 1025, 1.19e-6).StabIncidence-bare.StabIncidence)/deg, 1.741, 1e-3)
}

// Helmbold's slope of straight wings, which is also that of USAF DATCOM 4.1.3.2
// at no sweep and no Mach number.
func TestLiftSlope(t *testing.T) {
	for ar, want := range map[float64]float64{4: 3.8832, 5: 4.2539, 6: 4.5287, 8: 4.9058, 10: 5.1510} {
		near(t, "slope", LiftSlope(ar), want, 1e-4)
	}
}

// Far behind an elliptic wing dε/dα = 2a/(π AR), a = 2π/(1 + 2/AR) by Prandtl's
// lifting line.
func TestDownwash(t *testing.T) {
	for ar, want := range map[float64]float64{5: 4.0 / 7, 8: 0.4, 10: 1.0 / 3} {
		near(t, "downwash", DownwashGradient(2*math.Pi/(1+2/ar), ar), want, 1e-6)
	}
}

// Hough & Moran's factor as O. M. Faltinsen gives it, Hydrodynamics of
// High-Speed Marine Vehicles (Cambridge, 2005), from memory.
func TestSurfaceFactor(t *testing.T) {
	for h, want := range map[float64]float64{0: 0.5, 0.25: 0.6667, 0.5: 0.8333, 1: 0.9444, 2: 0.9848, 3: 0.9932, 1e6: 1} {
		near(t, "factor", SurfaceFactor(h), want, 1e-4)
	}
}

// thinAerofoil integrates a mean line's slope:
//
//	α0 = -(1/π) ∫ dz/dx (cos θ - 1) dθ,  c_m = (π/4)(A2 - A1)
func thinAerofoil(slope func(x float64) float64) (zeroLift, moment float64) {
	const n = 200000
	a1, a2 := 0.0, 0.0
	for i := range n {
		th := math.Pi * (float64(i) + 0.5) / n
		s := slope((1 - math.Cos(th)) / 2)
		zeroLift -= s * (math.Cos(th) - 1) / n
		a1 += 2 * s * math.Cos(th) / n
		a2 += 2 * s * math.Cos(2*th) / n
	}
	return zeroLift, math.Pi / 4 * (a2 - a1)
}

// The camber terms against the thin-aerofoil integrals of NACA 1412, 2412 and
// 4412's mean lines, and against wind tunnels (Abbott & von Doenhoff, Theory of
// Wing Sections, by way of DATCOM 4.1.1-B, from memory).
func TestCamber(t *testing.T) {
	const p = 0.4
	for _, m := range []float64{1, 2, 4} {
		a0, cm := thinAerofoil(func(x float64) float64 {
			if x < p {
				return 2 * m / 100 / (p * p) * (p - x)
			}
			return 2 * m / 100 / ((1 - p) * (1 - p)) * (p - x)
		})
		near(t, "zero-lift angle, deg", CamberZeroLift(m)/deg, a0/deg, 1e-4*m)
		near(t, "moment", CamberMoment(m), cm, 1e-5*m)
	}
	near(t, "2412 α0 measured", CamberZeroLift(2)/deg, -2.05, 0.3)
	near(t, "4412 α0 measured", CamberZeroLift(4)/deg, -3.8, 0.4)
	near(t, "2412 c_m measured", CamberMoment(2), -0.047, 0.01)
	near(t, "4412 c_m measured", CamberMoment(4), -0.093, 0.015)
}

// Induced drag: Anderson, Fundamentals of Aerodynamics, example 5.1: CL 0.4339
// at AR 8 and δ = 0.055.
func TestInducedDrag(t *testing.T) {
	near(t, "CDi", inducedDrag(0.4339, 8, 1/1.055), 0.00790, 1e-5)
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

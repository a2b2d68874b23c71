// Package trim is the physics of balance: the foil's lift, drag and moment,
// where the feet must press, how that changes with speed, and the inference of
// what is not known from all the evidence.
//
// It imports filter, analysis/interval, analysis/setup, analysis/water and gonum.
//
// # Axes and signs
//
// SI and radians. x is forward along the deck, z up; the origin is where the
// mast's centreline meets the underside of the board. Pitch θ and moments are
// positive bow-up, an incidence is positive leading edge up, and positions of
// feet and foil count along x, + to the nose. f_z is the specific force normal
// to the deck (g in level flight), q = ½ ρ V² with V through the water.
//
// # The foil
//
// A surface of area S and span b has the chord c = S/b, the aspect ratio
// AR = b²/S and the lift slope
//
//	a = 2π AR / (2 + √(AR² + 4)) · (1 + 16 (d/c)²) / (2 + 16 (d/c)²)
//
// (Helmbold 1942; the loss near a free surface at high Froude number by Hough
// & Moran 1969, as Faltinsen gives it, 2005; d is the depth). The wing's section
// is a NACA four-digit mean line of camber m percent with its maximum at 40 %
// of the chord, by thin-aerofoil theory (Abbott & von Doenhoff, Theory of Wing
// Sections, 1959):
//
//	α0 = -1.0386° m        c_m = -0.02656 m   about the quarter chord
//
// Behind the wing the water goes down by ε = ε' α_w, ε' = 2 a_w / (π AR_w)
// (Prandtl's lifting line, far behind an elliptic wing). With α_w from the
// wing's zero-lift line, i_s the stabilizer's incidence to the wing's chord
// line and α0_s its own zero-lift angle,
//
//	α_s = α_w (1 - ε') + δ            δ = i_s - α0_s + α0
//	L   = q (S_w a_w α_w + S_s a_s α_s)
//	A   = S_w a_w + S_s a_s (1 - ε')  the effective lift area
//	α_w = (L/q - S_s a_s δ) / A       θ = α_w + α0 - i_w
//
// The fuselage bends under the stabilizer's own lift by κ rad/N, so that a
// stabilizer that pushes down raises its leading edge; wherever a_s stands it
// is a_s / (1 + q S_s a_s κ). A shim therefore does less at speed. A solid
// aluminium bar of 25 mm and 0.55 m has κ = 4.8e-5, a tube of 28/20 mm 6.2e-5
// (beam theory).
//
// Drag coefficients on the plan area are
//
//	C_D  = C_D0 + C_L² / (π AR e)     e = 0.9
//	C_D0 = 2 F C_f                    F = 1 + 2 t/c + 60 (t/c)⁴   (Hoerner 1965)
//	C_f  = C_t(Re) - x_t [C_t(x_t Re) - C_l(x_t Re)]
//
// with the ITTC-57 line for the turbulent C_t, Blasius for the laminar C_l, and
// transition at the part x_t = 0.1 of the chord. The mast is the same over its
// immersed length, plus a spray drag of 0.24 q t² (Hoerner).
//
// # The balance
//
// The pitch carries the wing forward under the feet: a point x of the fuselage
// sits at X = x cos θ + H sin θ, Z = x sin θ - H cos θ, H the mast's length.
// The rig's thrust balances the drag D and reaches the board at the deck's height
// h; the rig lifts R_z = λ m_r g; a sail presses with P on its mast foot at x_p.
//
//	L     = (m_r + m_b) f_z - R_z                         what the foil carries
//	N     = m_r f_z - R_z - P                             what the feet carry
//	M_h   = X_w L_w + X_s L_s + Z_w D_w + Z_s D_s + Z_m D_m + q S_w c_w c_m
//	        - x_b cos θ · m_b f_z - x_p cos θ · P         Z_m = -(H - d/2)
//	x_f   = (M_h + N h sin θ - D h cos θ) / (N cos θ + D sin θ)
//	share = (x_f - x_back) / (x_front - x_back)           the front foot's, 0.5 = even
//	M_net = (x_f - ½ (x_front + x_back)) (N cos θ + D sin θ)
//
// x_f changes with speed by three parts of different shape: the wing's walk
// forward with pitch, which falls; the drag's couple, which pulls aft; and the
// couple of camber and stabilizer, which grows with V². The stabilizer tilts
// that curve and the place of the foil shifts it, so the two are chosen
// together. The share is exactly linear in the moves of foil and feet, and
// nearly so in the stabilizer's incidence.
//
// The speed gradient G = d share/dV tells how calm a trim is. With the feet
// held still, a board whose share rises with speed lifts its nose when it runs
// faster and slows itself; at G = 0, which is an even load at every speed, it is
// indifferent; below, it drops its nose and runs away. It is the part that the
// distance to the neutral point plays for aircraft (Etkin & Reid, Dynamics of
// Flight; Perkins & Hage, Airplane Performance, Stability and Control).
//
// # What is inferred
//
// The pitch law tells the effective lift area and the angle of attack; of the
// stabilizer's setting it says little, one degree moves the pitch at zero lift by
// a tenth. So the moment follows from the model conditioned on all the
// evidence. Unknowns are normal about what the setup says; 1σ:
//
//	stabilizer incidence   0.4°, 1.0° by default   wing position     15 mm, 30 mm
//	camber (α0 and c_m)    1 %, 1.2 %              each foot         15 mm
//	stabilizer zero lift   0.7°, 0.8°              balance point     80 mm, 100 mm
//	stabilizer area, arm   5 %, 15 mm              drag              20 %
//	downwash               15 %                    wing incidence    0.7°, 1.0°
//	lift area              8 %                     c_m beyond camber 0.01
//	moment per N of drag   0.05 m                  fitted shim       6.4 % (cards of 0.76 ± 0.08 mm)
//	fuselage flex κ        2e-5 about 2e-5 rad/N   mast foot P       50 about 60 N
//	rig's lift λ           wing 0.08 ± 0.05, kite 0.25 ± 0.12, sail 0 ± 0.03, tow 0 ± 0.02, none 0 ± 0.01
//	rider's zero b, scale s  0.06, 25 %
//
// and what an outing's instruments share, as the evidence says: foot forces show
// share + 4 l share (1 - share), a mast (1 + g) M_m + z of the foil's moment
// about its head, M_m = M_h without the loads on the deck.
//
// (keys of the setup: their table in analysis/setup holds the prior). None is
// measured: they are what tape, gauge, a maker's page and common sense leave
// open. κ, P and s are never below zero: above the mean they are normal, below
// it the mean falls off exponentially, with no edge that Gauss–Newton would
// trip over.
//
// Evidence is the slope of the pitch law; its zero where the deck was level and
// the wing's incidence is given; what riders note; speeds that feel even with the
// foil at a known place; measured shares; the drag that glides show (which then
// is all that tells the drag: its prior widens to 50 %); each of today and of earlier outings
// on the same foil, at their own shim and mast position.
//
// A rider is an instrument with a zero and a scale:
//
//	note = 0.5 + s (share + b - 0.5) + the note's own error
//
// with one b and one s for all that a rider of one name ever said, so a hundred
// notes are no better than these. What the rider wants is what feels even,
// share + b = 0.5; of a rider whose load an instrument weighs and who said
// nothing, an even load. A speed that feels even (a null) tells just that, and s drops
// out; between two trims, b does. The strongest words have no end: a share
// beyond "strong front" is a smaller surprise than one short of it.
//
// The maximum of the posterior is found by Gauss–Newton with a line search,
// its width by Laplace's (I + JᵀJ)⁻¹, and whole foils are points of that
// normal, always the same, each weighted by how much likelier the true posterior
// has it (importance sampling). Nothing is picked by chance, so all that follows
// goes smoothly with the inputs. Evidence in conflict with itself or with the priors is named, and
// widens the posterior until it is no surprise. In simulated riders whose
// inputs are wrong by these priors the 90 % intervals hold 86 to 93 % of the time
// (TestCalibration).
//
// What one more observation would buy follows from the same covariance
// ([Posterior.DoubtAfter]).
package trim

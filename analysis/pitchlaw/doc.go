// Package pitchlaw fits the straight line of a foil board's pitch against the
// lift area that the foil has to supply, robustly and together with the flow
// of the water.
//
// # The law
//
// An accelerometer on the board measures f_z, the specific force along the
// deck's normal, so the load of the foil at any instant is known: in a turn,
// in a heel, in a heave. Divided by the dynamic pressure q = ½ρV² and by the
// total mass it becomes
//
//	X = f_z / q = 2 f_z / (ρ V²)         [m²/kg]
//
// the lift area that each kilogram needs. A wing below its stall lifts in
// proportion to its angle of attack, so pitch θ, seen along the lift (heel φ),
// is a straight line in X where it is a hyperbola in speed:
//
//	θ cos φ = θ0 + K X,    K = (1 - λ') m / A
//
// with A the effective lift area per radian, m the mass of rider and board and
// λ' the share of their weight that the rig lifts. V is speed through the
// water: V = |v_GPS - u|. Reaches on different headings tell the flow u, which
// is fitted along with θ0 and K under a weak prior at zero. Each tack has an
// intercept of its own (stance and mount differ from side to side); one slope.
// θ0 is absolute only where the log holds a level zero; K needs none.
//
// # What no number of windows cures
//
// K has errors that are the same all session, so averaging leaves them:
//
//   - the rig pulls along the deck's normal when the board heels: simulated at
//     25° of heel, K came out 20 % too high;
//   - leeway β turns the flow by β sin φ, with the same sign on both tacks. It
//     falls about as 1/V², as X does, so it goes into K: 1° at 8 m/s and 12° of
//     heel make -11 %;
//   - a mount that bends by 0.1° per m/s makes ±12 %.
//
// The slope therefore carries a systematic part of 1σ = 4 % and, in quadrature,
// 0.4 sin|φ| with φ the usual heel. A wrong slope turns the line about the
// windows' mean, so the pitch at a usual speed suffers little from it.
// TestSystematicSlope holds the interval against all four; more than that it
// does not hold: a kite's 2° of leeway at 13 m/s and 18° of heel takes 18 % off
// the slope, and the faster the outing the more a bend of the mount weighs. A lasting error of
// the attitude (accelerometer bias in a heel, a receiver's latency) is added to
// θ0; that of the level zero is not in it.
//
// # The way
//
// [MakeWindows] averages straight flight into windows. [Estimate] takes the
// receiver's noise out of their speeds as far as the board's inertia tells it
// (noise in X flattens a line), finds the line by an MM-estimator, and frees the
// flow by generalised least squares on the windows that lie near it. Errors are shared within reaches and across them; how much is not
// guessed but averaged over, each way weighted by its restricted likelihood.
// Huber's loss alone would not do: it has no defence against leverage points,
// slow stretches of nonsense that lie far out in X.
//
// # Sources
//
// Robust start: Rousseeuw & Yohai, Robust Regression by Means of S-estimators,
// 1984; Salibián-Barrera & Yohai, A Fast Algorithm for S-Regression Estimates,
// J. Comput. Graph. Stat. 15, 2006; Yohai, High Breakdown-Point and High
// Efficiency Robust Estimates for Regression, Ann. Stat. 15, 1987. Noise:
// Harville, J. Am. Stat. Assoc. 72, 1977 (restricted likelihood); de Jong,
// J. Am. Stat. Assoc. 84, 1989 (smoothing). Errors in X: Berkson, J. Am. Stat.
// Assoc. 45, 1950; Carroll et al., Measurement Error in Nonlinear Models, 2006.
//
// The tests take the package's own routines through the National Institute of
// Standards and Technology's Statistical Reference Datasets (Norris, Pontius,
// Longley), Brownlee's stack loss data and the star cluster CYG OB1 of
// Rousseeuw & Leroy, Robust Regression and Outlier Detection, 1987; and through
// a light aircraft's slow-down, since wings in air obey the same law. How often
// the intervals hold the truth is in testdata/coverage.md.
//
// It imports filter, filter/align, analysis/interval, analysis/ride and gonum.
// It hands over numbers and kinds; package report/words says them.
package pitchlaw

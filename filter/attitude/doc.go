// Package attitude estimates a sensor's orientation from gyroscope and
// accelerometer, aided by GPS velocity where there is one. It imports filter,
// filter/rotation and gonum, and knows no Log.
//
// # What it is
//
// It is a complementary filter in the indirect form. The gyroscope is
// integrated by itself and gives the path, which is right over seconds and
// drifts over minutes. The accelerometer, less the acceleration of the GPS,
// shows gravity, which is right over minutes and rough over seconds. The
// filter does not mix the two signals: it estimates the error of the path, a
// small and slowly changing thing, from their difference, and takes it out.
// So fast motion passes through unfiltered, and the weights follow from what
// each sensor's errors are. The causal form corrects as it goes; the two-sided
// form smooths the errors over the whole log, forward and backward, and goes
// over the path again, for the errors are linear only about a path that is
// nearly right.
//
// The form is described in R. G. Brown and P. Y. C. Hwang, Introduction to
// Random Signals and Applied Kalman Filtering, 4th edition, Wiley 2012, in the
// chapters on complementary filters and on the integrated navigation system.
//
// # The path
//
// Let q turn the sensor frame into an earth frame with z up, R be its matrix,
// ω the rate, f the specific force, b the gyroscope's offset and g gravity
// (Gravity). Then
//
//	q' = ½ q ⊗ (ω - b)
//	v' = R f - g z
//
// Samples are integrated in blocks of blockStep (aidedStep with GPS), in the
// sensor frame of the block's start (type integral): the turn ΔR, the velocity
// ∫ R f dt, and how both answer to an offset or a scale of the sensors,
// ∫ R dt, ∫ R e_i ω_i dt, ∫ R e_i f_i dt. A block's interval takes rate and
// force at its middle, later by the sensors' own delay, and the mean of the
// rotation's matrix at its ends.
//
// # The error
//
// The error state x holds the turn φ by which the earth frame is wrong (3,
// rad), the horizontal velocity's error δv (2, m/s) and that of the offset δb
// (3, rad/s). Over a block that starts at R, with u = R ∫ R f dt and
// B = R ∫ R dt,
//
//	φ  ← φ - B δb                          + noise
//	δv ← δv + (φ × u)_xy - ½ (B δb × u)_xy + noise
//	δb ← δb                                + noise
//
// A tilt turns the specific force, above all gravity, into a horizontal
// velocity that grows: that is how tilt is seen. The noise is the gyroscope's
// white noise and its scale error times the turn, the accelerometer's white
// noise, and a random walk of the offset; more where the sensors shake, are
// saturated, or a gap was bridged (type transition, block.fill).
//
// What is measured, one number at a time (update.take):
//
//   - with GPS, the velocity at the fixes, each with a variance that the
//     residuals about it give, widened for errors that come in runs; beyond
//     three σ by Huber's weights (P. J. Huber, Ann. Math. Statist. 35, 1964, 73);
//   - without, that the velocity stays about zero, with a variance learnt from
//     the residuals of the last pass over 20 s;
//   - at rest, zero velocity, and the mean rate as the offset.
//
// The two-sided form runs this Kalman filter forward and its adjoint backward
// (A. E. Bryson and M. Frazier, "Smoothing for linear and nonlinear dynamic
// systems", 1963), moves the path by what they find, and repeats until the
// path moves by less than a milliradian.
//
// # GPS
//
// The gyroscope's frame has no north, and receivers report late. Both are
// found before the first aided pass, from the correlation of velocity changes
// over 2 s: the latency for which, window by window, it is greatest, and the
// heading that it then has (heading.go). Stretches that do not agree with the
// GPS are left to the rule without. The latency is refined in every pass by
// regressing the residuals on the acceleration.
//
// # Constant errors
//
// Offset and scale of the accelerometer and scale of the gyroscope are
// estimated together from the innovations, in the directions that a log tells
// three times better than the data sheet; the sensors are then integrated
// again (calibrate.go). What no log tells widens the standard error instead:
// the accelerometer's offset while the orientation stays the same, and axes
// that are not square.
//
// # Checked against
//
// The tests look for open data beside the checkout, in ../shared/data:
//
//   - three trials with an optical reference: D. Laidig, M. Caruso,
//     A. Cereatti, T. Seel, "BROAD – A Benchmark for Robust Inertial
//     Orientation Estimation", Data 6(7), 72, 2021, doi 10.3390/data6070072,
//     CC BY 4.0 (trials 05, 11, 21). Inclination, root mean square, without
//     aid: 0.24°, 0.26°, 0.58°; causal 0.32°, 0.31°, 1.66°.
//   - a simulated vessel with its exact attitude, test data of an open
//     sensor-fusion library for vessels, MIT licence: 0.010°, causal 0.16°.
//   - an aircraft that slows down, with a tactical-grade inertial system: test
//     data of the open angle-of-attack project OnSpeed Gen3, 2024–2026, MIT
//     licence. Pitch from the consumer IMU and GNSS velocity, standard
//     deviation about its mean, 15 s: 0.18°.
//
// "Tuned on the reference trials" at a constant means these; "made sessions"
// are those of motion_test.go and of analysis/simulate.
package attitude

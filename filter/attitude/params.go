package attitude

// Gravity is the acceleration of free fall that the filter reckons with,
// m/s²; a difference of 0.3 % between places changes no inclination.
const Gravity = 9.81

// The balance between gyroscope and gravity for a board, a vessel, a vehicle or
// a hand; what it balances is in the package document. All but the times are
// standard deviations of physical things, those of common MEMS units: none is
// tuned to a log.
const (
	// gyroNoise is the gyroscope's white noise, rad/s/√Hz: over T seconds the
	// frame turns by gyroNoise·√T (1°/√h).
	gyroNoise = 3e-4
	// gyroScaleError is what is proportional to the angle turned (scale,
	// misalignment, timing), as a fraction: a turn by α in one step adds
	// gyroScaleError·|α|.
	gyroScaleError = 0.002
	// biasSD is the gyroscope's offset before anything is known, rad/s (1.7 °/s).
	biasSD = 0.03
	// biasWalk is how the offset wanders, rad/s/√s (0.03 °/s in 100 s: temperature).
	biasWalk = 5e-5
	accNoise = 0.01 // the accelerometer's white noise, m/s²/√Hz
	// accBiasSD is the accelerometer's offset before calibration, m/s². It widens
	// the standard error: no filter sees it while the orientation stays the same.
	accBiasSD = 0.03
	// velocitySD is how far the velocity is from its mean, m/s, where nothing
	// tells it: a first guess for the two-sided form, which estimates it, and
	// the upper end for the causal one.
	velocitySD = 0.5
	// How late the sensors' samples are against their time stamps, s: the group
	// delay of common MEMS units' low-pass filters at their 200 Hz setting.
	gyroDelay, accDelay = 0.0029, 0.0019
	blockStep           = 0.5 // s between corrections
	// aidedStep is the same with GPS, where corrections need not come as fast as
	// where gravity alone tells the path; tuned on made sessions, whose pitch in
	// flight errs as much as with blockStep, and more with 1 s.
	aidedStep = 0.7
	// longestBridge is the longest gap that is bridged, s, holding rate and
	// specific force; a longer one starts a new segment.
	longestBridge = 0.5
)

package attitude

import "fmt"

// Gravity is the acceleration of free fall that the filter reckons with,
// m/s²; a difference of 0.3 % between places changes no inclination.
const Gravity = 9.81

// Params set the balance between gyroscope and gravity; what they balance is in
// the package document. All but the times are standard deviations of physical
// things, with the values of common MEMS units: none is tuned to a log. The
// zero value is not usable: start from [Default].
type Params struct {
	// GyroNoise is the gyroscope's white noise, rad/s/√Hz: over T seconds the
	// frame turns by GyroNoise·√T. Default 3e-4 (1°/√h).
	GyroNoise float64
	// GyroScale is the error that is proportional to the angle turned (scale,
	// misalignment, timing), as a fraction: a turn by α in one step adds
	// GyroScale·|α|. Default 0.002.
	GyroScale float64
	// BiasSD is the gyroscope's offset before anything is known, rad/s.
	// Default 0.03 (1.7 °/s).
	BiasSD float64
	// BiasWalk is how the offset wanders, rad/s/√s. Default 5e-5 (0.03 °/s in
	// 100 s: temperature).
	BiasWalk float64
	// AccNoise is the accelerometer's white noise, m/s²/√Hz. Default 0.01.
	AccNoise float64
	// AccBiasSD is the accelerometer's offset before calibration, m/s². It
	// widens the standard error: no filter sees it while the orientation
	// stays the same. Default 0.03.
	AccBiasSD float64
	// VelocitySD is how far the velocity is from its mean, m/s, where nothing
	// tells it: a first guess for the two-sided form, which estimates it, and
	// the upper end for the causal one. Default 0.5.
	VelocitySD float64
	// GyroDelay and AccDelay are how late the sensors' samples are against
	// their time stamps, s: the group delay of their low-pass filters.
	// Defaults 0.0029 and 0.0019, those of common MEMS units at their
	// 200 Hz setting.
	GyroDelay, AccDelay float64
	// Step is the time between corrections, s. Default 0.5.
	Step float64
	// Bridge is the longest gap that is bridged, s, holding rate and specific
	// force; a longer one starts a new segment. Default 0.5.
	Bridge float64
	// Clipping widens the doubt where a sensor is saturated. Default on.
	Clipping bool
}

// Default returns the parameters for a board, a vessel, a vehicle or a hand.
func Default() Params {
	return Params{
		GyroNoise:  3e-4,
		GyroScale:  0.002,
		BiasSD:     0.03,
		BiasWalk:   5e-5,
		AccNoise:   0.01,
		AccBiasSD:  0.03,
		VelocitySD: 0.5,
		GyroDelay:  0.0029,
		AccDelay:   0.0019,
		Step:       0.5,
		Bridge:     0.5,
		Clipping:   true,
	}
}

// check says what is wrong with p.
func (p *Params) check() error {
	for _, v := range []struct {
		name string
		x    float64
		zero bool
	}{
		{"GyroNoise", p.GyroNoise, false}, {"GyroScale", p.GyroScale, true},
		{"BiasSD", p.BiasSD, false}, {"BiasWalk", p.BiasWalk, true},
		{"AccNoise", p.AccNoise, false}, {"AccBiasSD", p.AccBiasSD, true},
		{"VelocitySD", p.VelocitySD, false}, {"GyroDelay", p.GyroDelay, true},
		{"AccDelay", p.AccDelay, true}, {"Step", p.Step, false}, {"Bridge", p.Bridge, true},
	} {
		if !(v.x > 0 || v.zero && v.x == 0) || v.x > 1e6 {
			return fmt.Errorf("attitude: parameter %s is %g: it must be positive", v.name, v.x)
		}
	}
	return nil
}

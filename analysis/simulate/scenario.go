// Package simulate makes sessions with known truth: a foil, a rider, an outing
// and two devices that log it. The demo and the closed-loop tests use it.
//
// It imports ingest, filter/rotation, analysis/setup, analysis/trim,
// analysis/water and gonum.
package simulate

import (
	"math"
	"time"

	"evenfoot/analysis/trim"
	"evenfoot/analysis/water"
	"evenfoot/ingest"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Deg is one degree in radians.
const Deg = math.Pi / 180

// How the sensor is held.
const (
	Fixed   = "fixed"   // screwed to the board (the default, also "")
	Shifted = "shifted" // fixed, but turned by ShiftBy at ShiftAt
	Loose   = "loose"   // in a pouch: swings by some 20° all the time
	Wrist   = "wrist"   // on the rider's arm
)

// A Scenario is everything that makes a session. Start from [Default] (or
// [Beginner], [Kite], [Calm]) and change fields. Angles are in radians, times
// in seconds since Start on the GPS clock; defaults in brackets are Default's.
type Scenario struct {
	Seed     uint64      // [1] same scenario, same session
	Foil     trim.Inputs // the TRUE foil, rider (zero and scale of the feel too) and water; any shim is in StabIncidence
	Start    time.Time   // [2026-09-20 10:00 UTC]
	Duration float64     // s [2400]

	// The outing.
	Rest       float64    // s lying level on the beach at the start and at the end [40]
	LevelError float64    // rad, the deck's true pitch in Rest [0]
	Carry      float64    // s walked to and from the water [25]
	Swim       float64    // s swimming out and in [15]
	ReachMin   float64    // s, reaches last between the two [35]
	ReachMax   float64    // s [90]
	SpeedLow   float64    // m/s through the water; a reach's mean speed is drawn between the two [6]
	SpeedHigh  float64    // m/s [10.5]
	Variation  float64    // m/s RMS, slow change of speed within a reach [0.5]
	Gust       float64    // m/s² RMS fore-aft acceleration in flight [0.2]; 0.75 is ±1.5 at 2σ
	Taxi       float64    // m/s, taxiing speed [2.4]
	WindFrom   float64    // rad true [220°]
	Angles     [2]float64 // rad, reaches lie between these angles off the wind [60°, 125°]
	Wander     float64    // rad RMS, the course within a reach [3°]
	OneTack    bool       // every reach on starboard tack [false]
	NoFlight   bool       // taxiing only [false]
	TurnHeel   float64    // rad, heel in a flown turn [25°]
	FlownTurns float64    // chance that a turn is flown [0.75]
	Tacks      float64    // chance that a turn goes through the wind, where the angles allow [0.3]
	Touchdowns float64    // per hour of flight [20]
	Breaches   float64    // per hour of flight [6]
	Falls      float64    // per hour of flight [6]
	Pumping    float64    // bouts per hour of flight [10]
	Blows      []Blow     // short ones on the deck; a double knock is two within a second [none]
	Wave       float64    // m, amplitude of the waves [0.1]
	Height     float64    // m, flying height [0.35]
	Sweep      bool       // every reach goes from slow to fast, or back [false]
	Changes    []Changed  // of the trim, ashore, in order of time [none]
	Coast      Coast      // glides [none]

	// Water and rig.
	Flow          [2]float64  // m/s to the east and north [0, 0]
	FlowEnd       *[2]float64 // m/s at the end, linear in time; nil = steady [nil]
	WindwardHeel  float64     // rad, to windward on a reach [6°]
	Leeway        float64     // rad, course to leeward of the heading [1.5°]
	LeewaySpeed   float64     // m/s where leeway is Leeway: it falls as 1/V² from there; 0 = the same at all speeds [0]
	LeewayOnPitch float64     // 0..1, how much of β sin φ acts on the angle of attack [0]
	SidePull      float64     // 0..1, the rig's side force as a share of what balances the heel, m g tan φ: the foil carries it too [0]
	TackZero      float64     // rad, added to pitch on starboard tack, taken off on port [0]
	ZeroDrift     float64     // rad per hour, added to pitch in flight [0]

	// The rider's control.
	Control          float64 // rad RMS of the path angle that the rider fails to hold [0.35°]
	ControlPerMoment float64 // rad RMS more per N·m of net moment on the feet [0.006°]
	PitchNoise       float64 // rad RMS of pitch off the law: eddies, unsteady flow [0.2°]

	// The board logger.
	NoIMU        bool          // leave the IMU out of the logs [false]
	IMURate      float64       // Hz [100]
	IMUStart     float64       // s, first sample [0]
	IMUEnd       float64       // s, last sample; 0 = to the end [0]
	IMUGaps      []ingest.Span // samples lost [none]
	ClockOffset  float64       // s, IMU clock minus GPS clock at mid-session [0]
	DriftPPM     float64       // IMU clock fast by parts per million [0]
	MountBend    float64       // rad per m/s, bow-up: how far the mount bends as the flight is faster than usual [0]
	Mounting     string        // Fixed, Shifted, Loose, Wrist [Fixed]
	Mount        quat.Number   // sensor to board [35° yaw, 8° pitch, -5° roll]
	ShiftAt      float64       // s, when a Shifted sensor moves; 0 = half-way [0]
	ShiftBy      float64       // rad, about an axis between bow and port [20°]
	Lever        r3.Vec        // m, sensor in board axes from the deck over the mast [0.35, 0.08, 0.03]
	AccSign      int           // -1 = the logger reports the opposite sign [+1]
	GyroSign     int           // -1 = left-handed gyroscope [+1]
	GyroBias     [3]float64    // rad/s at the start [0.5, -0.4, 0.3 °/s]
	GyroDrift    float64       // rad/s RMS, slow change of each bias over ten minutes [0.05 °/s]
	GyroNoise    float64       // rad/s RMS a sample [0.1 °/s]
	GyroScale    float64       // relative error of scale [0.003]
	AccBias      [3]float64    // m/s² [0.05, -0.03, 0.04]
	AccNoise     float64       // m/s² RMS a sample [0.03]
	AccScale     float64       // relative error of scale [0.002]
	Vibration    float64       // m/s² RMS in flight; more when taxiing [0.5]
	AccStep      float64       // m/s², quantisation [0.0048]
	GyroStep     float64       // rad/s, quantisation [0.061 °/s]
	Origin       [2]float64    // deg latitude and longitude of the start [46.3, 86.7]
	GPSRate      float64       // Hz [1]
	GPSLatency   float64       // s, a fix tells of so long ago [0.3]
	VelocitySD   float64       // m/s RMS per component, correlated over 3 s [0.1]
	PositionSD   float64       // m RMS per component, correlated over 60 s [2]
	PositionFuzz float64       // m RMS per component, from fix to fix [0.05]
	PositionOnly bool          // the receiver gives no speed or course [false]
	GPSGaps      []ingest.Span // fixes lost [none]
	GPSSpikes    int           // wild fixes, flagged as a reader would [0]

	Feet Feet // insoles and mast [none]
	Gear Gear // what the rider writes down
}

// A Blow is a change of the board's velocity within hundredths of a second.
type Blow struct {
	At   float64 // s
	Size float64 // m/s, downwards: a foot's 3 N·s on a board of 11 kg are 0.27
}

// blowLength is how long a blow lasts, and blowFades how soon the rider's legs
// and the foil take it up, s.
const blowLength, blowFades = 0.02, 0.1

// blow is the deck's acceleration at time t by the blows, m/s² up.
func (sc *Scenario) blow(t float64) (a float64) {
	for _, b := range sc.Blows {
		switch u := (t - b.At) / blowLength; {
		case u > 0 && u < 1:
			a -= b.Size / blowLength * math.Pi / 2 * math.Sin(math.Pi*u)
		case u >= 1 && u < 50:
			a += b.Size / blowFades * math.Exp((1-u)*blowLength/blowFades)
		}
	}
	return a
}

// Changed is a change of the trim within the outing, counted from its start.
type Changed struct {
	At     float64 // s
	Change trim.Change
}

// partAt is how many changes were made by a time, s, and changeAt the last of them.
func (sc *Scenario) partAt(t float64) (n int) {
	for n < len(sc.Changes) && t >= sc.Changes[n].At {
		n++
	}
	return n
}

func (sc *Scenario) changeAt(t float64) (c trim.Change) {
	if n := sc.partAt(t); n > 0 {
		c = sc.Changes[n-1].Change
	}
	return c
}

// Gear is what goes into the setup besides the foil's numbers.
type Gear struct {
	Title    string
	Name     string  // an invented rider
	Height   float64 // m [1.78]
	Level    string  // [advanced]
	Rig      string  // [wing]
	Mount    string  // "top" | "bottom" [top]
	Shim     float64 // m, fitted; already in Foil.StabIncidence [0]
	ShimSpan float64 // m [0.05]
	Track    [2]float64
	Water    string  // [sea]
	Temp     float64 // °C [18]
	// Stated is what the rider believes the foil to be; nil = the truth. Its
	// StabIncidence includes the shim, as Foil's does.
	Stated *trim.Inputs
	// StatedCurrent is the flow the rider writes down, m/s east and north; nil = none.
	StatedCurrent *[2]float64
	// Leave holds setup keys to leave out, such as "foil.wing.camber_percent".
	Leave []string
}

// DefaultFoil is an 80 kg rider on a mid-sized foil whose stabilizer pushes
// down a little more than it needs to.
func DefaultFoil() trim.Inputs {
	w := water.Of("sea", 18)
	return trim.Inputs{
		RiderMass: 80, BoardMass: 11, BoardCG: 0.10, DeckHeight: 0.10,
		FrontFoot: 0.33, BackFoot: -0.20, RigLiftFraction: 0.08,
		Mast: 0.85, Depth: 0.42, MastChord: 0.13, MastThickness: 0.015,
		WingArea: 0.13, WingSpan: 0.95, WingX: 0.10, CamberPercent: 3,
		WingIncidence: 1 * Deg, WingThickness: 0.12,
		StabArea: 0.022, StabSpan: 0.40, StabArm: 0.70,
		StabIncidence: -1.5 * Deg, StabThickness: 0.10,
		Oswald: 0.9, LaminarFraction: 0.1,
		Density: w.Density, Viscosity: w.Viscosity,
	}
}

// Default is a 40-minute outing of a capable rider, a 1 Hz watch and a 100 Hz
// logger on one clock.
func Default() Scenario {
	return Scenario{
		Seed: 1, Foil: DefaultFoil(),
		Start:    time.Date(2026, 9, 20, 10, 0, 0, 0, time.UTC),
		Duration: 2400,
		Rest:     40, Carry: 25, Swim: 15,
		ReachMin: 35, ReachMax: 90, SpeedLow: 6, SpeedHigh: 10.5,
		Variation: 0.5, Gust: 0.2, Taxi: 2.4,
		WindFrom: 220 * Deg, Angles: [2]float64{60 * Deg, 125 * Deg}, Wander: 3 * Deg,
		TurnHeel: 25 * Deg, FlownTurns: 0.75, Tacks: 0.3,
		Touchdowns: 20, Breaches: 6, Falls: 6, Pumping: 10,
		Wave: 0.1, Height: 0.35,
		WindwardHeel: 6 * Deg, Leeway: 1.5 * Deg,
		Control: 0.35 * Deg, ControlPerMoment: 0.006 * Deg, PitchNoise: 0.2 * Deg,
		IMURate: 100, Mounting: Fixed,
		Mount:   Euler(35*Deg, 8*Deg, -5*Deg),
		ShiftBy: 20 * Deg, Lever: r3.Vec{X: 0.35, Y: 0.08, Z: 0.03},
		AccSign: 1, GyroSign: 1,
		GyroBias:  [3]float64{0.5 * Deg, -0.4 * Deg, 0.3 * Deg},
		GyroDrift: 0.05 * Deg, GyroNoise: 0.1 * Deg, GyroScale: 0.003,
		AccBias: [3]float64{0.05, -0.03, 0.04}, AccNoise: 0.03, AccScale: 0.002,
		Vibration: 0.5, AccStep: 0.0048, GyroStep: 0.061 * Deg,
		// Desert, at the point of land that is farthest from any sea: water
		// there is invented, so this is nobody's beach.
		Origin:  [2]float64{46.3, 86.7},
		GPSRate: 1, GPSLatency: 0.3, VelocitySD: 0.1, PositionSD: 2, PositionFuzz: 0.05,
		Gear: Gear{
			Title: "Simulated outing", Name: "Ines", Height: 1.78, Level: "advanced",
			Rig: "wing", Mount: "top", ShimSpan: 0.05, Track: [2]float64{-0.04, 0.05},
			Water: "sea", Temp: 18,
		},
	}
}

// Calm is Default with little wind change, no waves and no mishaps.
func Calm() Scenario {
	sc := Default()
	sc.Variation, sc.Gust, sc.Wave = 0.3, 0.1, 0.02
	sc.Touchdowns, sc.Breaches, sc.Falls, sc.Pumping = 0, 0, 0, 0
	sc.FlownTurns = 1
	return sc
}

// Rough is Default in gusts of ±1.5 m/s² and waves, as hard as it gets.
func Rough() Scenario {
	sc := Default()
	sc.Variation, sc.Gust, sc.Wave, sc.Pumping = 0.8, 0.75, 0.25, 30
	sc.Vibration = 1
	return sc
}

// Beginner is a heavy rider on a big slow foil: short flights, many falls,
// hardly a turn flown.
func Beginner() Scenario {
	sc := Default()
	f := &sc.Foil
	f.RiderMass, f.WingArea, f.WingSpan = 92, 0.21, 1.05
	f.StabArea, f.StabSpan = 0.028, 0.45
	sc.SpeedLow, sc.SpeedHigh, sc.Taxi = 4.2, 5.6, 1.9
	sc.ReachMin, sc.ReachMax = 20, 60
	sc.Angles = [2]float64{75 * Deg, 115 * Deg}
	sc.Variation, sc.FlownTurns, sc.Tacks, sc.TurnHeel = 0.3, 0.05, 0, 15*Deg
	sc.Touchdowns, sc.Breaches, sc.Falls = 50, 20, 45
	sc.Control, sc.Wander = 0.8*Deg, 5*Deg
	sc.Gear.Level = "beginner"
	return sc
}

// Kite is a fast rider on a small race foil under a kite, with a 10 Hz receiver.
func Kite() Scenario {
	sc := Default()
	f := &sc.Foil
	f.RiderMass, f.RigLiftFraction, f.FrontFoot, f.BackFoot = 88, 0.25, 0.42, -0.05
	f.Mast, f.Depth, f.WingX = 1.03, 0.60, 0.12
	f.WingArea, f.WingSpan, f.CamberPercent = 0.065, 0.78, 2
	f.StabArea, f.StabSpan, f.StabArm = 0.012, 0.36, 0.62
	sc.SpeedLow, sc.SpeedHigh, sc.Taxi = 9.5, 16, 3.5
	sc.Angles = [2]float64{50 * Deg, 140 * Deg}
	sc.WindwardHeel, sc.Leeway = 18*Deg, 2*Deg
	sc.Height, sc.GPSRate = 0.43, 10
	sc.Tacks, sc.FlownTurns = 0.5, 0.9
	sc.Gear.Rig = "kite"
	return sc
}

// Euler is the board attitude, or a mount, from yaw (counterclockwise from
// above), pitch (bow-up) and roll (starboard down): turns body vectors into
// the outer frame.
func Euler(yaw, pitch, roll float64) quat.Number {
	sy, cy := math.Sincos(yaw / 2)
	sp, cp := math.Sincos(-pitch / 2)
	sr, cr := math.Sincos(roll / 2)
	return quat.Number{
		Real: cy*cp*cr + sy*sp*sr,
		Imag: cy*cp*sr - sy*sp*cr,
		Jmag: cy*sp*cr + sy*cp*sr,
		Kmag: sy*cp*cr - cy*sp*sr,
	}
}

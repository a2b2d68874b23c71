package align

// A Kind names what was found. Package report/words says it in words.
type Kind string

// A Finding is what was found, or why something could not be: a Kind with its
// numbers. The zero value is no finding.
type Finding struct {
	Kind  Kind    `json:"-"`
	At    float64 `json:"at_s,omitempty"`    // s, when, on the log's clock
	Until float64 `json:"until_s,omitempty"` // s, end of what lasts
	// Angles, rad: of the sensor against the board, or standard deviations of what swings.
	Turn    float64 `json:"turn_rad,omitempty"`
	Pitch   float64 `json:"pitch_rad,omitempty"`
	Heel    float64 `json:"heel_rad,omitempty"`
	Heading float64 `json:"heading_rad,omitempty"`
	Sway    float64 `json:"sway_rad,omitempty"` // 1σ of the vertical within a still stretch
	// Clocks, s: an offset of IMU minus GPS, and another that fits, or its doubt at 90 %.
	Offset      float64 `json:"offset_s,omitempty"`
	Other       float64 `json:"other_s,omitempty"`
	Correlation float64 `json:"correlation,omitempty"`
	Count       int     `json:"count,omitempty"`  // fixes, shifts, stretches or seconds
	Needed      float64 `json:"needed,omitempty"` // the least that Count, Correlation or time had to reach
	Speed       float64 `json:"speed_mps,omitempty"`
	// Of is the finding that this one rests on.
	Of *Finding `json:"of,omitempty"`
}

// Clock: why the offset cannot be told.
const (
	IMUTooShort    Kind = "imu too short"
	FewFixes       Kind = "few fixes"       // Count, Needed
	HardlyMoves    Kind = "hardly moves"    // Count s faster than Speed, Needed s
	TooLong        Kind = "too long"        // Until: s spanned
	NeverTogether  Kind = "never together"  // Offset searched to either side, Needed s
	MotionDiffers  Kind = "motion differs"  // best Correlation, at Offset
	SeveralOffsets Kind = "several offsets" // Offset, Other
	FewTurns       Kind = "few turns"       // rough Offset, Other: ± s where it is known
	Disagree       Kind = "disagree"        // at Offset, Correlation, Needed
)

// Signs of the sensor that were put right.
const (
	LeftHanded       Kind = "left handed"
	AccelerometerNeg Kind = "accelerometer negated"
	GyroscopeNeg     Kind = "gyroscope negated"
)

// Mount: why it was refused, or what is to be known of it.
const (
	OffBoard       Kind = "off board"       // nothing in common with the GPS
	Loose          Kind = "loose"           // from At: swings of Pitch, Heel, Heading
	Moved          Kind = "moved"           // At, Turn
	ShiftedOften   Kind = "shifted often"   // Count, first At, Turn
	Shifted        Kind = "shifted"         // At, Turn; the mount was found anew
	PartRefused    Kind = "part refused"    // from At, Of: why
	OneTack        Kind = "one tack"        // heel and leeway did not average out
	NoGPS          Kind = "no gps"          // the bow cannot be told
	NoMotion       Kind = "no motion"       // the same: the GPS does not move
	NotInCommon    Kind = "not in common"   // the same: the motions differ
	LittleStraight Kind = "little straight" // the same: Count s of straight riding
)

// Level: where the zero comes from, or why there is none.
const (
	LevelStill      Kind = "still"         // At..Until, Heel, Sway; Count more agree within Pitch
	LevelDiffers    Kind = "stills differ" // Count stretches, the first At..Until, differ by Pitch
	LevelSetup      Kind = "setup"
	LevelEqualPitch Kind = "equal pitch" // at equal speed, with the part whose zero is Of
	NoStill         Kind = "no still"
	NotLevel        Kind = "not level" // still At..Until, but Heel and Pitch against flight
	BowUnknown      Kind = "bow unknown"
)

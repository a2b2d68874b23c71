// Package ingest reads the logs that a rider brings (FIT, GPX, NMEA 0183, CSV, gzip of
// any) into one [Log] in SI units, and says exactly what it found and what it
// had to leave out.
//
// It knows nothing of boards or foils and imports nothing of this module outside
// its own folder: the readers of one format each (fit, gpx, csv), which hand on
// columns as they stand in the file (raw); what goes for all of them, mending
// and merging, is here.
package ingest

import (
	"slices"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// What the readers hand on of a file.
type (
	Span    = raw.Span
	File    = raw.File
	Mark    = raw.Mark
	Channel = raw.Channel
	Dropped = raw.Dropped
	Warning = raw.Warning
)

// A Log is what the files of one outing hold. Times are seconds since Start;
// vectors are in the sensor's own frame. Columns of one group share a length.
type Log struct {
	Start    time.Time // UTC at time zero; the zero Time when no file told a date
	IMU      IMU
	GPS      GPS
	Decks    []Deck // one a file that has foot forces or a mast's moment
	Clock    Clock
	Files    []File
	Warnings []Warning
	Marks    []Mark // what riders and devices noted, in order of At, which counts from Start; Time is by the device's clock

	// What Merge needs of a log that is one part of an outing.
	gyrOnly raw.Series // a gyroscope without an accelerometer
	foot    raw.Series // the force of one foot, left or right, without the other
	zero    float64    // s taken off the times of a log without a date
	noZone  bool       // Start is a local time of a zone that is not known
}

// IMU holds accelerometer and gyroscope on one time base. Where a device
// stamps the two apart, the gyroscope is brought to the accelerometer's times.
type IMU struct {
	Time []float64    // s since Log.Start (on the IMU's clock until Clock.Tied), strictly increasing
	Acc  [3][]float32 // specific force, m/s²; +9.81 on the up axis at rest
	Gyr  [3][]float32 // angular rate, rad/s, right-handed; all NaN where the log has no gyroscope
	Gaps []Span       // spans in which samples are missing: longer than 5 sample periods, at least 0.25 s
	Rate float64      // Hz, usual
	File int          // index into Log.Files

	GyrGuess string // the gyroscope's unit where the file does not tell it
}

// GPS holds the receiver's fixes.
type GPS struct {
	Time   []float64 // s since Log.Start, strictly increasing
	Lat    []float64 // deg, WGS 84; NaN where a fix has speed only
	Lon    []float64 // deg
	Alt    []float32 // m; NaN where unknown
	Speed  []float32 // m/s over ground; never NaN unless flagged
	Course []float32 // deg true, direction of travel, 0..360; NaN where unknown (or at rest)
	Flags  []Flag    // what is doubtful about a fix
	Gaps   []Span
	Rate   float64 // Hz, median
	// SpeedFrom says where Speed came from: [FromReceiver] or [FromPositions].
	SpeedFrom string
	// SpeedSD is the documented 1σ error of Speed, m/s.
	SpeedSD float64
	File    int
}

// Where speeds come from.
const (
	FromReceiver  = "receiver"
	FromPositions = "positions"
)

// A Deck is what presses on the board: the feet and the mast. It never bears
// on rides or pitch; a clock of its own is left to the analysis.
type Deck struct {
	Time   []float64    // s since Log.Start; by the file's own clock unless SharesClock
	Feet   [2][]float32 // N, front and back, or left and right where Sides; NaN where unknown
	Moment []float32    // N·m, of the foil about the mast's head, bow-up; NaN where unknown
	Sides  bool
	Gaps   []Span
	Rate   float64 // Hz, median
	File   int
}

// HasFeet says whether the forces of both feet are there, HasMoment the moment.
func (d *Deck) HasFeet() bool { return told(d.Feet[0]) }

func (d *Deck) HasMoment() bool { return told(d.Moment) }

// told says whether any value of a column is known.
func told(col []float32) bool {
	return slices.ContainsFunc(col, func(v float32) bool { return v == v })
}

// unknown is a column of n values that are not known.
func unknown(n int) []float32 { return slices.Repeat([]float32{float32(raw.NaN)}, n) }

// SharesClock says whether a file's samples are stamped beside motion or fixes.
func (l *Log) SharesClock(file int) bool {
	f := &l.Files[file]
	return f.Has(unit.SensorNames[unit.Acc]) || f.Has("position") || f.Has("speed")
}

// A Flag marks what is doubtful about a GPS fix; analysis leaves flagged fixes out.
type Flag uint8

const (
	FlagSpike Flag = 1 << iota // speed or position that no motion explains
	FlagStale                  // the receiver repeated an old fix
	FlagJump                   // position leaps although speed does not
)

// A Tie is how two clocks are known to stand to each other; "" when they are
// not.
type Tie string

const (
	OneDevice Tie = "one device"
	BothUTC   Tie = "both UTC"
	ByMotion  Tie = "estimated from the motion"
	Unchecked Tie = "both UTC, not checked"
)

// Clock says how the IMU's clock is tied to GPS time.
type Clock struct {
	Tied     bool // IMU.Time and GPS.Time may be compared
	How      Tie
	OffsetS  float64 // IMU clock minus GPS clock at mid-log, s, already taken out of IMU.Time when Tied
	OffsetSE float64 // 1σ, s; NaN when not estimated
	DriftPPM float64 // IMU clock's drift against GPS, parts per million, already taken out
	DriftSE  float64
}

// untied is the clock of a log with one of IMU and GPS.
var untied = Clock{OffsetSE: raw.NaN, DriftSE: raw.NaN}

// Length is the last time of a fix or a sample, s since the start.
func (l *Log) Length() float64 {
	last := 0.0
	for _, t := range [][]float64{l.GPS.Time, l.IMU.Time} {
		if n := len(t); n > 0 {
			last = max(last, t[n-1])
		}
	}
	return last
}

// End is when a log with a date ends.
func (l *Log) End() time.Time { return l.Start.Add(time.Duration(l.Length() * float64(time.Second))) }

// LocalDate says that Start is a local time of a zone that the file does not tell.
func (l *Log) LocalDate() bool { return l.noZone }

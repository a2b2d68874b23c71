// Package ingest reads the logs that a rider brings (FIT, GPX, CSV, gzip of
// any) into one [Log] in SI units, and says exactly what it found and what it
// had to leave out.
//
// It knows nothing of boards or foils and imports nothing of this module.
package ingest

import "time"

// A Log is what the files of one outing hold. Times are seconds since Start;
// vectors are in the sensor's own frame. Columns of one group share a length.
type Log struct {
	Start    time.Time // UTC at time zero; the zero Time when no file told a date
	IMU      IMU
	GPS      GPS
	Clock    Clock
	Files    []File
	Warnings []Warning

	// What Merge needs of a log that is one part of an outing.
	gyrOnly series  // a gyroscope without an accelerometer
	zero    float64 // s taken off the times of a log without a date
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
	// SpeedFrom says where Speed came from: "receiver" or "positions".
	SpeedFrom string
	// SpeedSD is the documented 1σ error of Speed, m/s.
	SpeedSD float64
	File    int
}

// A Flag marks what is doubtful about a GPS fix; analysis leaves flagged fixes out.
type Flag uint8

const (
	FlagSpike Flag = 1 << iota // speed or position that no motion explains
	FlagStale                  // the receiver repeated an old fix
	FlagJump                   // position leaps although speed does not
)

// A Span is a stretch of time, seconds since Log.Start.
type Span struct{ Start, End float64 }

// Clock says how the IMU's clock is tied to GPS time.
type Clock struct {
	Tied     bool    // IMU.Time and GPS.Time may be compared
	How      string  // "one device", "both UTC", "estimated from the motion", "stated", ""
	OffsetS  float64 // IMU clock minus GPS clock at mid-log, s, already taken out of IMU.Time when Tied
	OffsetSE float64 // 1σ, s; NaN when not estimated
	DriftPPM float64 // IMU clock's drift against GPS, parts per million, already taken out
	DriftSE  float64
}

// A File is what was found in one input.
type File struct {
	Name      string    `json:"name"` // as the user named it
	Kind      string    `json:"kind"` // "FIT", "GPX", "CSV"
	Gzip      bool      `json:"gzip"`
	Bytes     int64     `json:"bytes"`
	Device    string    `json:"device"` // maker and product as the file tells them, or ""
	Channels  []Channel `json:"channels"`
	First     time.Time `json:"first,omitzero"` // zero when the file tells no date
	Last      time.Time `json:"last,omitzero"`
	DurationS float64   `json:"duration_s"` // first to last sample, s
	Read      int       `json:"read"`       // samples kept
	Dropped   []Dropped `json:"dropped"`
	Marks     []Mark    `json:"marks,omitempty"` // sessions, laps and the timer's stops, as the device noted them
}

// A Mark is what a device noted besides samples.
type Mark struct {
	Time time.Time `json:"time,omitzero"` // UTC, its beginning; zero without a date
	Kind string    `json:"kind"`          // "session", "lap", "start", "stop"
	What string    `json:"what"`          // in words: "session (windsurfing), 35 min 00 s"
}

// A Channel is one kind of measurement in a file.
type Channel struct {
	Name        string  `json:"name"` // "accelerometer", "gyroscope", "magnetometer", "position", "speed", "course", "altitude"
	Unit        string  `json:"unit"` // the file's own unit, as read
	Samples     int     `json:"samples"`
	RateHz      float64 `json:"rate_hz"` // usual; 0 when it cannot be told
	Gaps        int     `json:"gaps"`
	LongestGapS float64 `json:"longest_gap_s"`
}

// Dropped counts samples that were left out for one reason.
type Dropped struct {
	Count  int    `json:"count"`
	Reason string `json:"reason"`
}

// A Warning is something the user should know about one place in a file.
type Warning struct {
	File string `json:"file"`           // as the user named it; "" for the log as a whole
	Line int    `json:"line,omitempty"` // 1-based; 0 when not a text file
	Byte int64  `json:"byte"`           // 0-based offset; -1 when unknown
	What string `json:"what"`           // what is wrong and what was done, one plain sentence

	lacks string // the channel that the file lacks and another may bring; Merge then drops the warning
}

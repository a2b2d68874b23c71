package raw

import (
	"slices"
	"time"
)

// A Span is a stretch of time, seconds since Log.Start.
type Span struct{ Start, End float64 }

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
	Marks     []Mark    `json:"marks,omitempty"` // in the order of the file
}

// Has says whether the file has a channel of that name.
func (f *File) Has(channel string) bool {
	return slices.ContainsFunc(f.Channels, func(c Channel) bool { return c.Name == channel })
}

// A Mark is a moment that the rider or a device noted.
type Mark struct {
	Time time.Time `json:"time,omitzero"` // UTC, its beginning; zero without a date
	At   float64   `json:"at_s"`          // the same, s since the start of the samples
	Kind MarkKind  `json:"kind"`
	Text string    `json:"text"` // the sport, the name of a waypoint, what the file says; may be ""
	// LengthS is how long a session or lap lasted, s; 0 when it is not told.
	LengthS float64 `json:"length_s,omitempty"`
	File    int     `json:"-"` // index into the log's files: whose clock it is by
	Behind  int     `json:"-"` // how many of Columns.Backs stand before it in the file
}

// A MarkKind says who or what set a mark.
type MarkKind string

const (
	Session  MarkKind = "session"
	Lap      MarkKind = "lap"
	Started  MarkKind = "start" // of the device's timer
	Stopped  MarkKind = "stop"
	Press    MarkKind = "press"    // of the lap key
	Noted    MarkKind = "mark"     // a column of marks, the device's own marker
	Waypoint MarkKind = "waypoint" // set with its time
	Knock    MarkKind = "knock"    // a double knock on the deck; found by the analysis
)

// ByRider says whether the rider set it, rather than the device.
func (k MarkKind) ByRider() bool {
	return k == Press || k == Noted || k == Waypoint || k == Knock
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
	Count  int      `json:"count"`
	Reason Kind     `json:"reason"`
	Sensor string   `json:"sensor,omitempty"` // whose samples; "" for whole records
	Text   []string `json:"text,omitempty"`   // of NotUsed: which messages, and how many
}

// A Warning is something the user should know about one place in a file: what
// it is, where, and the numbers. Its [Kind] tells which of the fields count;
// the sentence is made where it is shown.
type Warning struct {
	Kind   Kind      `json:"-"`
	File   string    `json:"file,omitempty"`   // as the user named it; "" for the log as a whole
	Line   int       `json:"line,omitempty"`   // from 1; 0 where it is not known
	Byte   int64     `json:"byte,omitempty"`   // offset; 0 where it is not known
	Count  int       `json:"count,omitempty"`  // of samples, bytes or what the kind says
	Sensor string    `json:"sensor,omitempty"` // "accelerometer", "gyroscope", "GPS"
	Text   []string  `json:"text,omitempty"`   // what stands in the file: a value, a column
	Values []float64 `json:"values,omitempty"` // SI
	At     float64   `json:"at_s,omitempty"`   // s of the log
	Time   time.Time `json:"time,omitzero"`    // the same in UTC, where the log has a date
	// More, in place of all else, counts further warnings of the kind.
	More int `json:"more,omitempty"`
	// Lacks is the channel that the file lacks and another may bring; Merge then
	// drops the warning.
	Lacks string `json:"-"`
}

package raw

import (
	"fmt"
	"strings"
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

	Lacks string `json:"-"` // the channel that the file lacks and another may bring; Merge then drops the warning
}

// String is the warning in one line: file, line or byte, and what.
func (w Warning) String() string {
	var b strings.Builder
	b.WriteString(w.File)
	if w.Line > 0 {
		fmt.Fprintf(&b, ", line %d", w.Line)
	} else if w.Byte >= 0 && w.File != "" {
		fmt.Fprintf(&b, ", byte %d", w.Byte)
	}
	if b.Len() > 0 {
		b.WriteString(": ")
	}
	b.WriteString(w.What)
	return b.String()
}

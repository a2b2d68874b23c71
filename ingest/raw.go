package ingest

import "time"

// A raw is what one file's reader hands on: columns in file order, already in
// SI units, nothing mended yet. Times are seconds since start (or since the
// log's own zero when start is the zero Time).
type raw struct {
	file     File // Name, Kind, Device and Dropped; the rest is filled in later
	start    time.Time
	acc      series // m/s²
	gyr      series // rad/s
	mag      series // µT
	gps      fixes
	warnings []Warning
}

// A series is one three-axis sensor on its own time base.
type series struct {
	time []float64
	v    [3][]float32
	unit string // the file's own unit
}

// fixes are GPS records; NaN where a record lacks a value.
type fixes struct {
	time     []float64
	lat, lon []float64
	alt      []float32
	speed    []float32 // m/s, NaN when the receiver gave none
	course   []float32 // deg true
	// speedUnit is the file's own unit of speed; "" stands for m/s.
	speedUnit string
	// speedColumn is the header of the speed's column, "" where the format has
	// none; speedMapped says that a column map gave its unit.
	speedColumn string
	speedMapped bool
	// computed says that the file tells its speeds were computed from positions.
	computed bool
}

// Options of reading.
type Options struct {
	Map *Map // column map for a foreign CSV; nil = NAME.map.toml beside the log if there is one
	// MaxBytes bounds what one file may expand to; 0 means the default of 4 GiB.
	MaxBytes int64
}

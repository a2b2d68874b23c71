package ingest

import (
	"math"
	"reflect"
	"slices"

	"evenfoot/ingest/raw"

	"gonum.org/v1/gonum/spatial/r3"
)

// Together says how several logs fit: one is the log that they make, with the
// warnings that concern more than one of them, nil for a single log. own are
// the warnings of each that hold beside the others: what one lacks and another
// brings is no fault.
func Together(logs []*Log) (one *Log, own [][]Warning) {
	var each []Warning
	for _, l := range logs {
		own = append(own, l.Warnings)
		each = append(each, l.Warnings...)
	}
	if len(logs) < 2 {
		return nil, own
	}
	merged, err := Merge(logs)
	if err != nil {
		return &Log{Warnings: []Warning{{Kind: raw.NotOneOuting, Text: []string{err.Error()}}}}, own
	}
	for i := range own {
		own[i] = slices.DeleteFunc(slices.Clone(own[i]), func(w Warning) bool { return !holds(merged.Warnings, w) })
	}
	one = &Log{Start: merged.Start, Clock: merged.Clock, Files: merged.Files}
	for _, w := range merged.Warnings {
		if !holds(each, w) {
			one.Warnings = append(one.Warnings, w)
		}
	}
	return one, own
}

func holds(ws []Warning, w Warning) bool {
	return slices.ContainsFunc(ws, func(x Warning) bool { return reflect.DeepEqual(x, w) })
}

// A Lack is an answer that logs cannot give, and what they lack for it.
type Lack struct {
	Answer Answer `json:"answer"`
	For    Want   `json:"for_want_of"`
}

// An Answer is what logs are read for.
type Answer string

const (
	SpeedAnswer   Answer = "speed"
	PitchAnswer   Answer = "pitch"
	AbsolutePitch Answer = "absolute pitch" // from a deck that lay level
)

// A Want is what an answer lacks.
type Want string

const (
	WantFixes Want = "positions or speeds"
	WantAcc   Want = "an accelerometer"
	WantGyr   Want = "a gyroscope"
	WantRest  Want = "a rest"
)

// Lacks lists what logs of one outing lack for each answer.
func Lacks(logs ...*Log) []Lack {
	out := []Lack{}
	has := func(f func(l *Log) bool) bool { return slices.ContainsFunc(logs, f) }
	if !has(func(l *Log) bool { return len(l.GPS.Time) > 0 }) {
		out = append(out, Lack{SpeedAnswer, WantFixes})
	}
	switch {
	case !has(func(l *Log) bool { return len(l.IMU.Time) > 0 }):
		out = append(out, Lack{PitchAnswer, WantAcc})
	case !has(func(l *Log) bool { return l.IMU.hasGyro() || len(l.gyrOnly.Time) > 0 }):
		out = append(out, Lack{PitchAnswer, WantGyr})
	case !has(func(l *Log) bool { return longestRest(&l.IMU) >= restLeast }):
		out = append(out, Lack{AbsolutePitch, WantRest})
	}
	return out
}

// What a sensor that lies still shows.
const (
	restLeast   = 10.0 // s, the least that the analysis takes a level deck from
	restBlock   = 1.0  // s
	restScatter = 0.2  // m/s² RMS within a block: no more, the sensor's own noise
	restDrift   = 0.06 // m/s², what a block's mean may be from the first's
)

// longestRest is the longest time that the accelerometer lay still, s.
func longestRest(u *IMU) (longest float64) {
	var first r3.Vec
	from := math.Inf(1) // s, where the rest began
	for r := range blocks(u.Time, restBlock) {
		mean, scatter := moments(&u.Acc, r)
		if !(scatter < restScatter*restScatter) {
			from = math.Inf(1)
			continue
		}
		if start := u.Time[r.a]; from > start || r3.Norm(r3.Sub(mean, first)) > restDrift {
			from, first = start, mean
		}
		longest = max(longest, u.Time[r.b-1]-from)
	}
	return longest
}

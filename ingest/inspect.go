package ingest

import (
	"reflect"
	"slices"

	"evenfoot/ingest/raw"
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

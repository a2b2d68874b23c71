package analysis

import (
	"cmp"
	"slices"
	"time"

	"evenfoot/analysis/interval"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

// A Mark is a moment that the rider set.
type Mark struct {
	At   interval.Number `json:"at_s"`
	Time *time.Time      `json:"time"` // null when the log has no date
	Kind raw.MarkKind    `json:"kind"`
	Text string          `json:"text"`
}

// riderMarks are the marks that the rider set, double knocks on the deck among
// them, in order of time.
func (o *observation) riderMarks() []ingest.Mark {
	var out []ingest.Mark
	for _, m := range o.log.Marks {
		if m.Kind.ByRider() {
			out = append(out, m)
		}
	}
	for _, t := range o.ride.Knocks(o.motion) {
		out = append(out, ingest.Mark{At: t, Kind: raw.Knock, File: o.log.IMU.File})
	}
	slices.SortStableFunc(out, func(a, b ingest.Mark) int { return cmp.Compare(a.At, b.At) })
	return out
}

// describeMarks hands the marks on. Their times are by the log's clock, which
// is the receiver's where there is one.
func (o *observation) describeMarks(r *Result) {
	for _, m := range o.marks {
		j := Mark{At: num(m.At), Kind: m.Kind, Text: m.Text}
		if !o.log.Start.IsZero() {
			t := o.log.Start.Add(time.Duration(m.At * float64(time.Second))).Round(time.Millisecond).UTC()
			j.Time = &t
		}
		r.Marks = append(r.Marks, j)
	}
}

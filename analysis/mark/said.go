package mark

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

// said lists what riders marked in the log, knocks at times s among it, and the
// moments of the setup.
func said(log *ingest.Log, s *setup.Setup, knocks []float64) []Mark {
	var marks []Mark
	agreed, pressed := setup.Sense{}, setup.Sense{Said: setup.Even}
	if s != nil && s.Marks.Means.Said != "" {
		agreed, pressed = s.Marks.Means, s.Marks.Means
	}
	for _, m := range log.Marks {
		if !m.Kind.ByRider() {
			continue
		}
		says := agreed
		switch own, err := setup.ParseSense(m.Text); {
		case bare(m.Text):
			says = pressed
		case strings.EqualFold(strings.TrimSpace(m.Text), setup.Gliding):
			says = setup.Sense{Said: setup.Gliding}
		case err == nil:
			says = own
		case m.Kind == raw.Press || m.Kind == raw.Lap:
			says = pressed
		}
		marks = append(marks, Mark{At: interval.Number(m.At), Kind: m.Kind, Text: m.Text, Says: says})
	}
	for _, at := range knocks {
		marks = append(marks, Mark{At: interval.Number(at), Kind: raw.Knock, Says: agreed})
	}
	if s == nil {
		return marks
	}
	presses := len(marks)
	for _, m := range s.Mark {
		at, ok := Since(log, m.At)
		if !ok {
			continue
		}
		best := -1
		for i := range marks[:presses] {
			if d := math.Abs(float64(marks[i].At) - at); d <= nearPress && (best < 0 || d < math.Abs(float64(marks[best].At)-at)) {
				best = i
			}
		}
		if best >= 0 {
			marks[best].Says = m.Front
		} else {
			marks = append(marks, Mark{At: interval.Number(at), Kind: Answer, Says: m.Front})
		}
	}
	slices.SortStableFunc(marks, func(a, b Mark) int { return cmp.Compare(a.At, b.At) })
	return marks
}

// bare says whether a mark's text only says that there was one.
func bare(text string) bool {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "", "1", "1.0", "x", "true":
		return true
	}
	return false
}

// Since is a time of day, s since midnight UTC, as seconds since the log's
// start, on the day that lies nearest to the log; false in a log without a date.
func Since(log *ingest.Log, ofDay float64) (float64, bool) {
	if log == nil || log.Start.IsZero() {
		return 0, false
	}
	const day = 86400
	start := log.Start.UTC()
	at := ofDay - start.Sub(start.Truncate(24*time.Hour)).Seconds()
	if last := log.Length(); at < 0 && -at > math.Abs(at+day-last) {
		at += day
	}
	return at, true
}

// What may be wrong with a change: a setup.Trouble's kinds.
const (
	NoLog    = "change without a log"
	NoDate   = "change without a date"
	Beyond   = "change outside the log" // its time, and those of the log's ends
	Disorder = "changes out of order"   // its time
)

// Parts are the stretches of a log between the setup's changes, the first with
// the setup as it is written. The error is a *setup.Error.
func Parts(log *ingest.Log, s *setup.Setup) ([]Part, error) {
	parts := []Part{{Start: math.Inf(-1)}}
	if s == nil {
		return parts, nil
	}
	st := s.Foil.Stabilizer
	for i, c := range s.Change {
		at, ok := Since(log, c.At)
		clock := func(t float64) string { return log.Start.UTC().Add(time.Duration(t * 1e9)).Format("15:04:05") }
		fault := func(kind string, times ...float64) error {
			t := &setup.Trouble{Kind: kind, Values: []float64{float64(i + 1)}}
			for _, x := range times {
				t.Text = append(t.Text, clock(x))
			}
			return s.Fault("change", i, t)
		}
		switch {
		case log == nil:
			return nil, fault(NoLog)
		case !ok:
			return nil, fault(NoDate)
		case at <= 0 || at >= log.Length():
			return nil, fault(Beyond, at, 0, log.Length())
		case at <= parts[len(parts)-1].Start:
			return nil, fault(Disorder, at)
		}
		parts = append(parts, Part{Start: at, Change: trim.Change{
			Raise: trim.ShimAngle(st.Shim+c.Shim, st.ShimSpan) - trim.ShimAngle(st.Shim, st.ShimSpan),
			Foil:  c.Foil, Front: c.Front, Back: c.Back,
		}})
	}
	return parts, nil
}

package ingest

import (
	"fmt"
	"time"

	"github.com/muktihari/fit/profile/typedef"
)

// maxMarks bounds the marks kept of one file; the rest are counted.
const maxMarks = 1000

// mark keeps a mark at FIT time ts, which may count from power-on.
func (f *fitReader) mark(d *fitDef, ts float64, kind, what string) {
	if len(f.marks) == maxMarks {
		d.unread++
		return
	}
	m := Mark{Kind: kind, What: what}
	if ts >= fitSystemTime {
		m.Time = time.Unix(fitEpoch+int64(ts), 0).UTC()
	}
	f.marks = append(f.marks, m)
}

// span takes in a session or lap message.
func (f *fitReader) span(d *fitDef, b []byte, kind string) {
	start, ok := d.value(b, d.slot[0], 0)
	if !ok {
		start = float64(f.last)
	}
	what := kind
	if sport, ok := d.value(b, d.slot[2], 0); ok && kind == "session" {
		what += " (" + typedef.Sport(sport).String() + ")"
	}
	if ms, ok := d.value(b, d.slot[1], 0); ok {
		what += ", " + durationText(ms/1000)
	}
	f.mark(d, start, kind, what)
}

// event takes in the timer's starts and stops; other events are counted.
func (f *fitReader) event(d *fitDef, b []byte) {
	event, ok1 := d.value(b, d.slot[0], 0)
	kind, ok2 := d.value(b, d.slot[1], 0)
	if !ok1 || !ok2 || typedef.Event(event) != typedef.EventTimer {
		d.unread++
		return
	}
	switch typedef.EventType(kind) {
	case typedef.EventTypeStart:
		f.mark(d, float64(f.last), "start", "timer started")
	case typedef.EventTypeStop, typedef.EventTypeStopAll, typedef.EventTypeStopDisable, typedef.EventTypeStopDisableAll:
		f.mark(d, float64(f.last), "stop", "timer stopped")
	default:
		d.unread++
	}
}

// marksText is a file's marks in a few words.
func marksText(marks []Mark) string {
	var words []string
	laps, stops := 0, 0
	for _, m := range marks {
		switch m.Kind {
		case "session":
			if len(words) < 3 {
				words = append(words, m.What)
			}
		case "lap":
			laps++
		case "stop":
			stops++
		}
	}
	if laps > 0 {
		words = append(words, count(laps, "lap"))
	}
	if stops > 0 {
		words = append(words, fmt.Sprintf("timer stopped %d ×", stops))
	}
	return sentenceList(words, 5)
}

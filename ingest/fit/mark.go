package fit

import (
	"time"

	"github.com/muktihari/fit/profile/typedef"

	"evenfoot/ingest/raw"
)

// maxMarks bounds the marks kept of one file; the rest are counted.
const maxMarks = 1000

// mark keeps a mark at FIT time ts, which may count from power-on.
func (f *reader) mark(d *def, ts float64, kind, what string) {
	if len(f.marks) == maxMarks {
		d.unread++
		return
	}
	m := raw.Mark{Kind: kind, What: what}
	if ts >= systemTime {
		m.Time = time.Unix(epoch+int64(ts), 0).UTC()
	}
	f.marks = append(f.marks, m)
}

// span takes in a session or lap message.
func (f *reader) span(d *def, b []byte, kind string) {
	start, ok := d.value(b, d.slot[0], 0)
	if !ok {
		start = float64(f.last)
	}
	what := kind
	if sport, ok := d.value(b, d.slot[2], 0); ok && kind == "session" {
		what += " (" + typedef.Sport(sport).String() + ")"
	}
	if ms, ok := d.value(b, d.slot[1], 0); ok {
		what += ", " + raw.DurationText(ms/1000)
	}
	f.mark(d, start, kind, what)
}

// event takes in the timer's starts and stops; other events are counted.
func (f *reader) event(d *def, b []byte) {
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

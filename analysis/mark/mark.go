// Package mark turns the moments that a rider marked while riding into
// evidence: at which speed, load and trim they were, and what they say.
//
// # A press
//
// A hand is late by about half a second (0.6 ± 0.3 s), so a press speaks of the
// 1.2 s before it. What a press says is, in this order, what a [[mark]] of the
// setup near it says, the text that came with it where that is one of the
// words, marks.means, and "even"; a double knock, which chop may feign, and a
// text that is none of the words, such as a waypoint's name, count only where
// the setup says what they mean. A [[mark]] far from every press is a moment
// of its own: the answer to a question about the log.
//
// Marks off the foil, in a turn and within a few seconds of a touchdown do not
// count, and say why; nor does one of several that lies far from the others.
//
// # Even
//
// The presses for an even load with the foil at one place tell the speed V₀ at
// which it is. A rider who presses while the felt load is within the rider's own
// blur σ of even presses at speed V in proportion to how long V was ridden
// and to
//
//	exp(-(V - V₀)² / 2s²)        s = σ / |d share/dV|
//
// so that speeds which were never ridden are not held against V₀, and presses
// all over the range are what a flat load gives. At a speed V the load is off even
// by σ (V - V₀)/s, whatever its slope; the evidence is that it is even at the
// speed where the square of that is least in the mean over the likelihood of V₀
// and s, with that mean as its variance. Two trims' even speeds with the known
// move between them tell the trend of the load with speed, whatever the rider's
// zero and scale.
//
// It imports ingest, filter/align, analysis/ride, analysis/setup and
// analysis/trim.
package mark

import (
	"math"
	"time"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter/align"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

const (
	reaction   = 0.6 // s from the feeling to the press
	reactionSD = 0.3 // s
	heard      = 1.2 // s before the press, that it speaks of
	answered   = 3.0 // s about a moment that the setup alone names
	nearPress  = 5.0 // s between a [[mark]] and the press that it puts right
	settling   = 1.0 // s at both ends of a reach
	nearTouch  = 3.0 // s from a touchdown, breach, fall or take-off

	outlierSigmas = 4.0 // from the median of the presses at one place, by their median deviation
	outlierLeast  = 1.5 // m/s
	leastForOdd   = 4   // presses, from which one may be odd
)

// A Why says why a mark does not count; "" where it does.
type Why string

const (
	OutsideLog Why = "outside the log"
	OffFoil    Why = "off the foil"
	InTurn     Why = "in a turn"
	NearTouch  Why = "near a touchdown"
	NoSpeed    Why = "no speed"
	FarOff     Why = "far from the others"
	SaysNone   Why = "means nothing"
	OfGlide    Why = "of a glide"
	NotAgreed  Why = "not agreed" // a double knock or an unknown text, and the setup says no meaning
)

// Answer is the kind of a mark that stands in the setup alone.
const Answer raw.MarkKind = "answer"

// A Mark is one moment and what became of it.
type Mark struct {
	At    interval.Number `json:"at_s"` // of the press, or the moment, s since the log's start
	Time  *time.Time      `json:"time"` // the same, UTC; null when the log has no date
	Kind  raw.MarkKind    `json:"kind"` // what set it, or [Answer]
	Text  string          `json:"text"`
	Says  setup.Sense     `json:"-"`
	Means string          `json:"means"`       // what it says, in the setup's words; "" when not agreed
	Speed interval.Number `json:"speed_mps"`   // through the water
	Load  interval.Number `json:"load_factor"` // 1 in level flight
	Tack  string          `json:"tack"`        // "" when not known
	Part  int             `json:"part"`        // of the log, from 0
	Even  bool            `json:"even"`        // it counts as a press for an even load, not as a note
	Why   Why             `json:"why,omitempty"`

	east, north float64 // m/s over ground
	surge       float64 // m/s², change of speed
	normal      float64 // m/s², deck-normal specific force; 0 when not known
}

// Glides are the times, s, at which presses say that a glide began.
func Glides(marks []Mark) (at []float64) {
	for _, m := range marks {
		if m.Why == OfGlide {
			at = append(at, float64(m.At)-reaction)
		}
	}
	return at
}

// Counts says whether it is evidence.
func (m *Mark) Counts() bool { return m.Why == "" }

// pressed says whether it was set while riding.
func (m *Mark) pressed() bool { return m.Kind != Answer }

// Read lists the marks of a log in order of time, with what the setup says of
// them; m may be nil.
func Read(log *ingest.Log, s *setup.Setup, r *ride.Session, m *align.Motion, parts []Part) []Mark {
	marks := said(log, s, r.Knocks(m))
	for i := range marks {
		k := &marks[i]
		if !log.Start.IsZero() {
			t := log.Start.Add(time.Duration(k.At * interval.Number(time.Second))).Round(time.Millisecond).UTC()
			k.Time = &t
		}
		k.Part = PartAt(parts, float64(k.At))
		k.place(r, m)
		switch k.Says.Said {
		case setup.Nothing:
			k.Why = SaysNone
		case setup.Gliding:
			k.Why = OfGlide
		case "":
			k.Why = NotAgreed
		}
		k.Means = k.Says.Said
		k.Even = k.Counts() && k.pressed() && k.Says.Said == setup.Even
	}
	return marks
}

// place finds where a mark was ridden and how fast.
func (k *Mark) place(r *ride.Session, m *align.Motion) {
	from, to := float64(k.At)-heard, float64(k.At)
	if !k.pressed() {
		from, to = float64(k.At)-answered/2, float64(k.At)+answered/2
	}
	at := (from + to) / 2
	k.Speed, k.Load = interval.Number(math.NaN()), interval.Number(math.NaN())
	k.Why = Whereabouts(r, at)
	for _, reach := range r.Reaches {
		if at >= reach.Start && at <= reach.End {
			k.Tack = reach.Tack
		}
	}
	var ok bool
	if k.east, k.north, k.surge, ok = r.Speed.Mean(from, to); !ok && k.Why == "" {
		k.Why = NoSpeed
	}
	if k.Why == "" && m != nil && m.Mount.Rigid {
		k.normal = m.MeanNormal(from, to)
	}
}

// Whereabouts is why a moment cannot tell the load, "" where it can.
func Whereabouts(r *ride.Session, at float64) Why {
	for _, e := range r.Events {
		if math.Abs(e.Time-at) < nearTouch {
			return NearTouch
		}
	}
	for _, x := range r.Reaches {
		if at >= x.Start+settling && at <= x.End-settling {
			return ""
		}
	}
	for _, x := range r.Rides {
		if at >= x.Start && at <= x.End {
			return InTurn
		}
	}
	if s := &r.Speed; len(s.East) == 0 || at < s.Start || at > s.Start+s.Step*float64(len(s.East)) {
		return OutsideLog
	}
	return OffFoil
}

// A Part is a stretch of a log with one trim, from Start, s, to the next.
type Part struct {
	Start  float64
	Change trim.Change       // since the setup at the log's start
	Even   interval.Interval // m/s, the speed that its presses call even, as [Evidence] finds it
}

// PartAt is the number of the part that a time, s, lies in.
func PartAt(parts []Part, t float64) int {
	n := 0
	for i, p := range parts {
		if t >= p.Start {
			n = i
		}
	}
	return n
}

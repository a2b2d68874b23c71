package analysis

import (
	"time"

	"evenfoot/analysis/interval"
)

// A Finding is what a part of the chain has to tell besides its result: a
// struct of that part's package whose field Kind names it, with its numbers in
// SI under JSON names that carry the unit. Package report/words says it. A
// plain string is a sentence that came with the input.
type Finding any

// A Kind names what the chain itself has to tell.
type Kind string

const (
	NoSetup        Kind = "no setup"
	NoLog          Kind = "no log" // a [SpeedError]
	NoIMU          Kind = "no imu"
	NoGyroscope    Kind = "no gyroscope"
	NoGPS          Kind = "no gps"
	NoFlight       Kind = "no flight"
	GlidesUndated  Kind = "glides undated"         // Count: the log has no date
	GlidesNot      Kind = "glides not counted"     // Count of the setup's, Why: a glide.Why
	Garbled        Kind = "garbled samples"        // Count, At of the first
	ClocksUnproved Kind = "clocks not compared"    // Why: taken as equal, since both tell UTC
	ClocksApart    Kind = "clocks apart"           // Why: the logs are not merged; Guess
	StampedApart   Kind = "stamped apart"          // Apart: one device's sensors, put right
	NoPitch        Kind = "no pitch"               // Why
	NoAttitude     Kind = "no attitude"            // Why
	NotRigid       Kind = "sensor not fixed"       // Why: its pitch is not used
	InEarlier      Kind = "earlier session"        // Session, Of
	NotBefore      Kind = "not before"             // Session: given as earlier, and it began no earlier
	SizesTaken     Kind = "sizes taken"            // Keys that the setup leaves out and that of another session gives
	FromTheStart   Kind = "counted from the start" // the log holds changes: advice counts from the setup before them
	LoadJumps      Kind = "load jumps"             // At, Time of a stop after which marks tell another load: By, a move of the foil, m
	ZeroJumps      Kind = "zero jumps"             // the same of the pitch law's zero: By, rad
	RangeCut       Kind = "range cut"              // Range that was asked for, Ridden that is left of it
	NotFlown       Kind = "note not flown"         // a [StrayNote]
	NotUsual       Kind = "note not usual"         // a [StrayNote] that counts
	LandSport      Kind = "sport on land"          // Sport, as the device names it
	LandHeights    Kind = "heights of land"        // Height: by how much the flights differ
	LandPace       Kind = "pace of land"           // Speed: the best ten seconds
	LandRoad       Kind = "way of a road"          // Way in flight, Count of turns
	LandCourses    Kind = "courses of land"        // Share of the way in the courses taken the least
)

// A Note is something that the chain itself found out about a session.
type Note struct {
	Kind    Kind               `json:"-"`
	Count   int                `json:"samples,omitempty"`
	At      float64            `json:"at_s,omitempty"`
	Apart   float64            `json:"apart_s,omitempty"`
	Range   *[2]float64        `json:"range_mps,omitempty"`  // asked for
	Ridden  *[2]float64        `json:"ridden_mps,omitempty"` // or noted, and what lies near it
	Time    *time.Time         `json:"time,omitempty"`       // UTC, of At
	By      *interval.Interval `json:"by,omitempty"`         // SI
	Session string             `json:"session,omitempty"`
	Keys    []string           `json:"keys,omitempty"`
	Sport   string             `json:"sport,omitempty"`
	Guess   string             `json:"guessed_unit,omitempty"` // of the gyroscope, a unit's name
	Height  float64            `json:"height_m,omitempty"`
	Speed   float64            `json:"speed_mps,omitempty"`
	Way     float64            `json:"way_m,omitempty"`
	Share   float64            `json:"share,omitempty"`
	Of      Finding            `json:"of,omitempty"`
	Why     Finding            `json:"why,omitempty"` // of another part of the chain
}

// Notes are the chain's own findings of one kind among fs.
func Notes(fs []Finding, k Kind) []Note {
	var out []Note
	for _, f := range fs {
		if n, ok := f.(Note); ok && n.Kind == k {
			out = append(out, n)
		}
	}
	return out
}

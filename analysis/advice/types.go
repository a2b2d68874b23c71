// Package advice turns a posterior and the time spent at each speed into what
// to do next: shim and move together, options, the next observation, another
// rider, before and after. It hands over kinds and numbers; the words are
// package report/words's.
//
// # The rule
//
// The load of a trim costs, for each foil that the evidence leaves possible,
//
//	Σ w(V) (share + b - 0.5)²  +  k² max(0, G₀ - G)²
//
// the time spent at each speed times the square of how far the load is from
// what this rider feels as even, and the risk of overshoot: G is the speed
// gradient of the front foot's share at the top speed. Above zero it lifts the
// nose of a board that runs faster and so steadies it; a load that is even at
// every speed has none, and below zero the board runs away. G₀ is what the
// rider's level wants left. The best pair of shim and move makes the mean cost
// over the posterior least.
//
// The next step is the one of least mean cost among none, a card (half a one
// where a card turns far) towards the best pair, a move of the foil or the
// feet within reach towards it, and both, each at a price for its trouble, and
// only if the chance that it is more even as this rider feels it is [Surely].
// Without such a step the trim is kept, unless three notes of feel are worth
// another outing: by the steps that they may make sure.
//
// It imports filter, analysis/interval, analysis/pitchlaw, analysis/setup,
// analysis/trim and gonum.
package advice

import (
	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
)

// Verdicts.
const (
	Change        = "change"
	Keep          = "keep"
	CannotBalance = "cannot balance"
	NotEnough     = "not enough evidence"
)

// Advice is what to do, all the way and next (contract: advice).
type Advice struct {
	Verdict          string            `json:"verdict"`
	StabilizerChange interval.Interval `json:"stabilizer_change_deg"` // + leading edge up, all the way to the best pair
	FoilMove         interval.Interval `json:"foil_move_mm"`          // + forward
	Shim             interval.Number   `json:"shim_mm"`               // next step; + raises the leading edge
	Cards            float64           `json:"cards"`                 // -1 to 1 in a step; halves where a card turns far
	ShimPlace        *string           `json:"shim_place"`            // "leading edge" | "trailing edge" | null: where the card goes, or where it is taken out
	MoveNow          interval.Number   `json:"move_now_mm"`           // + foil forward
	FeetNow          interval.Number   `json:"feet_now_mm"`           // + feet forward, what the track cannot give and free feet can
	TakeOut          bool              `json:"take_out"`              // the step takes a fitted card out
	EvennessNow      interval.Interval `json:"evenness_now"`          // as this rider feels it
	EvennessAfter    interval.Interval `json:"evenness_after"`
	ChanceBetter     interval.Number   `json:"chance_better"` // 0..1 that the next step makes the load more even, as this rider feels it
	GradientNow      interval.Interval `json:"gradient_top_now_per_kn"`
	GradientAfter    interval.Interval `json:"gradient_top_after_per_kn"`
	Overshoot        interval.Number   `json:"chance_overshoot"` // 0..1 that the gradient at the top speed is below zero after the step
	Options          []Option          `json:"options"`
	Plan             []Trial           `json:"plan"`          // of the next outing, the most doubt removed per minute first
	WorthKnowing     []Observation     `json:"worth_knowing"` // the best buy first; without a step to take, what leaves the trim alone comes first

	Next Reason   `json:"-"` // what to do
	Why  []Reason `json:"-"` // reasons, limits, what would help
	// Wider is how many times as wide as [trim.Posterior.DoubtAfter] has it the
	// draws tell the best stabilizer change: one doubt is told everywhere.
	Wider float64 `json:"-"`

	Step trim.Change `json:"-"` // the next step with cards of the nominal thickness; zero for none
}

// Option is what one choice of cards would do, with the foil move that goes with it.
type Option struct {
	Cards         float64           `json:"cards"`
	Shim          interval.Number   `json:"shim_mm"`
	StabilizerDeg interval.Number   `json:"stabilizer_change_deg"`
	FoilMove      interval.Interval `json:"foil_move_mm"`
	ShareLow      interval.Interval `json:"share_low"`
	ShareMid      interval.Interval `json:"share_mid"`
	ShareTop      interval.Interval `json:"share_top"`
	Gradient      interval.Interval `json:"gradient_top_per_kn"`
	Overshoot     interval.Number   `json:"chance_overshoot"` // 0..1 that the gradient is below zero
	Evenness      interval.Interval `json:"evenness"`         // as this rider feels it
	ChanceBetter  interval.Number   `json:"chance_better"`    // 0..1 that it is more even than today
	Reachable     bool              `json:"reachable"`        // within track and straps
	FeetToo       bool              `json:"feet_too"`         // within reach, but longer than the track: the feet give the rest
	Best          bool              `json:"best"`             // the continuous best, not a whole number of cards
	Curve         []SharePoint      `json:"curve"`
}

// SharePoint is the front foot's share at one speed.
type SharePoint struct {
	Speed interval.Number   `json:"speed_mps"`
	Share interval.Interval `json:"front_share"`
}

// A Kind names what a [Reason] says or what an [Observation] is.
type Kind string

// What to do.
const (
	TakeStep      Kind = "step"               // the Advice's own numbers
	KeepTrim      Kind = "keep"               // no step is worth its trouble
	SayNotes      Kind = "note the feel"      // Speeds: nothing checks the model yet
	FindOut       Kind = "find out"           // what is worth knowing comes first
	SaySpeeds     Kind = "say the speeds"     // none is known
	CheckConflict Kind = "check a conflict"   // Conflict
	CheckLoad     Kind = "check the load"     // Speed, Share that nobody can hold, Key that makes it so
	CheckChange   Kind = "check the change"   // Changed
	ShimsShort    Kind = "shims fall short"   // Turn that is needed, Limit that four cards give
	TrackShort    Kind = "the track is short" // Move beyond it
	LoadVaries    Kind = "load varies"        // more with speed than shims and moves even out
)

// Why.
const (
	InConflict      Kind = "conflict"           // Conflict
	Stops           Kind = "why it stops"       // the step ends at the best in reach: Gradient after it, Left that the level wants, Speed
	Unsteady        Kind = "unsteady"           // the trim after the step has less: Gradient, Left that the level wants, Speed
	BothAtOnce      Kind = "both at once"       // neither card nor move alone surely helps
	BestStops       Kind = "why the best stops" // what the best pair leaves of the gradient: Gradient, Speed
	WholeCard       Kind = "whole card"         // it turns by Turn, further than the best pair does, which goes with Move
	PositionOnly    Kind = "position only"      // a beginner
	MoreCards       Kind = "more cards"         // Cards all the way
	PartOfTheWay    Kind = "part of the way"    // Move all the way at this angle, Limit of one step
	NoBestPair      Kind = "no best pair"       // the speeds are too alike
	BestBeyond      Kind = "best beyond reach"  // Move beyond it, Turn of the best within
	FeetRest        Kind = "feet give the rest" // Move all the way, Limit of the track, Feet for what lies beyond it
	NoShimSpan      Kind = "no shim span"
	NoLogger        Kind = "no logger" // Doubt of the stabilizer's angle now and Then with one; zero: not known
	TrackAssumed    Kind = "track assumed"
	Unchecked       Kind = "unchecked"        // no note of feel
	Weighed         Kind = "weighed"          // instruments alone tell the load: even by them
	TurnNeeded      Kind = "turn needed"      // Turn
	BestPlace       Kind = "best place"       // Place
	RoomNeeded      Kind = "room needed"      // Move of the mast, or Feet
	LeftUneven      Kind = "left uneven"      // Off
	OtherStabilizer Kind = "other stabilizer" // Area, Larger, Share off even with it
	StanceByHeight  Kind = "stance by height" // Width
)

// A Reason is a kind with the numbers it needs, SI.
type Reason struct {
	Kind     Kind               `json:"-"`
	Speed    float64            `json:"speed_mps,omitempty"`
	Speeds   []float64          `json:"speeds_mps,omitempty"`
	Share    float64            `json:"front_share,omitempty"`
	Off      *interval.Interval `json:"off_even,omitempty"`
	Turn     float64            `json:"turn_rad,omitempty"` // + leading edge up
	Limit    float64            `json:"limit,omitempty"`    // of what stands beside it
	Move     float64            `json:"move_m,omitempty"`   // + forward
	Feet     float64            `json:"feet_m,omitempty"`   // + forward
	Place    *interval.Interval `json:"place_m,omitempty"`  // of the mast from today's, + forward
	Width    float64            `json:"width_m,omitempty"`
	Cards    float64            `json:"cards,omitempty"`
	Doubt    float64            `json:"doubt_rad,omitempty"` // 90 %
	Then     float64            `json:"doubt_then_rad,omitempty"`
	Area     float64            `json:"area_m2,omitempty"`
	Larger   bool               `json:"larger,omitempty"`
	Gradient *interval.Interval `json:"gradient_per_kn,omitempty"`
	Left     float64            `json:"gradient_wanted_per_kn,omitempty"`
	Key      string             `json:"key,omitempty"`
	Conflict *trim.Conflict     `json:"conflict,omitempty"`
	Changed  []Difference       `json:"changed,omitempty"`
	Row      *Comparison        `json:"row,omitempty"`
	Chance   float64            `json:"chance,omitempty"`
	Had      int                `json:"notes_had,omitempty"`   // after a change
	Marks    bool               `json:"marks_among,omitempty"` // what was marked in the log is among these notes
	Notes    int                `json:"notes_more,omitempty"`
	Each     int                `json:"notes_each_way,omitempty"` // with the change and without it
	Minutes  float64            `json:"minutes,omitempty"`
}

// What could be found out.
const (
	NoteFeel     Kind = "note"            // of feel at Speeds
	RideCard     Kind = "ride a card"     // once, and note the feel at Speeds
	CardInOut    Kind = "card in and out" // within one outing, with notes at moments of each
	NoteMoments  Kind = "note moments"    // at Speeds, with the trim of today
	FindNulls    Kind = "find nulls"      // the speed that feels even, with the foil at Places
	MeasureAngle Kind = "measure angle"   // of the stabilizer to the wing
	BalanceBoard Kind = "balance board"   // with its foil
	LevelLogger  Kind = "level logger"    // before the ride, and the wing's angle to the deck
	WingAngle    Kind = "wing angle"      // to the deck, where the log holds a rest
	LogMotion    Kind = "log motion"      // with a sensor on the board
)

// Observation is one thing worth measuring next and what it would buy.
type Observation struct {
	Kind      Kind            `json:"kind"`
	Speeds    []float64       `json:"speeds_mps,omitempty"`
	Places    []float64       `json:"places_m,omitempty"` // of the foil from today's, + forward
	Edge      string          `json:"edge,omitempty"`     // where the card goes, or comes out
	TakeOut   bool            `json:"take_out,omitempty"`
	SD        float64         `json:"to,omitempty"` // how well to measure, 1σ, rad or m
	ShimSDNow interval.Number `json:"stabilizer_sd_now_deg"`
	ShimSD    interval.Number `json:"stabilizer_sd_after_deg"`
	// ChangesTrim says that finding out means riding another trim.
	ChangesTrim bool `json:"changes_trim"`

	Mount string             `json:"-"` // of the stabilizer
	Now   *interval.Interval `json:"-"` // the front foot's share at the last of Speeds
	Then  *interval.Interval `json:"-"` // and on the other trim
}

// OtherRider is the same foil under somebody else.
type OtherRider struct {
	Advice
	Name         string            `json:"name"`
	PitchChange  interval.Interval `json:"pitch_change_deg"`
	WingWalk     interval.Interval `json:"wing_walk_mm"`          // what the pitch does to the wing's place under the feet
	PressureMove interval.Interval `json:"foot_pressure_move_mm"` // where the feet must press at the middle speed, against the owner, + forward
	PressureTop  interval.Interval `json:"foot_pressure_move_top_mm"`
	Curve        []SharePoint      `json:"curve"`
	CurveAfter   []SharePoint      `json:"curve_after"` // after the next step; none without one
	Notes        []Reason          `json:"-"`
}

// Options of Advise.
type Options struct {
	LawOK bool    // the log gave a pitch law that may be used
	Hold  *Reason // what must be cleared up before any step; nil for nothing
}

// Package advice turns a posterior and the time spent at each speed into what
// to do next: shim and move together, options, the next observation, another
// rider, before and after.
//
// It imports analysis/interval, analysis/setup, analysis/trim and gonum.
package advice

import "evenfoot/analysis/interval"

// Verdicts.
const (
	Change        = "change"
	Keep          = "keep"
	CannotBalance = "cannot balance"
	NotEnough     = "not enough evidence"
)

// Advice is what to do, all the way and next (contract: advice).
type Advice struct {
	StabilizerChange interval.Interval `json:"stabilizer_change_deg"` // + leading edge up, all the way to the best pair
	FoilMove         interval.Interval `json:"foil_move_mm"`          // + forward
	Shim             interval.Number   `json:"shim_mm"`               // next step; + raises the leading edge
	Cards            int               `json:"cards"`                 // -1, 0 or 1 in a step
	ShimPlace        *string           `json:"shim_place"`            // "leading edge" | "trailing edge" | null: where the card goes, or where it is taken out
	MoveNow          interval.Number   `json:"move_now_mm"`           // + foil forward
	FeetNow          interval.Number   `json:"feet_now_mm"`           // + feet forward, what the track cannot give and free feet can
	TakeOut          bool              `json:"take_out"`              // the step takes a fitted card out
	NextStep         string            `json:"next_step"`
	Verdict          string            `json:"verdict"`
	EvennessNow      interval.Interval `json:"evenness_now"`
	EvennessAfter    interval.Interval `json:"evenness_after"`
	Options          []Option          `json:"options"`
	WorthKnowing     []Observation     `json:"worth_knowing"` // the best buy first; without a step to take, what leaves the trim alone comes first
	ChanceBetter     interval.Number   `json:"chance_better"` // 0..1 that the next step makes the load more even
	Why              []string          `json:"why"`           // plain sentences: reasons, limits, what would help
}

// Option is what one choice of cards would do, with the foil move that goes with it.
type Option struct {
	Cards           int               `json:"cards"`
	Shim            interval.Number   `json:"shim_mm"`
	StabilizerDeg   interval.Number   `json:"stabilizer_change_deg"`
	FoilMove        interval.Interval `json:"foil_move_mm"`
	ShareLow        interval.Interval `json:"share_low"`
	ShareMid        interval.Interval `json:"share_mid"`
	ShareTop        interval.Interval `json:"share_top"`
	StiffnessChange interval.Interval `json:"stiffness_change"` // ratio to today, 1 = the same
	Evenness        interval.Interval `json:"evenness"`
	ChanceBetter    interval.Number   `json:"chance_better"` // 0..1 that it is more even than today
	Reachable       bool              `json:"reachable"`     // within track and straps
	Best            bool              `json:"best"`          // the continuous best, not a whole number of cards
	Curve           []SharePoint      `json:"curve"`
}

// SharePoint is the front foot's share at one speed.
type SharePoint struct {
	Speed interval.Number   `json:"speed_mps"`
	Share interval.Interval `json:"front_share"`
}

// Observation is one thing worth measuring next and what it would buy.
type Observation struct {
	What      string          `json:"what"`
	ShimSDNow interval.Number `json:"stabilizer_sd_now_deg"`
	ShimSD    interval.Number `json:"stabilizer_sd_after_deg"`
	// ChangesTrim says that finding out means riding another trim.
	ChangesTrim bool `json:"changes_trim"`

	note bool // it is a note of feel under today's trim
}

// OtherRider is the same foil under somebody else.
type OtherRider struct {
	Advice
	Name        string            `json:"name"`
	PitchChange interval.Interval `json:"pitch_change_deg"`
	WingWalk    interval.Interval `json:"wing_walk_mm"`
	Curve       []SharePoint      `json:"curve"`
	Notes       []string          `json:"notes"`
}

// Effect is how far one unknown moves the best stabilizer change, degrees per
// σ: of its prior before the evidence, of its posterior after.
type Effect struct {
	Name   string
	Before float64
	After  float64
}

// Options of Advise; the zero value asks for up to four cards.
type Options struct {
	Cards int // highest number of cards in the options; 0 means 4
	// LawOK says that the log gave a pitch law that may be used.
	LawOK bool
	// SpeedText prints a speed in m/s for the sentences; nil means knots.
	SpeedText func(mps float64) string
	// LengthText prints a length in m; nil means centimetres.
	LengthText func(m float64) string

	// hold, when not empty, is what must be cleared up before any step.
	hold string
}

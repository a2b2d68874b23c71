// Package finish says how smooth is smooth enough for the speeds ridden, what
// today's surface costs, and how thick the trailing edge may be.
//
// It imports analysis/interval, analysis/setup, analysis/water, analysis/trim.
package finish

import (
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
)

// Finish is the advice on surfaces (contract: finish).
type Finish struct {
	Speeds      []interval.Number `json:"speeds"`          // m/s: low, middle, top
	SmoothBelow interval.Number   `json:"smooth_below_um"` // hydraulically smooth up to this roughness at the top speed
	Parts       []Part            `json:"parts"`
	Grit        *int              `json:"grit"` // where to stop, FEPA P number
	DragSaving  interval.Interval `json:"drag_saving_percent"`
	SpeedGain   interval.Interval `json:"speed_gain_percent"`
	Today       setup.Finish      `json:"-"`
	Smooth      bool              `json:"smooth_enough"` // today's surface is: nothing to sand
	Papers      []int             `json:"papers"`        // from today's surface to Grit, FEPA P numbers
	EdgeLow     interval.Number   `json:"trailing_edge_low_mm"`
	EdgeHigh    interval.Number   `json:"trailing_edge_high_mm"`
	Edge        Edge              `json:"trailing_edge_now"` // "" when not given
}

// Told says that the setup tells today's surface.
func (f *Finish) Told() bool { return f.Today.Grit > 0 || f.Today.Surface != "" }

// An Edge says how today's trailing edge stands to what it should be.
type Edge string

const (
	Thin  Edge = "too thin"
	Thick Edge = "too thick"
	Right Edge = "right"
)

// Part is one surface's own limit.
type Part struct {
	Name        string          `json:"name"` // "wing" | "stabilizer" | "mast"
	SmoothBelow interval.Number `json:"smooth_below_um"`
	Reynolds    interval.Number `json:"reynolds"`
}

// Package finish says how smooth is smooth enough for the speeds ridden, what
// today's surface costs, and how thick the trailing edge may be (trim model §6).
//
// It imports analysis/interval, analysis/setup, analysis/water, analysis/trim.
package finish

import "evenfoot/analysis/interval"

// Finish is the advice on surfaces (contract: finish).
type Finish struct {
	Speeds       []interval.Number `json:"speeds"`          // m/s: low, middle, top
	SmoothBelow  interval.Number   `json:"smooth_below_um"` // hydraulically smooth up to this roughness at the top speed
	Parts        []Part            `json:"parts"`
	Grit         *int              `json:"grit"` // where to stop, FEPA P number
	DragSaving   interval.Interval `json:"drag_saving_percent"`
	SpeedGain    interval.Interval `json:"speed_gain_percent"`
	TrailingEdge string            `json:"trailing_edge"`
	Steps        []string          `json:"steps"`
	Cautions     []string          `json:"cautions"`
	Notes        []string          `json:"notes"`
}

// Part is one surface's own limit.
type Part struct {
	Name        string          `json:"name"` // "wing" | "stabilizer" | "mast"
	SmoothBelow interval.Number `json:"smooth_below_um"`
	Reynolds    interval.Number `json:"reynolds"`
}

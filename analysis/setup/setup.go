// Package setup reads the TOML that describes rider, stance, board, rig, foil
// and water, checks it, and hands it on in SI units.
//
// [Keys] is the one table of what a setup may hold. It imports the standard
// library, a TOML reader, ingest/near and nothing else of this module.
package setup

import "math"

// A Setup is one session's gear in SI units: metres, kilograms, radians,
// m/s, °C. Positions are along the deck from the mast's centreline, + to the
// nose. [Setup.Given] says which values the user wrote and which are defaults.
type Setup struct {
	Title  string
	File   string // where it was read from, "" for none
	Rider  Rider
	Stance Stance
	Board  Board
	Rig    Rig
	Foil   Foil
	Water  Water
	Sensor Sensor
	Feel   []Feel
	Marks  Marks
	Mark   []Mark
	Change []Change
	Glide  []Glide
	Taken  []string // keys that another session's setup gave: [Setup.With]
	Odd    []string // keys whose numbers are hardly ever so

	given map[string]bool
	lines map[string]int // of every key, entries of lists numbered
}

// Given says whether the user wrote the key, for example "foil.depth_cm".
func (s *Setup) Given(key string) bool { return s.given[key] }

// SetGiven records that a key was written; the reader and tests use it.
func (s *Setup) SetGiven(keys ...string) {
	if s.given == nil {
		s.given = map[string]bool{}
	}
	for _, k := range keys {
		s.given[k] = true
	}
}

type Rider struct {
	Name   string
	Mass   float64 // kg, dressed, rig in hand included
	Height float64 // m
	Level  string  // "beginner" | "intermediate" | "advanced"
}

type Stance struct {
	Front, Back float64 // m
	Fixed       bool    // straps or hooks
	FrontFoot   string  // "left" | "right", "" when not given
}

type Board struct {
	Mass       float64    // kg, board and foil
	CG         float64    // m
	DeckHeight float64    // m
	Track      [2]float64 // m, how far the mast can still slide: aft (≤ 0), forward (≥ 0)
}

type Rig struct {
	Kind         string // "wing" | "kite" | "sail" | "tow" | "none"
	LiftFraction float64
	MastFoot     float64 // m, of a sail, ahead of the foil's mast
}

type Foil struct {
	Mast          float64 // m
	Depth         float64 // m, immersed length
	MastChord     float64 // m
	MastThickness float64 // m
	Wing          Wing
	Stabilizer    Stabilizer
	Flex          float64 // rad/N, how far the fuselage bends under the stabilizer's own lift
	Finish        Finish
}

type Wing struct {
	Area, Span     float64 // m², m
	Ahead          float64 // m, quarter chord ahead of the mast's centreline
	CamberPercent  float64
	ThicknessRatio float64 // t/c
	Incidence      float64 // rad, chord line to deck
}

type Stabilizer struct {
	Area, Span     float64 // m², m
	BehindWing     float64 // m, quarter chord to quarter chord
	ThicknessRatio float64
	Incidence      float64 // rad, to the wing's chord line, + leading edge up, without shims
	ZeroLift       float64 // rad
	Mount          string  // "top" | "bottom" of the fuselage
	ShimSpan       float64 // m, from the shim to the opposite contact
	Shim           float64 // m, fitted in this session; + raises the leading edge
}

type Finish struct {
	Grit         int     // FEPA P number; 0 when not given
	Surface      string  // "satin" | "gloss" | "rough" | ""
	TrailingEdge float64 // m; 0 when not given
}

type Water struct {
	Kind        string  // "sea" | "fresh"
	Temperature float64 // °C
	Current     float64 // m/s; meaningful when Given("water.current_kn")
	CurrentTo   float64 // rad, true, where it flows to
}

// Sensor holds what the rider knows of the logger's place on the board.
type Sensor struct {
	PitchZero float64 // rad, the pitch that the logger shows when the deck is level; when Given("sensor.pitch_zero_deg")
}

// Feel is what the rider noticed at one speed.
type Feel struct {
	Speed float64 // m/s
	Share float64 // the front foot's share, 0..1
	SD    float64 // 1σ of Share
	Said  string  // the rider's own words
	As    string  // the key that its speed was written under: "speed_kn", "" for that too
}

// Marks says what the rider meant by a mark set while riding.
type Marks struct {
	Means Sense // nothing said when not given
}

// Mark is one such moment, put right afterwards.
type Mark struct {
	At    float64 // s since midnight UTC
	Front Sense
}

// Change is what was changed within one log, counted from the setup at its start.
type Change struct {
	At          float64 // s since midnight UTC
	Foil        float64 // m, + towards the nose
	Shim        float64 // m, + raises the leading edge
	Front, Back float64 // m, of the feet, + towards the nose
}

// Glide is a time in which the rig pulled nothing.
type Glide struct {
	From, To float64 // s since midnight UTC
}

// Length is the time from the one to the other, s, over midnight too.
func (g Glide) Length() float64 { return math.Mod(g.To-g.From+86400, 86400) }

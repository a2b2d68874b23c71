package words

import (
	"fmt"

	"evenfoot/analysis/finish"
)

// FinishCautions are for anybody who sands a foil.
var FinishCautions = []string{
	"Sand wet, wear gloves and a mask: carbon and glass dust harm lungs and skin.",
	"Edges cut. Keep fingers off thin trailing edges and cover them for transport.",
	"Sand by hand, along the flow, with a soft block on flat parts only. Follow the maker's advice; sanding may end a warranty.",
}

// surface is today's surface as the setup tells it.
func surface(f *finish.Finish) string {
	switch {
	case f.Today.Grit > 0:
		return fmt.Sprintf("sanded with P%d", f.Today.Grit)
	case f.Today.Surface != "":
		return f.Today.Surface
	}
	return "not given, taken as satin"
}

// FinishSteps says how to get to the finish that is smooth enough.
func FinishSteps(f *finish.Finish) []string {
	if f.Smooth {
		return []string{fmt.Sprintf("Today's surface (%s) is smooth enough for these speeds. Polishing further gains nothing that can be felt; repair chips and scratches, above all near the leading edge.", surface(f))}
	}
	s := []string{fmt.Sprintf("Today's surface: %s. Fill chips first; a filled chip gains more than any polish.", surface(f))}
	for _, p := range f.Papers {
		s = append(s, fmt.Sprintf("Wet-sand along the flow with P%d until the marks of the paper before are gone.", p))
	}
	return append(s, fmt.Sprintf("Stop at P%d: finer paper gains nothing that the water feels at these speeds.", *f.Grit))
}

// TrailingEdge says how thick the trailing edges should be.
func TrailingEdge(f *finish.Finish) string {
	want := fmt.Sprintf("Trailing edges: %.1f to %.1f mm thick (one to two payment cards), squared, then the corners just rounded (common practice, no source).", float64(f.EdgeLow), float64(f.EdgeHigh))
	yours := fmt.Sprintf(" Yours is %.1f mm: ", f.Today.TrailingEdge*1000)
	switch f.Edge {
	case finish.Thin:
		return want + yours + "thin edges cut and chip; leave it or square it back, do not thin it."
	case finish.Thick:
		return want + yours + "thin it from the lower side, a little at a time."
	case finish.Right:
		return want + yours + "right as it is."
	}
	return want
}

// FinishNotes says what the advice on surfaces rests on.
func (u Units) FinishNotes(f *finish.Finish) []string {
	return []string{
		fmt.Sprintf("At %s the water does not feel roughness below %.0f µm, whatever the chord (100 ν/U, U the water's speed over the thickest section).", u.SpeedText(float64(f.Speeds[2])), float64(f.SmoothBelow)),
		"These drag figures are estimates from flat plates. No measured roughness of a sanded foil is known here, so the roughness after a paper is a guess within a factor of two.",
	}
}

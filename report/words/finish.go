package words

import (
	"fmt"

	"evenfoot/analysis/finish"
)

// FinishCautions are for anybody who sands a foil.
var FinishCautions = []string{
	"Sand wet, with gloves, a mask and eye protection: carbon and glass dust harm lungs, skin and eyes. Keep fingers off thin trailing edges.",
	"Sand by hand, along the flow, with a soft block on flat parts only. Follow the maker's advice; sanding may end a warranty.",
}

// surface is today's surface as the setup tells it.
func surface(f *finish.Finish) string {
	if f.Today.Grit > 0 {
		return fmt.Sprintf("sanded with P%d", f.Today.Grit)
	}
	return Clean(f.Today.Surface)
}

// FinishHead is the advice on surfaces in a sentence: an order only where the
// setup tells today's surface.
func FinishHead(f *finish.Finish) string {
	switch {
	case f.Grit == nil:
		return ""
	case !f.Told():
		return fmt.Sprintf("A surface as P%d leaves it is smooth enough for these speeds. The setup does not tell how smooth yours is.", *f.Grit)
	case f.Smooth:
		return fmt.Sprintf("Your surface (%s) is smooth enough for these speeds.", surface(f))
	}
	return fmt.Sprintf("Sand up to P%d, wet, and stop there. Finer paper gains nothing at these speeds.", *f.Grit)
}

// FinishSteps says how to get to the finish that is smooth enough.
func FinishSteps(f *finish.Finish) []string {
	if f.Smooth {
		return []string{"Polishing further gains nothing that can be felt; repair chips and scratches, above all near the leading edge."}
	}
	s := []string{"Fill chips first; a filled chip gains more than any polish."}
	if !f.Told() {
		return append(s, "Give foil.finish.grit or surface in the setup, and this says whether sanding is worth it and with which papers.")
	}
	for _, p := range f.Papers {
		s = append(s, fmt.Sprintf("Wet-sand along the flow with P%d until the marks of the paper before are gone.", p))
	}
	return append(s, fmt.Sprintf("Stop at P%d: finer paper gains nothing that the water feels at these speeds.", *f.Grit))
}

// TrailingEdge says how thick the trailing edges should be.
func TrailingEdge(f *finish.Finish) string {
	want := fmt.Sprintf("%.1f to %.1f mm thick (one to two payment cards), squared, then the corners just rounded (common practice, no source).", float64(f.EdgeLow), float64(f.EdgeHigh))
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

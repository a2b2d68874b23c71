package words

import "evenfoot/analysis/finish"

// FinishCautions are for anybody who sands a foil.
var FinishCautions = Units{}.tellAll("sanding", nil)

// FinishHead is the advice on surfaces in a sentence: an order only where the
// setup tells today's surface.
func FinishHead(f *finish.Finish) string {
	if f.Grit == nil {
		return ""
	}
	return Units{}.tell("finish", f)
}

// FinishSteps says how to get to the finish that is smooth enough.
func FinishSteps(f *finish.Finish) []string { return Units{}.tellAll("finish steps", f) }

// TrailingEdge says how thick the trailing edges should be.
func TrailingEdge(f *finish.Finish) string { return Units{}.tell("trailing edge", f) }

// FinishNotes says what the advice on surfaces rests on.
func (u Units) FinishNotes(f *finish.Finish) []string { return u.tellAll("finish rests on", f) }

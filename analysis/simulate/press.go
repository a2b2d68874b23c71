package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"evenfoot/analysis/trim"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

// A Presser is how a rider marks moments.
type Presser struct {
	Blur     float64    // 1σ of the felt share from moment to moment
	Drift    float64    // 1σ of what even is, from one place of the foil to the next
	Reaction [2]float64 // s, from the feeling to the press, between the two
	Each     [2]int     // presses a part, between the two
	Apart    float64    // s between two presses, at least
}

// UsualPresser is a rider who is told to press when the load feels even.
func UsualPresser() Presser {
	return Presser{Blur: 0.01, Drift: 0.01, Reaction: [2]float64{0.3, 1.1}, Each: [2]int{4, 8}, Apart: 25}
}

// feltStep is how often riders look at what they feel, s, and feltOver what
// they feel is a mean of.
const feltStep, feltOver = 0.5, 1.0

// A feeling is what a rider's feet tell at one moment of straight flight.
type feeling struct {
	time float64 // s
	part int
	felt float64 // share, 0.5 is even
}

// feelings goes through the straight flight, away from turns and mishaps.
func (s *Session) feelings() (out []feeling) {
	t := &s.Truth
	foil := trim.NewFoil(s.Scenario.Foil)
	half := int(feltOver / 2 * s.Scenario.IMURate)
	for _, reach := range t.Reaches {
		for at := reach.Start + 3; at < reach.End-3; at += feltStep {
			if slices.ContainsFunc(t.Events, func(e Event) bool { return math.Abs(e.Time-at) < 5 }) {
				continue
			}
			i, _ := slices.BinarySearch(t.Time, at)
			if i < half || i+half >= len(t.Time) {
				continue
			}
			var speed, normal float64
			for k := i - half; k <= i+half; k++ {
				speed += float64(t.Speed[k]) / float64(2*half+1)
				normal += float64(t.Normal[k]) / float64(2*half+1)
			}
			p := foil.Point(speed, normal)
			out = append(out, feeling{at, s.Scenario.partAt(at), p.With(s.Scenario.changeAt(at)).FeltShare})
		}
	}
	return out
}

// Evens are the rider's presses where the load feels even.
func (s *Session) Evens(p Presser) []ingest.Mark {
	r := stream(s.Scenario.Seed, 51)
	blur := newSpline(r, feltStep, 6)
	n, drift := make([]int, 1+len(s.Scenario.Changes)), make([]float64, 1+len(s.Scenario.Changes))
	for k := range n {
		n[k], drift[k] = p.Each[0]+r.IntN(p.Each[1]-p.Each[0]+1), p.Drift*r.NormFloat64()
	}
	byPart := make([][]float64, len(n))
	was := math.NaN()
	for _, f := range s.feelings() {
		off := f.felt - 0.5 + drift[f.part] + p.Blur*blur.next()
		if was*off <= 0 || math.Abs(off) < 0.003 {
			byPart[f.part] = append(byPart[f.part], f.time)
		}
		was = off
	}
	return s.presses(byPart, n, p, r, func(float64) string { return "" })
}

// presses are up to n[part] marks of each part, which the rider calls as say does.
func (s *Session) presses(byPart [][]float64, n []int, p Presser, r *rand.Rand, say func(t float64) string) (out []ingest.Mark) {
	for k, times := range byPart {
		for _, t := range someOf(times, n[k], p.Apart, r) {
			text, kind := say(t), raw.Press
			if text != "" {
				kind = raw.Noted
			}
			t += p.Reaction[0] + (p.Reaction[1]-p.Reaction[0])*r.Float64()
			out = append(out, ingest.Mark{Time: s.Scenario.Start.Add(seconds(t)), At: t, Kind: kind, Text: text})
		}
	}
	return out
}

// someOf picks up to n of the times, at least apart from each other, in order.
func someOf(times []float64, n int, apart float64, r *rand.Rand) (out []float64) {
	for _, i := range r.Perm(len(times)) {
		if t := times[i]; len(out) < n && !slices.ContainsFunc(out, func(o float64) bool { return math.Abs(o-t) < apart }) {
			out = append(out, t)
		}
	}
	slices.Sort(out)
	return out
}

// Notes are what the rider says of n moments of each part, as marks with a
// percentage, with an error of sd (1σ).
func (s *Session) Notes(n int, sd float64, p Presser) []ingest.Mark {
	r := stream(s.Scenario.Seed, 52)
	byPart := make([][]float64, 1+len(s.Scenario.Changes))
	felt := map[float64]float64{}
	for _, f := range s.feelings() {
		byPart[f.part] = append(byPart[f.part], f.time)
		felt[f.time] = f.felt
	}
	return s.presses(byPart, slices.Repeat([]int{n}, len(byPart)), p, r, func(t float64) string {
		in := s.Scenario.Foil
		said := in.Said(felt[t]-in.RiderZero) + sd*r.NormFloat64()
		return fmt.Sprintf("%.0f %%", 100*min(max(said, 0.01), 1))
	})
}

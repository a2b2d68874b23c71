package advice

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/trim"
)

// What a plan asks for, and its trouble in minutes, changes ashore included.
// Common sense, none is measured.
const (
	PlaceMinutes = 12.0 // of riding at each place of the foil, and with each trim
	EvenPresses  = 6    // presses at each place
	TrimNotes    = 10   // notes with each trim

	ashore       = 8.0 // to move the foil or change a card
	perNote      = 0.5 // to write a note down afterwards
	atASpeed     = 3.0 // to ride at one speed and note it
	angleMinutes = 30.0
	boardMinutes = 15.0
	levelMinutes = 10.0
	motionSetup  = 30.0 // to fix a logger on the board

	planSpeeds = 5         // at which notes are spread
	placeGrid  = 5 * mm    // to which places are told
	inside     = 0.2       // of the range, how far within it the outer even speeds lie
	worthDoing = 0.93      // ratio of the width after to before
	leastApart = 5 * mm    // between two places
	evenEnough = 0.03      // share off even, within which a place has an even speed
	mostTold   = 5         // trials of a plan
	usualRound = 2 * 1.645 // 90 % width per σ
)

// A Trial is one thing to do on or before the next outing: what to do, its
// trouble, and the 90 % width of the best stabilizer angle that it will leave.
type Trial struct {
	Observation
	Minutes interval.Number `json:"minutes"`
	Each    int             `json:"marks_each"`  // presses or notes at each place or trim, 0 where none are asked for
	Shim    interval.Number `json:"shim_mm"`     // the card's part of the trim, + raises the leading edge; 0 where none is asked for
	EvenAt  []float64       `json:"even_at_mps"` // speeds at which it should feel even, one a place
	Now     interval.Number `json:"width_now_deg"`
	Then    interval.Number `json:"width_after_deg"`
}

// worth is degrees of width removed per minute.
func (x *Trial) worth() float64 { return float64(x.Now-x.Then) / float64(x.Minutes) }

// seenOf is what something tells of each draw, with its own σ.
type seenOf struct {
	of []float64
	sd float64
}

// plan ranks what to do next by the degrees of doubt that it removes per minute
// of trouble, simulated: every draw tells what it would show, and the best
// stabilizer angle is regressed on that.
func (t *task) plan() []Trial {
	out := []Trial{}
	if !t.hasBest() {
		return out
	}
	goal := t.raises()
	now := stat.StdDev(goal, t.post.Weights) / deg
	add := func(x Trial, minutes float64, seen ...seenOf) {
		then := t.left(goal, seen) / deg
		x.Minutes, x.ShimSDNow, x.ShimSD = interval.Number(minutes), interval.Number(now), interval.Number(then)
		x.Now, x.Then = interval.Number(usualRound*now), interval.Number(usualRound*then)
		if then < worthDoing*now {
			out = append(out, x)
		}
	}
	const noted = PlaceMinutes + TrimNotes*perNote
	if x, seen := t.threePlaces(); len(seen) > 1 {
		n := float64(len(seen))
		add(x, n*PlaceMinutes+(n-1)*ashore, seen...)
	}
	spread := make([]float64, planSpeeds)
	for i := range spread {
		spread[i] = t.Low + (t.Top-t.Low)*(float64(i)+0.5)/planSpeeds
	}
	add(Trial{Observation: Observation{Kind: NoteMoments, Speeds: spread}, Each: 2 * TrimNotes}, 2*noted, t.notesAt(spread, 0, 2*TrimNotes)...)
	ends := []float64{t.Low, t.mid(), t.Top}
	add(Trial{Observation: Observation{Kind: NoteFeel, Speeds: ends}, Each: 1}, 3*atASpeed, t.notesAt(ends, 0, len(ends))...)
	if t.mayShim() {
		card := t.direction()
		add(Trial{Observation: t.withCard(CardInOut, spread), Each: TrimNotes, Shim: interval.Number(card * trim.Card / mm)}, 2*noted+ashore,
			append(t.notesAt(spread, 0, TrimNotes), t.notesAt(spread, card, TrimNotes)...)...)
	}
	minutes := map[Kind]float64{MeasureAngle: angleMinutes, BalanceBoard: boardMinutes, LevelLogger: levelMinutes, WingAngle: levelMinutes, LogMotion: motionSetup}
	for _, c := range t.candidates() {
		if m := minutes[c.Kind]; m > 0 {
			var seen []seenOf
			for _, o := range c.seen {
				seen = append(seen, seenOf{trim.OfEach(t.post.Draws, func(in *trim.Inputs) float64 { return o.Of(*in) }), o.SD})
			}
			add(Trial{Observation: c.Observation}, m, seen...)
		}
	}
	slices.SortStableFunc(out, func(a, b Trial) int { return cmp.Compare(b.worth(), a.worth()) })
	return out[:min(len(out), mostTold)]
}

// raises is the best turn of the stabilizer by each draw, rad.
func (t *task) raises() []float64 {
	out := make([]float64, len(t.bestEach))
	for i, b := range t.bestEach {
		out[i] = b.Raise
	}
	return out
}

// left is σ of the goal once what is seen is known.
func (t *task) left(goal []float64, seen []seenOf) float64 {
	told, ok := t.regress([][]float64{goal}, seen)
	if !ok {
		return stat.StdDev(goal, t.post.Weights)
	}
	return math.Sqrt(math.Max(0, stat.Variance(goal, t.post.Weights)-mat.Dot(told.with.ColView(0), told.by.ColView(0))))
}

// A regression is how quantities of the draws follow from what is seen.
type regression struct{ shown, with, by *mat.Dense }

// regress is the linear regression of quantities over the draws on what is seen
// with its own errors: by holds the coefficients, a column a quantity, with their
// covariances and shown what each draw shows; false where it cannot be told.
func (t *task) regress(quantities [][]float64, seen []seenOf) (r regression, ok bool) {
	n, w := len(seen), t.post.Weights
	r = regression{mat.NewDense(len(t.draws), n, nil), mat.NewDense(n, len(quantities), nil), new(mat.Dense)}
	for k, s := range seen {
		r.shown.SetCol(k, s.of)
		for j, q := range quantities {
			r.with.Set(k, j, stat.Covariance(q, s.of, w))
		}
	}
	var cov mat.SymDense
	stat.CovarianceMatrix(&cov, r.shown, w)
	for k, s := range seen {
		cov.SetSym(k, k, cov.At(k, k)+s.sd*s.sd)
	}
	var chol mat.Cholesky
	return r, chol.Factorize(&cov) && chol.SolveTo(r.by, r.with) == nil
}

// notesAt is n notes of feel spread over speeds with cards fitted.
func (t *task) notesAt(speeds []float64, cards float64, n int) (out []seenOf) {
	for _, v := range speeds {
		out = append(out, seenOf{t.toldBy(note(v), cards), noteSD * math.Sqrt(float64(len(speeds))/float64(n))})
	}
	return out
}

// threePlaces is the speed that feels even with the foil at three places: such
// that by the most probable foil the even speeds lie low, in the middle and high
// within the range, no further apart than nullStep, and within the track.
func (t *task) threePlaces() (Trial, []seenOf) {
	x := Trial{Observation: Observation{Kind: FindNulls, ChangesTrim: true}, Each: EvenPresses}
	f := trim.NewFoil(t.post.MAP)
	within := inside * (t.Top - t.Low)
	at := func(v float64) float64 { // the share is linear in the place
		p := f.Point(v, trim.Gravity)
		felt := func(dx float64) float64 { return p.With(trim.Change{Foil: dx}).FeltShare }
		return (0.5 - felt(0)) / (felt(0.01) - felt(0)) * 0.01
	}
	lo, hi := t.trackReach()
	mid := clamp(at(t.mid()), lo, hi)
	for _, v := range []float64{t.Low + within, t.mid(), t.Top - within} {
		place := placeGrid * math.Round(clamp(clamp(at(v), mid-nullStep, mid+nullStep), lo, hi)/placeGrid)
		x.Places = append(x.Places, place+0) // not -0
	}
	slices.Sort(x.Places)
	for k := range x.Places[1:] { // a flat load: places that can be told apart
		if x.Places[k+1]-x.Places[k] < leastApart-mm {
			x.Places[k+1] = x.Places[k] + leastApart
		}
	}
	x.Places = slices.DeleteFunc(x.Places, func(p float64) bool { return p < lo-slack || p > hi+slack })
	if n := len(x.Places); n > 0 && math.Abs(x.Places[n-1]) < math.Abs(x.Places[0]) {
		slices.Reverse(x.Places) // from the end nearer to where the foil stands
	}
	var seen []seenOf
	var places []float64
	for _, dx := range x.Places {
		v, off := t.evenSpeed(&f, dx)
		if off > evenEnough {
			continue
		}
		places, x.EvenAt = append(places, dx), append(x.EvenAt, v)
		seen = append(seen, seenOf{t.toldBy(even(v, dx), 0), nullSD})
	}
	x.Places = places
	return x, seen
}

// evenSpeed is the speed of the range at which the load is nearest to even with
// the foil moved by dx.
func (t *task) evenSpeed(f *trim.Foil, dx float64) (best, least float64) {
	best, least = t.mid(), math.Inf(1)
	for _, v := range t.curveSpeeds() {
		l := even(v, dx)
		if off := math.Abs(l.Told(f, v) - 0.5); off < least {
			best, least = v, off
		}
	}
	return best, least
}

package advice

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"evenfoot/analysis/trim"
)

const (
	rejected = 0.05 // p of χ² from which what was seen is not what was predicted
	oneSided = 10.0 // odds from which one of prediction and no change is clearly favoured

	// farApart is how far apart, σ, two forecasts must lie for the odds to pass
	// oneSided in four cases of five where one of them is true: the log of the
	// odds is then normal with mean d²/2 and variance d².
	farApart  = 3.15
	mostNotes = 30                               // that anybody is asked for
	noteTakes = perNote + PlaceMinutes/TrimNotes // minutes
)

// A weighing holds what the outing after shows against two forecasts from the
// outing before: the change as the setups tell it, and no change at all.
type weighing struct {
	notes  int     // notes of feel after, and speeds that feel even
	marks  bool    // among them
	before int     // of the same, and of measured shares, that the forecast rests on
	p      float64 // of χ² against the change that was foretold
	odds   float64 // likelihood of the foretold change over that of no change
}

// weigh looks at all notes of feel after, in whichever part of its log, and at the change of the pitch at
// zero lift where levels says that it compares. Each forecast is the mean and
// the covariance of the draws before, to which the observations' own doubts are
// added, so that errors common to all speeds count once:
//
//	χ² = dᵀ C⁻¹ d        ln L = -½ (χ² + ln |C|)
func weigh(before, after Side, predicted []trim.Inputs, levels bool) weighing {
	seen := readings(before, after, levels)
	w := weighing{p: 1, odds: 1, before: before.Posterior.Told(), marks: len(after.Marked) > 0}
	for _, s := range seen {
		if s.felt {
			w.notes++
		}
	}
	change, changeL, ok := forecastOf(seen, before.Posterior, predicted).likelihood(seen)
	_, noneL, okNone := forecastOf(seen, before.Posterior, before.Posterior.WithRider().Draws).likelihood(seen)
	if ok && okNone {
		w.p, w.odds = distuv.ChiSquared{K: float64(len(seen))}.Survival(change), math.Exp(changeL-noneL)
	}
	return w
}

// A reading is one thing that was observed, or could be.
type reading struct {
	of   func(f, was *trim.Foil) float64 // by the model
	miss func(model float64) float64     // model minus observation; nil where it is not made yet
	sd   float64
	felt bool // by the rider, not a sensor's
}

// felt is what a rider tells.
func felt(l trim.Load) reading {
	return reading{of: func(f, _ *trim.Foil) float64 { return l.Told(f, l.Speed) }, miss: l.Miss, sd: l.SD, felt: true}
}

// readings are what the outing after shows of the change.
func readings(before, after Side, levels bool) (seen []reading) {
	for _, n := range after.Setup.Feel {
		if n.Speed >= slowest && n.SD > 0 {
			seen = append(seen, felt(trim.Noted(n)))
		}
	}
	for _, l := range after.Marked {
		r := felt(l)
		if l.SpeedSD > 0 {
			best := trim.NewFoil(after.Posterior.MAP)
			r.sd = math.Hypot(l.SD, l.Told(&best, l.Speed+l.SpeedSD)-l.Told(&best, l.Speed))
		}
		seen = append(seen, r)
	}
	if levels && before.HasLaw && after.HasLaw {
		z := minus(after.Zero, before.Zero)
		seen = append(seen, reading{
			of: func(f, was *trim.Foil) float64 {
				then, _ := f.Law(0, 0)
				now, _ := was.Law(0, 0)
				return then - now
			},
			miss: func(model float64) float64 { return model - z.Value }, sd: z.SD(),
		})
	}
	return seen
}

// A forecast is what is expected of readings before their own doubts.
type forecast struct {
	mean []float64
	cov  mat.SymDense
}

// forecastOf is what the readings show when the foils are to, which before the
// change were those of from.
func forecastOf(seen []reading, from *trim.Posterior, to []trim.Inputs) *forecast {
	n := len(seen)
	if n == 0 || len(to) < 2 {
		return &forecast{}
	}
	model := mat.NewDense(len(to), n, nil)
	for i := range to {
		f, was := trim.NewFoil(to[i]), trim.NewFoil(from.Draws[i])
		for k, s := range seen {
			model.Set(i, k, s.of(&f, &was))
		}
	}
	c := &forecast{mean: make([]float64, n)}
	for k := range seen {
		c.mean[k] = stat.Mean(mat.Col(nil, k, model), from.Weights)
	}
	stat.CovarianceMatrix(&c.cov, model, from.Weights)
	return c
}

// distance is how far the misses lie from zero, σ, and the covariance's
// logarithm, with the readings' own doubts.
func (c *forecast) distance(seen []reading, miss []float64) (d, logDet float64, ok bool) {
	if len(c.mean) == 0 {
		return 0, 0, false
	}
	n := len(miss)
	cov := mat.NewSymDense(n, nil)
	cov.CopySym(&c.cov)
	for k, s := range seen {
		cov.SetSym(k, k, cov.At(k, k)+s.sd*s.sd)
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return 0, 0, false
	}
	d = stat.Mahalanobis(mat.NewVecDense(n, miss), mat.NewVecDense(n, nil), &chol)
	return d, chol.LogDet(), finite(d)
}

// likelihood is χ² and log likelihood of the readings.
func (c *forecast) likelihood(seen []reading) (chi2, logL float64, ok bool) {
	miss := make([]float64, len(c.mean))
	for k, m := range c.mean {
		miss[k] = seen[k].miss(m)
	}
	d, logDet, ok := c.distance(seen, miss)
	return d * d, -(d*d + logDet) / 2, ok
}

// notesToTell is how many more notes of the trim after, spread over the speeds,
// would most likely tell the change from none; 0 where not even mostNotes would.
func notesToTell(before, after Side, predicted []trim.Inputs, levels bool, w SpeedWeights) int {
	seen := readings(before, after, levels)
	at := []float64{w.Low, w.mid(), w.Top}
	for _, v := range at {
		seen = append(seen, felt(note(v)))
	}
	change, none := forecastOf(seen, before.Posterior, predicted), forecastOf(seen, before.Posterior, before.Posterior.WithRider().Draws)
	for n := len(at); n <= mostNotes && len(change.mean) > 0; n += len(at) {
		apart := make([]float64, len(seen))
		for k := range seen {
			apart[k] = change.mean[k] - none.mean[k]
			if k >= len(seen)-len(at) {
				seen[k].sd = noteSD * math.Sqrt(float64(len(at))/float64(n))
			}
		}
		if d, _, ok := change.distance(seen, apart); ok && d >= farApart {
			return n
		}
	}
	return 0
}

// verdict is strict both ways: a change is confirmed only where no change at
// all would not explain what was seen.
func (w weighing) verdict() string {
	switch {
	case w.notes > 0 && w.before == 0:
		return CannotTell // a miss may be the setup's, which nothing has checked
	case w.p < rejected || w.odds < 1/oneSided:
		return NotAsPredicted
	case w.notes > 0 && w.odds > oneSided:
		return AsPredicted
	}
	return CannotTell
}

// farUnlike is how far a row must be from what was predicted to be named, σ:
// one in a hundred by chance.
const farUnlike = 2.6

// judge sums up. foretold is the change of the front foot's share at a speed
// (m/s), more how many notes would tell.
func (r *BeforeAfter) judge(speeds SpeedWeights, w weighing, more func() int, foretold func(speed float64) float64) {
	say := func(x Reason) { r.Says = append(r.Says, x) }
	if len(r.Changed) == 0 {
		say(Reason{Kind: NothingChanged})
		if w.verdict() == NotAsPredicted {
			say(Reason{Kind: ChangedUnsaid})
		}
		return
	}
	r.Verdict = w.verdict()
	switch {
	case r.Verdict == AsPredicted:
		say(Reason{Kind: FeltAsForetold})
	case r.Verdict == NotAsPredicted && w.odds < 1/oneSided:
		say(Reason{Kind: FitsUnchanged})
	case r.Verdict == NotAsPredicted:
		say(Reason{Kind: NotAsForetold})
	case w.notes == 0:
		say(Reason{Kind: NoNotesAfter})
	case w.before == 0:
		say(Reason{Kind: NoNotesBefore})
	default:
		say(Reason{Kind: NotesDoNotTell, Had: w.notes, Marks: w.marks})
	}
	if r.Verdict == CannotTell {
		next := speeds.nextTime(foretold, r.Rows)
		next.Had = w.notes
		if w.before > 0 && next.Speed > 0 {
			next.Notes = more()
			next.Minutes = noteTakes * float64(next.Notes)
		}
		if each := math.Ceil(2 * math.Pow(farApart*noteSD/next.Share, 2)); next.Notes == 0 && each <= mostNotes {
			next.Each = int(each)
		}
		say(next)
	}
	for i := range r.Rows {
		if row := &r.Rows[i]; float64(row.Sigmas) > farUnlike {
			say(Reason{Kind: RowUnlike, Row: row})
		}
	}
	if p := float64(r.ChanceBetter); finite(p) && r.Verdict != NotAsPredicted {
		kind := EvennessUnclear
		switch {
		case p >= Surely:
			kind = MoreEven
		case p <= 1-Surely:
			kind = LessEven
		}
		say(Reason{Kind: kind, Chance: p})
	}
}

// nextTime is where to note the feel so that the next comparison can tell. What
// a row says of that speed is the number.
func (w SpeedWeights) nextTime(foretold func(speed float64) float64, rows []Comparison) Reason {
	r := Reason{Kind: NextTime}
	if len(w.Speed) == 0 {
		return r
	}
	for _, v := range []float64{w.Top, w.mid(), w.Low} {
		if c := foretold(v); r.Speed == 0 || math.Abs(c) > math.Abs(r.Share)+0.005 {
			r.Speed, r.Share = v, c
		}
	}
	for _, row := range rows {
		if row.Kind == ShareChange && math.Abs(row.Speed-r.Speed) < 0.5 {
			r.Speed, r.Share = row.Speed, row.Predicted.Value/100
			break
		}
	}
	return r
}

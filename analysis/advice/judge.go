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
)

// A weighing holds what the outing after shows against two forecasts from the
// outing before: the change as the setups tell it, and no change at all.
type weighing struct {
	notes  int     // notes of feel after
	before int     // notes of feel that the forecast rests on
	p      float64 // of χ² against the change that was foretold
	same   float64 // of χ² against no change
	odds   float64 // likelihood of the foretold change over that of no change
}

// weigh looks at all notes of feel after, and at the change of the pitch at
// zero lift where levels says that it compares. Each forecast is the mean and
// the covariance of the draws before, to which the observations' own doubts are
// added, so that errors common to all speeds count once:
//
//	χ² = dᵀ C⁻¹ d        ln L = -½ (χ² + ln |C|)
func weigh(before, after Side, predicted []trim.Inputs, levels bool) weighing {
	w := weighing{p: 1, same: 1, odds: 1, before: before.Posterior.FeelNotes()}
	var seen []reading
	for _, n := range after.Setup.Feel {
		if n.Speed < slowest || !(n.SD > 0) {
			continue
		}
		w.notes++
		seen = append(seen, reading{
			of:   func(f, _ trim.Foil) float64 { return f.In.Said(f.At(n.Speed, trim.Gravity).FrontShare) },
			miss: func(model float64) float64 { return trim.Miss(n, model) },
			sd:   n.SD,
		})
	}
	if levels && before.HasLaw && after.HasLaw {
		z := minus(after.Zero, before.Zero)
		seen = append(seen, reading{
			of: func(f, was trim.Foil) float64 {
				then, _ := f.Law(0, 0)
				now, _ := was.Law(0, 0)
				return then - now
			},
			miss: func(model float64) float64 { return model - z.Value },
			sd:   z.SD(),
		})
	}
	change, changeL, ok := likelihood(seen, before.Posterior, predicted)
	none, noneL, okNone := likelihood(seen, before.Posterior, before.Posterior.Draws)
	if !ok || !okNone {
		return w
	}
	law := distuv.ChiSquared{K: float64(len(seen))}
	w.p, w.same, w.odds = law.Survival(change), law.Survival(none), math.Exp(changeL-noneL)
	return w
}

// A reading is one thing that was observed.
type reading struct {
	of   func(f, was trim.Foil) float64 // by the model
	miss func(model float64) float64    // model minus observation
	sd   float64
}

// likelihood is χ² and log likelihood of the readings when the foils are to,
// which before the change were those of from.
func likelihood(seen []reading, from *trim.Posterior, to []trim.Inputs) (chi2, logL float64, ok bool) {
	n := len(seen)
	if n == 0 || len(to) < 2 {
		return 0, 0, false
	}
	model := mat.NewDense(len(to), n, nil)
	for i := range to {
		f, was := trim.NewFoil(to[i]), trim.NewFoil(from.Draws[i])
		for k, s := range seen {
			model.Set(i, k, s.of(f, was))
		}
	}
	var cov mat.SymDense
	stat.CovarianceMatrix(&cov, model, from.Weights)
	miss := mat.NewVecDense(n, nil)
	for k, s := range seen {
		cov.SetSym(k, k, cov.At(k, k)+s.sd*s.sd)
		miss.SetVec(k, s.miss(stat.Mean(mat.Col(nil, k, model), from.Weights)))
	}
	var chol mat.Cholesky
	if !chol.Factorize(&cov) {
		return 0, 0, false
	}
	d := stat.Mahalanobis(miss, mat.NewVecDense(n, nil), &chol)
	return d * d, -(d*d + chol.LogDet()) / 2, finite(d)
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
// (m/s).
func (r *BeforeAfter) judge(speeds SpeedWeights, w weighing, foretold func(speed float64) float64) {
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
		say(Reason{Kind: NotesDoNotTell})
	}
	if r.Verdict == CannotTell {
		say(speeds.nextTime(foretold, r.Rows))
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

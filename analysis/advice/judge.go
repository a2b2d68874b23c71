package advice

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"evenfoot/analysis/trim"
)

const (
	rejected = 0.05 // p of χ² from which what was seen is not what was predicted
	oneSided = 10.0 // odds from which one of prediction and no change is clearly favoured
	feltMove = 0.04 // change of share that four notes can hardly tell from none
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
			of:   func(f, was trim.Foil) float64 { return zeroPitch(f) - zeroPitch(was) },
			miss: func(model float64) float64 { return model - z.Value },
			sd:   z.SD(),
		})
	}
	change, changeL, ok := likelihood(seen, before.Posterior.Draws, predicted)
	none, noneL, okNone := likelihood(seen, before.Posterior.Draws, before.Posterior.Draws)
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
// which before the change were from.
func likelihood(seen []reading, from, to []trim.Inputs) (chi2, logL float64, ok bool) {
	n := len(seen)
	if n == 0 || len(to) < 2 {
		return 0, 0, false
	}
	model := mat.NewDense(len(to), n, nil)
	for i := range to {
		f, was := trim.NewFoil(to[i]), trim.NewFoil(from[i])
		for k, s := range seen {
			model.Set(i, k, s.of(f, was))
		}
	}
	var cov mat.SymDense
	stat.CovarianceMatrix(&cov, model, nil)
	miss := mat.NewVecDense(n, nil)
	for k, s := range seen {
		cov.SetSym(k, k, cov.At(k, k)+s.sd*s.sd)
		miss.SetVec(k, s.miss(stat.Mean(mat.Col(nil, k, model), nil)))
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

// judge sums up in plain words. foretold is the change of the front foot's
// share at a speed (m/s).
func (r *BeforeAfter) judge(t *task, w weighing, foretold func(speed float64) float64) {
	var says []string
	say := func(format string, args ...any) { says = append(says, fmt.Sprintf(format, args...)) }
	if len(r.Changed) == 0 {
		say("The two setups are the same: nothing was changed that this program knows of, so there is no change to judge.")
		if w.verdict() == NotAsPredicted {
			say("Yet the outing after does not fit the outing before: something changed that the setups do not tell.")
		}
		r.Says = strings.Join(says, " ")
		return
	}
	r.Verdict = w.verdict()
	switch {
	case r.Verdict == AsPredicted:
		say("What the feet felt after the change fits what the outing before foretold, and does not fit an unchanged trim.")
	case r.Verdict == NotAsPredicted && w.odds < 1/oneSided:
		say("What was seen fits an unchanged trim far better than the change that was foretold. Check that the change was made as the second setup says, and that the notes are of this outing.")
	case r.Verdict == NotAsPredicted:
		say("What was seen after the change is not what the outing before foretold. Check the size and the side of the change, and the notes of feel.")
	case w.notes == 0:
		say("There are no notes of feel from the outing after the change, so the load cannot be checked.")
	case w.before == 0:
		say("There are no notes of feel from the outing before the change, so nothing tells how the load was then.")
	default:
		say("The notes of feel do not tell the change that was foretold from no change at all.")
	}
	if r.Verdict == CannotTell {
		say("%s", t.nextTime(foretold))
	}
	for _, row := range r.Rows {
		if z := float64(row.Sigmas); z > 2.6 {
			say("The %s is otherwise than predicted, by more than chance explains.", row.What)
		}
	}
	if p := float64(r.ChanceBetter); finite(p) && r.Verdict != NotAsPredicted {
		const by = "By the model and all the evidence, the setups taken at their word,"
		switch {
		case p >= sureBetter:
			say("%s the load is more even than before (chance %s).", by, chanceText(p))
		case p <= 1-sureBetter:
			say("%s the load is less even than before (chance that it is better: %s).", by, chanceText(p))
		default:
			say("Whether the load is more even than before cannot be told (chance %s).", chanceText(p))
		}
	}
	r.Says = strings.Join(says, " ")
}

// nextTime says what to note so that the next comparison can tell.
func (t *task) nextTime(foretold func(speed float64) float64) string {
	if len(t.w.Speed) == 0 {
		return "Next time note how the feet feel at the same three or four speeds before and after."
	}
	at, most := t.w.Top, 0.0
	for _, v := range []float64{t.w.Top, t.w.mid(), t.w.Low} {
		if c := foretold(v); math.Abs(c) > math.Abs(most)+0.005 {
			at, most = v, c
		}
	}
	says := fmt.Sprintf("Next time note how the feet feel at the same three or four speeds before and after, %s among them: there the change foretold for the front foot is largest, %+.0f points.", t.speedText(at), 100*most)
	if math.Abs(most) < feltMove {
		says += " A change so small can hardly be felt; only more notes would show it."
	}
	return says
}

// zeroPitch is the pitch at zero lift that a log would show, rad.
func zeroPitch(f trim.Foil) float64 {
	zero, _ := f.Law(0, 0)
	return zero
}

// pitchSlope is the slope of the pitch law that a log would show, rad per (m²/kg).
func pitchSlope(f trim.Foil) float64 {
	_, slope := f.Law(0, 0)
	return slope
}

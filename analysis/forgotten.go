package analysis

import (
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/trim"
)

// What a stop must be for a trim to be changed in it, and what must be other after
// it than before to be asked about. The sigmas are tuned on simulated outings
// without a change, of which one in forty is asked about at most.
const (
	leastStop   = 60.0         // s between two flights
	loadSigmas  = 2.5          // of the load that marks tell, and more where there are many stops
	triedMove   = 0.02         // m, to see how the evidence takes it
	zeroSigmas  = 4.0          // of the pitch law's zero
	leastTurn   = 0.3 * degree // of the same: what a logger that settles does
	reachesEach = 4            // on both sides of the stop
	likelier    = 10.0         // than a pitch that creeps: odds
)

// stops are the pauses in which a trim may have been changed that the setup
// does not tell of.
func (o *observation) stops() (out [][2]float64) {
	for i := 1; i < len(o.ride.Rides); i++ {
		from, to := o.ride.Rides[i-1].End, o.ride.Rides[i].Start
		if to-from >= leastStop && mark.PartAt(o.parts, from) == mark.PartAt(o.parts, to) {
			out = append(out, [2]float64{from, to})
		}
	}
	return out
}

// jumped is a finding about the surest of several jumps.
func (o *observation) jumped(k Kind, stop [2]float64, by interval.Interval) *Note {
	return &Note{Kind: k, At: stop[0], Time: clockTime(o.log, stop[0]), By: &by}
}

// zeroJump looks for a stop after which the board flies at another pitch under the
// same lift area, and which tells more than a pitch that creeps and settles would.
func (o *observation) zeroJump() {
	reaches := map[int][]float64{}
	for i := range o.law.Windows {
		w := &o.law.Windows[i]
		if zero, ok := o.law.ZeroByTack[pitchlaw.TackName(w.Tack)]; ok && w.Weight > 0 {
			reaches[w.Reach] = append(reaches[w.Reach], w.PitchCos-zero.Value-o.law.Slope.Value*w.LiftArea)
		}
	}
	var at, pitch []float64 // of each reach
	for _, k := range slices.Sorted(maps.Keys(reaches)) {
		at, pitch = append(at, o.ride.Reaches[k].Start), append(pitch, stat.Mean(reaches[k], nil))
	}
	if len(at) < 2*reachesEach {
		return
	}
	stops := o.stops()
	sigmas := math.Sqrt(zeroSigmas*zeroSigmas + 2*math.Log(math.Max(1, float64(len(stops)))))
	_, crept := fitted(at, pitch, func(t float64) []float64 { return []float64{1, t, t * t} })
	best := 0.0
	var found *Note
	for _, stop := range stops {
		n, after := float64(len(at)), 0.0
		for _, t := range at {
			if t > stop[0] {
				after++
			}
		}
		if min(n-after, after) < reachesEach {
			continue
		}
		by, jumped := fitted(at, pitch, func(t float64) []float64 {
			if t > stop[0] {
				return []float64{1, 1}
			}
			return []float64{1, 0}
		})
		law := distuv.StudentsT{Sigma: 1, Nu: n - 2}
		sd := math.Sqrt(jumped / law.Nu * (1/(n-after) + 1/after))
		z := math.Abs(by) / sd
		// A normal is as rarely beyond sigmas as this law is beyond the bound.
		if bound := -law.Quantile(distuv.UnitNormal.CDF(-sigmas)); z > max(best, bound) && math.Abs(by) > leastTurn && math.Pow(crept/jumped, n/2) > likelier {
			best, found = z, o.jumped(ZeroJumps, stop, interval.Normal(by, sd*law.Quantile(0.95)/interval.Z90))
		}
	}
	if found != nil {
		o.warn(*found)
	}
}

// fitted is the second coefficient of the least-squares fit of y to what row makes of
// the times t, s, and the sum of squares that it leaves; +Inf where they do not tell.
func fitted(t, y []float64, row func(t float64) []float64) (second, left float64) {
	x := mat.NewDense(len(t), len(row(0)), nil)
	for i := range t {
		x.SetRow(i, row(t[i]))
	}
	var b, r mat.VecDense
	if b.SolveVec(x, mat.NewVecDense(len(y), y)) != nil {
		return 0, math.Inf(1)
	}
	r.MulVec(x, &b)
	r.SubVec(mat.NewVecDense(len(y), y), &r)
	return b.AtVec(1), mat.Dot(&r, &r)
}

// loadJump looks for a stop after which the marks tell another load: by how much
// all the evidence would rather have it that the foil was moved there.
func (r *Result) loadJump(earlier []trim.Outing) {
	o := r.seen
	if o.ride == nil || len(o.told) == 0 {
		return
	}
	stops := o.stops()
	best := math.Sqrt(loadSigmas*loadSigmas + 2*math.Log(math.Max(1, float64(len(stops)))))
	var found *Note
	for _, stop := range stops {
		marks, parts, k, ok := o.parted(stop)
		if !ok {
			continue
		}
		was := parts[k].Change
		surprise := func(move float64) float64 {
			parts[k].Change.Foil = was.Foil + move
			then := r.outing
			then.Ev.Loads = append(mark.Evidence(slices.Clone(marks), parts, o.ride, o.flow()), r.outing.Ev.Loads[len(o.told):]...)
			p, err := trim.Infer(then, earlier, 2)
			if err != nil {
				return math.NaN()
			}
			return p.Surprise
		}
		back, none, ahead := surprise(-triedMove), surprise(0), surprise(triedMove)
		bend := (ahead + back - 2*none) / (triedMove * triedMove)
		by, sd := (back-ahead)/(2*triedMove*bend), math.Sqrt(2/bend)
		if z := math.Abs(by) / sd; z > best {
			best, found = z, o.jumped(LoadJumps, stop, interval.Normal(by, sd))
		}
	}
	if found != nil {
		r.warn(*found)
	}
}

// parted are the marks with one part more, which begins at the stop; false where not
// both sides of it hold marks that count.
func (o *observation) parted(stop [2]float64) (marks []mark.Mark, parts []mark.Part, part int, ok bool) {
	part = mark.PartAt(o.parts, stop[0]) + 1
	parts = slices.Insert(slices.Clone(o.parts), part, mark.Part{Start: stop[1], Change: o.parts[part-1].Change})
	marks = slices.Clone(o.marks)
	var each [2]int
	for i := range marks {
		m := &marks[i]
		if m.Why == mark.FarOff { // from the others of a place that may be two
			m.Why, m.Even = "", true
		}
		m.Part = mark.PartAt(parts, float64(m.At))
		if side := m.Part - part + 1; m.Counts() && (side == 0 || side == 1) {
			each[side]++
		}
	}
	return marks, parts, part, min(each[0], each[1]) > 0
}

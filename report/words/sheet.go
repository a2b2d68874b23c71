package words

import (
	"fmt"
	"math"
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
)

// A Sheet is a result with what its sentences ask of it.
type Sheet struct {
	*analysis.Result
	u                      Units
	Lo, Mid, Top           float64            // the speeds that count, m/s
	Slow, Fast             analysis.LoadPoint // the load at them
	Worst                  interval.Interval  // the share that is farthest from even between them
	WorstAt                float64            // and where, m/s
	Fitted, Shim, WithShim float64            // shims, m: today's, the next step's, both; 0 for none
	Move, Feet             float64            // of the next step, m; 0 for none
	Beginner               bool
	Last, Measure          string              // the last of the limits; what is worth measuring
	Notes                  []float64           // speeds at which notes of feel are worth having, m/s
	Test                   *advice.Observation // another trim to learn from, nil for none
}

// Sheet is a result as its sentences, figures and drawings see it.
func (u Units) Sheet(r *analysis.Result) *Sheet {
	s := &Sheet{Result: r, u: u}
	s.Lo, s.Mid, s.Top = SpeedsOf(r)
	s.Slow, _ = LoadAt(r, s.Lo)
	s.Fast, _ = LoadAt(r, s.Top)
	s.Worst = interval.Exact(0.5)
	for _, p := range r.FootLoad {
		if v, share := float64(p.Speed), p.FrontShare; v >= s.Lo && v <= s.Top && math.Abs(share.Value-0.5) > math.Abs(s.Worst.Value-0.5) {
			s.WorstAt, s.Worst = v, share
		}
	}
	if r.Setup != nil {
		s.Fitted, s.Beginner = r.Setup.Foil.Stabilizer.Shim, r.Setup.Rider.Level == "beginner"
	}
	if a := r.Advice; a != nil {
		s.Shim, s.Move, s.Feet = metres(a.Shim, 0.05), metres(a.MoveNow, 0.5), metres(a.FeetNow, 0.5)
	}
	s.WithShim = s.Fitted + s.Shim
	return s
}

// metres is a part of a step, mm, 0 where it is less than can be fitted.
func metres(mm interval.Number, least float64) float64 {
	if v := float64(mm); Finite(v) && math.Abs(v) >= least {
		return v / 1000
	}
	return 0
}

// Known says that a step's or a trim's load can be told.
func (s *Sheet) Known() bool {
	_, ok := LoadAt(s.Result, s.Top)
	return ok
}

// One says that all the speeds that count read alike.
func (s *Sheet) One() bool { return s.u.SpeedText(s.Lo) == s.u.SpeedText(s.Top) }

// carries says how the load stands on a rider's front foot.
func (s *Sheet) carries(foot string) string {
	if says := s.u.Tell("carries", s); says != "" {
		return foot + " " + says
	}
	return ""
}

// Even is the class of an even load, in the middle of five.
const Even = 2

// Class is the class of a share, from the back foot's load to the front's: 45 to
// 55 % is even, beyond 40 and 60 % is heavy.
func Class(share float64) int {
	switch {
	case share > 0.60:
		return 4
	case share > 0.55:
		return 3
	case share < 0.40:
		return 0
	case share < 0.45:
		return 1
	}
	return Even
}

// heavy says in words how a share feels, as it is printed and as far as its
// interval says so: it is even where the doubt ends at 40 to 60 %, and a foot is
// heavy where that is as sure as a step must be; "" where neither is.
func heavy(share interval.Interval) string {
	round := func(v float64) float64 { return math.Round(100*v) / 100 }
	part := math.Sqrt2 * math.Erfinv(2*advice.Surely-1) / interval.Z90 // of the interval's half, to be as sure
	switch is := Class(round(share.Value)); {
	case is == Even && round(share.Low) >= 0.40 && round(share.High) <= 0.60:
		return "even"
	case share.Value-part*(share.Value-share.Low) > 0.5:
		return Choose(is > Even+1, "front-heavy", "a little front-heavy")
	case share.Value+part*(share.High-share.Value) < 0.5:
		return Choose(is < Even-1, "back-heavy", "a little back-heavy")
	}
	return ""
}

// evenEnough is how far off even, as a share, a rider takes as even.
const evenEnough = 0.06

// even says that the load is even at every speed that counts, and by the mean.
func even(r *analysis.Result) bool {
	s := Units{}.Sheet(r)
	uneven := func(share interval.Interval) bool { return heavy(share) != "even" }
	return !slices.ContainsFunc([]interval.Interval{s.Slow.FrontShare, s.Fast.FrontShare, s.Worst}, uneven) && r.Advice.EvennessNow.Value <= evenEnough
}

// noticed is the change of the speed gradient from which on a rider may notice
// it, points of the load per knot (no source).
const noticed = 0.25

// Calmer is by how much the next step changes the speed gradient at the top,
// 0 where a rider does not notice it.
func (s *Sheet) Calmer() float64 {
	if d := s.Advice.GradientAfter.Value - s.Advice.GradientNow.Value; math.Abs(d) > noticed {
		return d
	}
	return 0
}

// rare is a chance of overshoot that is not worth a caution.
const rare = 0.10

// Likely says that the load may fall with speed at the top, after the step.
func (s *Sheet) Likely() bool {
	return s.Advice != nil && float64(s.Advice.Overshoot) > rare && Finite(s.Top)
}

// Then names the speeds at which the load falls after the step, Both those at
// which it does today as well.
func (s *Sheet) Then() string {
	return s.falls(func(p analysis.LoadPoint) float64 { return p.GradientAfter.Value })
}

func (s *Sheet) Both() string {
	return s.falls(func(p analysis.LoadPoint) float64 { return math.Max(p.Gradient.Value, p.GradientAfter.Value) })
}

// falls names the speeds that count at which the gradient is below zero, "" for none.
func (s *Sheet) falls(gradient func(analysis.LoadPoint) float64) string {
	const same = 0.02 // m/s
	var runs []string
	from := -1
	for i, p := range s.FootLoad {
		v := float64(p.Speed)
		below := v > s.Lo-same && v < s.Top+same && gradient(p) < 0
		if below && from < 0 {
			from = i
		}
		if from >= 0 && (!below || i == len(s.FootLoad)-1) {
			last := i - Choose(below, 0, 1)
			a, b := s.u.SpeedText(float64(s.FootLoad[from].Speed)), s.u.SpeedText(float64(s.FootLoad[last].Speed))
			runs, from = append(runs, Choose(a == b, "at "+a, "from "+a+" to "+b)), -1
		}
	}
	return Listed(runs)
}

// Against says that the step takes some of what is fitted out, Gone that nothing
// is left of it, Less that a part is.
func (s *Sheet) Against() bool { return s.Fitted*s.Shim < 0 }
func (s *Sheet) Gone() bool    { return s.Against() && math.Abs(s.WithShim) < 0.00015 }
func (s *Sheet) Less() bool    { return s.Fitted*s.WithShim > 0 }
func (s *Sheet) Out() bool     { return s.Advice.TakeOut || s.Against() }

// Place is where a shim goes that raises (m > 0) or lowers the leading edge.
func (s *Sheet) Place(m float64) string { return placeAt(mountOf(s.Result), EdgeFor(s.Result, m)) }
func (s *Sheet) Edge() string           { return EdgeFor(s.Result, s.Shim) }

// ShimAt is the edge at which the shim is after the step, or was that comes out.
func (s *Sheet) ShimAt() string { return EdgeFor(s.Result, Choose(s.Gone(), s.Fitted, s.WithShim)) }

// Turn is by how much the step turns the leading edge, degrees; 0 where unknown.
func (s *Sheet) Turn() float64 {
	if s.Setup == nil || !(s.Setup.Foil.Stabilizer.ShimSpan > 0) {
		return 0
	}
	return math.Atan(s.Shim/s.Setup.Foil.Stabilizer.ShimSpan) * radian
}

// Left is how far the mast can slide the way of the step, m, and Short says that
// this is not enough, and no move of the feet makes up for it.
func (s *Sheet) Left() float64 {
	return Choose(s.Move < 0, -s.Setup.Board.Track[0], s.Setup.Board.Track[1])
}

func (s *Sheet) Short() bool {
	return math.Abs(s.Move) > s.Left()+1e-4 && !Finite(float64(s.Advice.FeetNow))
}

// Assumed says that the track's length is.
func (s *Sheet) Assumed() bool { return !s.Setup.Given("board.track_cm") }

// Next is what to do in place of a step, Says one of the reasons.
func (s *Sheet) Next() string                { return s.u.Reason(s.Advice.Next, s.Result) }
func (s *Sheet) Says(x advice.Reason) string { return s.u.Reason(x, s.Result) }

// Because says that the advice has a reason of that kind.
func (s *Sheet) Because(k advice.Kind) bool {
	return slices.ContainsFunc(s.Advice.Why, func(x advice.Reason) bool { return x.Kind == k })
}

// option is the first that is, nil for none.
func (s *Sheet) option(is func(o *advice.Option) bool) *advice.Option {
	for i := range s.Advice.Options {
		if is(&s.Advice.Options[i]) {
			return &s.Advice.Options[i]
		}
	}
	return nil
}

// Whole is the whole way with how surely it is more even than today; nil where
// the best of all choices lies elsewhere.
func (s *Sheet) Whole() *advice.Option {
	return s.option(func(o *advice.Option) bool {
		return o.Best && Finite(float64(o.ChanceBetter)) && float64(o.StabilizerDeg) == s.Advice.StabilizerChange.Value && o.FoilMove.Value == s.Advice.FoilMove.Value
	})
}

// Held is where the foil would best stand with the shim as it is, where the step
// moves the foil alone; nil for other steps.
func (s *Sheet) Held() *advice.Option {
	return s.option(func(o *advice.Option) bool {
		return s.Advice.Cards == 0 && s.Move != 0 && !o.Best && o.Cards == 0 && o.FoilMove.Known() && o.Reachable
	})
}

// NotTaken is the choice in reach that most surely is more even than today where
// no step is advised, nil for none.
func (s *Sheet) NotTaken() *advice.Option {
	return s.evenest(func(o *advice.Option) bool {
		return !(s.Beginner && o.Cards != 0) && o.ChanceBetter >= advice.Surely
	})
}

// Nearer is the choice that would come nearer to even than all the way of the
// steps does, but with less calm; nil for none.
func (s *Sheet) Nearer() *advice.Option {
	const told = 0.005
	all := s.Whole()
	return s.evenest(func(o *advice.Option) bool {
		return all != nil && s.Step() && o.Gradient.Value < all.Gradient.Value && o.Evenness.Value < all.Evenness.Value-told
	})
}

// evenest is the most even choice in reach that is, nil for none.
func (s *Sheet) evenest(is func(o *advice.Option) bool) (most *advice.Option) {
	for i := range s.Advice.Options {
		if o := &s.Advice.Options[i]; !o.Best && o.Reachable && is(o) && (most == nil || o.Evenness.Value < most.Evenness.Value) {
			most = o
		}
	}
	return most
}

// Best is the trim to which the steps lead, nil for none.
func (s *Sheet) Best() *advice.Option {
	if s.Advice == nil {
		return nil
	}
	return s.option(func(o *advice.Option) bool { return o.Best })
}

// Past says that a choice goes past the best trim, by more than its degrees or
// millimetres tell.
func (s *Sheet) Past(o *advice.Option) bool {
	past := func(far, best, slack float64) bool {
		return math.Abs(far) > slack && (far*best < 0 || math.Abs(far) > math.Abs(best)+slack)
	}
	turn, move := s.Advice.StabilizerChange, s.Advice.FoilMove
	return turn.Known() && move.Known() && (past(float64(o.StabilizerDeg), turn.Value, 0.1) || past(o.FoilMove.Value, move.Value, 5))
}

// Beyond says by how much the whole way is longer than the track, or what the
// track gives where only the doubt is longer; "" where it reaches.
func (s *Sheet) Beyond() string {
	if s.Setup == nil {
		return ""
	}
	all, track := s.Advice.FoilMove.Scale(0.001), s.Setup.Board.Track
	over := s.u.LengthText(math.Max(track[0]-all.Value, all.Value-track[1]))
	within := func(m float64) bool { return m > track[0]-0.0005 && m < track[1]+0.0005 }
	switch {
	case within(all.Value) && all.Low > track[0]+0.0005 && all.High < track[1]-0.0005:
		return ""
	case within(all.Value) && within(all.Low) && within(all.High):
		return ", counted within the slot: " + s.u.track(s.Setup)
	case within(all.Value):
		return "; the mast's slot gives " + s.u.track(s.Setup) + Choose(s.Assumed(), ", as is assumed", "")
	case s.Setup.Stance.Fixed:
		return ", which is " + over + " more than the track allows"
	}
	return ", " + over + " more than the track gives; the feet would do the rest"
}

// lookFor finds what would tell more, where the evidence is not enough.
func (s *Sheet) lookFor() {
	for i, o := range s.Advice.WorthKnowing {
		switch {
		case o.Kind == advice.NoteFeel:
			s.Notes = append(s.Notes, o.Speeds...)
		case o.ChangesTrim && s.Test == nil:
			s.Test = &s.Advice.WorthKnowing[i]
		case !o.ChangesTrim && s.Measure == "":
			s.Measure = Sentence(s.u.Observation(o))
		}
	}
	slices.Sort(s.Notes)
}

// Again says that the setup holds a note of feel at each of the speeds.
func (s *Sheet) Again() bool {
	const near = 0.5 // m/s, a knot
	for _, v := range s.Notes {
		if s.Setup == nil || !slices.ContainsFunc(s.Setup.Feel, func(f setup.Feel) bool { return math.Abs(f.Speed-v) <= near }) {
			return false
		}
	}
	return s.Setup != nil
}

// Pitch says for how much of the riding the board's pitch is known, "" when
// there is no such log or it covers nearly all.
func (s *Sheet) Pitch() string {
	m, r := s.Motion, s.Ride
	if m == nil || r == nil || !m.Mount.Rigid {
		return ""
	}
	var flown, covered float64
	for _, x := range r.Rides {
		flown += x.End - x.Start
		for _, g := range m.Segments {
			if g[0] < 0 || g[1] > len(m.Time) || g[1] <= g[0] {
				continue
			}
			covered += math.Max(0, math.Min(x.End, m.Time[g[1]-1])-math.Max(x.Start, m.Time[g[0]]))
		}
	}
	if !(covered < 0.95*flown) || !Finite(covered) {
		return ""
	}
	return fmt.Sprintf("pitch for %s of it", Minutes(covered))
}

// Step says that a step is advised, after which the load is another.
func (s *Sheet) Step() bool { return s.Advice != nil && s.Advice.Verdict == advice.Change }

// Tacks is how much more nose-up the board flies on starboard tack than on port,
// degrees; unknown where the log does not tell.
func (s *Sheet) Tacks() interval.Interval {
	if s.PitchLaw != nil && s.PitchLaw.Enough {
		for _, b := range s.PitchLaw.Bend {
			if b.Name == pitchlaw.TackDifference {
				return b.Size
			}
		}
	}
	return interval.Unknown()
}

// OffEven is how far off even the load is today, as a share.
func (s *Sheet) OffEven() interval.Interval {
	if s.Advice == nil {
		return interval.Unknown()
	}
	return s.Advice.EvennessNow
}

// Gain is how much nearer to even the next step brings the load, as a share.
func (s *Sheet) Gain() float64 {
	if s.Step() && s.Advice.EvennessAfter.Known() {
		return s.Advice.EvennessNow.Value - s.Advice.EvennessAfter.Value
	}
	return 0
}

// Front is today's front share at the top speed.
func (s *Sheet) Front() interval.Interval { return Possible(s.Fast.FrontShare) }

// Today says how the load stands now.
func (s *Sheet) Today() string { return s.carries("Today the front foot") }

// AtTop is the speed gradient at the top speed: the advice's own, by cards that
// are not all alike, or that of the load.
func (s *Sheet) AtTop(after bool) interval.Interval {
	if a := s.Advice; a != nil && a.GradientNow.Known() {
		return Choose(after, a.GradientAfter, a.GradientNow)
	}
	return Choose(after, s.Fast.GradientAfter, s.Fast.Gradient)
}

// SpeedsOf are the low, middle and top speed that count, m/s; NaN when unknown.
func SpeedsOf(r *analysis.Result) (lo, mid, top float64) {
	lo, top = r.RangeLow, r.RangeHigh
	if !(top > lo) || !Finite(lo) || !Finite(top) {
		lo, top = math.NaN(), math.NaN()
		if n := len(r.FootLoad); n > 0 {
			lo, top = float64(r.FootLoad[0].Speed), float64(r.FootLoad[n-1].Speed)
		}
	}
	return lo, (lo + top) / 2, top
}

// Place finds a speed among n in order: the last that is not above it, and how
// far on to the next it lies, 0 to 1; false outside them.
func Place(n int, speed func(i int) interval.Number, v float64) (i int, on float64, ok bool) {
	const same = 0.02 // m/s
	for i := range n {
		switch x := float64(speed(i)); {
		case math.Abs(x-v) < same:
			return i, 0, true
		case i+1 < n && x <= v && v < float64(speed(i+1))-same:
			return i, (v - x) / (float64(speed(i+1)) - x), true
		}
	}
	return 0, 0, false
}

// LoadAt is the foot load at a speed, between the points of its curve; false
// outside it.
func LoadAt(r *analysis.Result, v float64) (p analysis.LoadPoint, ok bool) {
	i, on, ok := Place(len(r.FootLoad), func(i int) interval.Number { return r.FootLoad[i].Speed }, v)
	if !ok {
		un := interval.Unknown()
		return analysis.LoadPoint{Speed: interval.Number(v), FrontShare: un, Moment: un, Gradient: un, FrontShareAfter: un, GradientAfter: un}, false
	}
	o, q := r.FootLoad[i], r.FootLoad[i+Choose(on > 0, 1, 0)]
	mix := func(a, b interval.Interval) interval.Interval { return interval.Mix(a, b, on) }
	return analysis.LoadPoint{Speed: interval.Number(v), FrontShare: mix(o.FrontShare, q.FrontShare), Moment: mix(o.Moment, q.Moment),
		Gradient: mix(o.Gradient, q.Gradient), FrontShareAfter: mix(o.FrontShareAfter, q.FrontShareAfter), GradientAfter: mix(o.GradientAfter, q.GradientAfter)}, true
}

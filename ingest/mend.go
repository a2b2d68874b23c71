package ingest

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat"

	"evenfoot/ingest/raw"
)

// A jump is a moment at which a clock leapt, seen between two samples that
// follow each other in the file.
type jump struct {
	from, to float64 // stamps before and after, as read
	shift    float64 // s added to everything behind it, against everything before
	unset    bool    // the clock showed no true date before, and was set then
	restart  bool    // the stamps start anew; how long the pause was is not known
}

// A mending says how the samples of one series are to be ordered and when they
// were taken.
type mending struct {
	t        []float64 // strictly increasing
	idx      []int32   // sample i is the file's sample idx[i]; nil: as it stands
	jumps    []jump
	late     int     // samples that stood too late in the file, sorted in
	repeats  int     // same stamp and same values: left out
	clashes  int     // same stamp, other values: left out
	placed   int     // same stamp, other values: set between it and the next
	folded   int     // same stamp, values that complete each other: made one
	ref      float64 // s that the jumps' shifts are counted from: that of the clock believed
	quantum  float64 // s, the stamps' resolution where they had to be spread; else 0
	perStamp float64 // samples per stamp then
	period   float64 // s, of the file as it came
}

// A mender knows how to compare the samples it is to mend.
type mender struct {
	t    []float64
	same func(i, j int) bool // the values are equal
	// completes says that i and j complete each other without contradiction;
	// fold then takes j's values into i. nil: never.
	completes func(i, j int) bool
	fold      func(i, j int)
	// dated is true when t is seconds since a known date; unset is the time
	// before which no date is believed then.
	dated bool
	unset float64
	known []jump // found in another series of the same file
	// still is true when times are never moved but where a clock was set.
	still bool
}

// mend puts samples in order of time without inventing any: late ones are
// sorted in, repeated ones left out, clock jumps taken out, and stamps that
// several samples share are spread evenly over the time they stand for. It
// changes m.t in place.
func (m *mender) mend() mending {
	var out mending
	if increasing(m.t) && !m.jumpsForward() {
		out.t = m.t
		return out
	}
	t, idx := m.order(&out)
	m.spread(&out, t, idx)
	m.unique(&out, t, idx)
	return out
}

func increasing(t []float64) bool {
	for i := 1; i < len(t); i++ {
		if !(t[i] > t[i-1]) {
			return false
		}
	}
	return true
}

// jumpsForward says whether an unset clock was set on the way.
func (m *mender) jumpsForward() bool {
	return m.dated && len(m.t) > 1 && m.t[0] < m.unset && m.t[len(m.t)-1] >= m.unset
}

// Bounds of mending, set on logs with jitter, restarts and late rows written
// for the purpose (TestMendTime) and on those of watches and loggers.
const (
	// medianMost is how many steps are enough to know a median.
	medianMost = 20_000
	// stepMost is the longest step that counts as sampling, s.
	stepMost = 3600
	// sharedPart: more samples than this part sharing a stamp is the device's way.
	sharedPart = 0.2
	// restartPeriods and restartLeast (s) part the recordings of a logger that
	// began anew: more than a gap's five periods.
	restartPeriods, restartLeast = 6, 1
	// setPause is put before the moment at which a clock was set, s.
	setPause = 1
	// correctionMost is the largest leap of a clock that still samples, s.
	correctionMost = 60
	// jitterPeriods is how far back a stamp may lie without a leap.
	jitterPeriods = 3
	// pairsEnough equal pairs tell that samples repeat earlier ones, of which
	// repeatPart must be equal.
	pairsEnough, repeatPart = 100, 0.8
	// sameJump is how far two sensors may see one leap apart, s.
	sameJump = 2
	// missingStamp is a step between stamps, in stamps, in which one is missing.
	missingStamp = 2.5
	// bendStamps is how many stamps a bent line of times has from knot to knot.
	bendStamps = 10
	// roomSample and roomFix are the parts of a period that a sample, a fix needs
	// beside another with its stamp.
	roomSample, roomFix = 0.3, 0.7
	// stoodStill: more samples than this with the last stamp are a clock that
	// stood still.
	stoodStill = 3
)

// A piece is a run of ascending stamps in the file.
type piece struct {
	run
	shift float64 // s to add
}

// maxPieces is how many times stamps may turn back before a file is taken for
// one without any order, which is sorted as it is. So is one whose stamps turn
// back more often than not: the newest stand first.
const maxPieces = 500

// order takes out clock jumps and sorts what stands too late.
func (m *mender) order(out *mending) (t []float64, idx []int32) {
	pieces := m.pieces()
	period := m.period()
	out.period = period
	if len(pieces) <= maxPieces && 2*len(pieces) <= len(m.t)+1 {
		m.findJumps(pieces, period, out)
	}
	t = m.t
	idx = make([]int32, len(t))
	for _, p := range pieces {
		for i := p.a; i < p.b; i++ {
			t[i] += p.shift
		}
	}
	for i := range idx {
		idx[i] = int32(i)
	}
	high := math.Inf(-1)
	for _, x := range t {
		if x < high {
			out.late++
		}
		high = max(high, x)
	}
	if out.late > 0 {
		slices.SortStableFunc(idx, func(a, b int32) int { return cmp.Compare(t[a], t[b]) })
		t = raw.Gather(t, idx)
	}
	return t, idx
}

// pieces splits the file where the stamps turn back or an unset clock was set.
func (m *mender) pieces() []piece {
	var ps []piece
	for _, r := range runs(len(m.t), func(i int) bool {
		return m.t[i] < m.t[i-1] || m.dated && m.t[i-1] < m.unset && m.t[i] >= m.unset
	}) {
		ps = append(ps, piece{run: r})
	}
	return ps
}

// period is the median step forward, s, less where many samples share a stamp.
func (m *mender) period() float64 {
	var steps []float64
	stride := max(1, len(m.t)/medianMost)
	for i := stride; i < len(m.t); i += stride {
		if d := (m.t[i] - m.t[i-1]); d > 0 && d < stepMost {
			steps = append(steps, d)
		}
	}
	if len(steps) == 0 {
		return 1
	}
	// Stamps that several samples share: the steps are longer than the period.
	n := 0
	for i := 1; i < len(m.t); i++ {
		if m.t[i] == m.t[i-1] {
			n++
		}
	}
	p := raw.Median(steps)
	if float64(n) < sharedPart*float64(len(m.t)) {
		return p
	}
	return p * float64(len(m.t)-n) / float64(len(m.t))
}

// findJumps decides for each piece that starts before an earlier one ended
// whether its samples stand late or the clock leapt back.
func (m *mender) findJumps(ps []piece, period float64, out *mending) {
	high := math.Inf(-1)
	if len(ps) > 0 {
		high = m.t[ps[0].b-1]
	}
	for k := 1; k < len(ps); k++ {
		p := &ps[k]
		p.shift = ps[k-1].shift
		from, to := m.t[p.a-1], m.t[p.a]
		first := to + p.shift
		j := jump{from: from, to: to}
		known, isKnown := m.knownShift(j, period)
		steady := m.still && from >= m.unset && to >= m.unset
		if to <= from && (first > high || !isKnown && (steady || m.late(ps[:k], *p, high, period))) {
			high = max(high, m.t[p.b-1]+p.shift) // late samples, or back to where things were before them
			continue
		}
		unsetAgain := m.dated && from >= m.unset && to < m.unset
		switch {
		case to > from: // the clock was set
			j.unset = true
			j.shift = high + setPause - first
		case isKnown:
		case !unsetAgain && from-to <= correctionMost && (m.dated || to > m.t[0]+1): // a correction, while sampling went on
			j.shift = high + period - first
		default:
			j.restart = true
			j.shift = high + max(restartLeast, restartPeriods*period) - first
		}
		if isKnown {
			j.shift = known
		}
		p.shift += j.shift
		high = max(high, m.t[p.b-1]+p.shift)
		out.jumps = append(out.jumps, j)
	}
	if !m.dated || len(ps) == 0 {
		return
	}
	// With a date the last believable clock is the true one: it was corrected.
	ref := ps[len(ps)-1].shift
	for k := len(ps) - 1; k >= 0; k-- {
		if m.t[ps[k].a] >= m.unset {
			ref = ps[k].shift
			break
		}
	}
	out.ref = ref
	for k := range ps {
		ps[k].shift -= ref
	}
}

// late says whether a piece that starts below the highest stamp so far holds
// samples that were written late, not a clock that leapt back: there are only
// a few, or they fill a hole, or they repeat what is there.
func (m *mender) late(before []piece, p piece, high, period float64) bool {
	first := m.t[p.a] + p.shift
	n := sort.Search(p.b-p.a, func(i int) bool { return m.t[p.a+i]+p.shift > high })
	if high-first <= jitterPeriods*period {
		return true // stamps that jitter; a shift at each would add up
	}
	if n == p.b-p.a && !m.dated && first < m.t[0]+before[0].shift {
		return false // nothing catches up: a logger that began again at zero
	}
	end := m.t[p.a+n-1] + p.shift
	if n < p.b-p.a {
		if next := m.t[p.a+n] + p.shift; next-end > jitterPeriods*period && next-high <= jitterPeriods*period {
			return true // the stamps go on where they were: no clock leaps there and back
		}
	}
	old, equal := 0, 0
	for _, q := range before {
		lo := q.a + sort.Search(q.b-q.a, func(i int) bool { return m.t[q.a+i]+q.shift >= first })
		hi := q.a + sort.Search(q.b-q.a, func(i int) bool { return m.t[q.a+i]+q.shift > end })
		if hi <= lo {
			continue
		}
		old += hi - lo
		if equal < pairsEnough {
			for i, k := p.a, lo; i < p.a+n && k < hi && equal < pairsEnough; {
				switch ti, tk := m.t[i]+p.shift, m.t[k]+q.shift; {
				case ti < tk:
					i++
				case ti > tk:
					k++
				default:
					if m.same(i, k) {
						equal++
					}
					i++
					k++
				}
			}
		}
	}
	return float64(old) <= sharedPart*float64(n) || float64(equal) >= repeatPart*float64(min(n, pairsEnough))
}

// knownShift takes over a jump that another series of the file showed, so that
// the two stay together.
func (m *mender) knownShift(j jump, period float64) (shift float64, ok bool) {
	tol := max(sameJump, 2*period)
	for _, k := range m.known {
		if math.Abs((j.to-j.from)-(k.to-k.from)) < tol && math.Abs(j.from-k.from) < tol {
			return k.shift, true
		}
	}
	return 0, false
}

// spread gives samples that share a stamp times of their own. It acts when at
// least every fifth sample shares its predecessor's stamp and they are not
// mere repeats.
func (m *mender) spread(out *mending, t []float64, idx []int32) {
	shared, repeated := 0, 0
	for i := 1; i < len(t); i++ {
		if t[i] == t[i-1] {
			shared++
			if m.same(int(idx[i-1]), int(idx[i])) {
				repeated++
			}
		}
	}
	if float64(shared-repeated) < sharedPart*float64(len(t)-repeated) {
		return
	}
	if m.completes != nil && m.complementary(t, idx, shared) {
		return
	}
	groups := runs(len(t), func(i int) bool { return t[i] != t[i-1] })
	if len(groups) < 2 {
		return
	}
	stamps := make([]float64, len(groups))
	for k, g := range groups {
		stamps[k] = t[g.a]
	}
	q := medianStep(stamps)
	out.quantum, out.perStamp = q, float64(len(t))/float64(len(stamps))
	for _, s := range runs(len(stamps), func(k int) bool { return stamps[k]-stamps[k-1] >= missingStamp*q }) {
		spreadStretch(t, stamps[s.a:s.b], groups[s.a:s.b], q)
	}
}

// complementary says whether most samples that share a stamp complete each
// other: a position in one row, its speed in the next.
func (m *mender) complementary(t []float64, idx []int32, shared int) bool {
	n := 0
	for i := 1; i < len(t); i++ {
		if t[i] == t[i-1] && m.completes(int(idx[i-1]), int(idx[i])) {
			n++
		}
	}
	return n*2 > shared
}

// spreadStretch spreads one stretch without a missing stamp. A sample with
// stamp s was taken in [s, s+q): stamps are cut, as programs do, not rounded.
// So the middle sample of a stamp belongs near s + q/2, and a straight line
// through those points gives the times of a steady sampler; where its rate
// wanders by more than q, the line is bent every ten stamps.
func spreadStretch(t []float64, stamps []float64, groups []run, q float64) {
	type knot struct{ i, t float64 }
	knots := make([]knot, len(stamps))
	for k, g := range groups {
		knots[k] = knot{float64(g.a+g.b-1) / 2, stamps[k] + q/2}
	}
	first, end := groups[0].a, groups[len(groups)-1].b
	if len(knots) < 3 {
		for k, g := range groups {
			for i := g.a; i < g.b; i++ {
				t[i] = stamps[k] + q*(float64(i-g.a)+0.5)/float64(g.b-g.a)
			}
		}
		return
	}
	// A first or last stamp may hold fewer samples because the recording began
	// or ended in it; its middle would be off.
	inner := knots
	if len(knots) >= 5 {
		inner = knots[1 : len(knots)-1]
	}
	is, ts := make([]float64, len(inner)), make([]float64, len(inner))
	for k, x := range inner {
		is[k], ts[k] = x.i-knots[0].i, x.t-knots[0].t
	}
	start, slope := stat.LinearRegression(is, ts, nil, false)
	at := func(i float64) float64 { return knots[0].t + start + slope*(i-knots[0].i) }
	if slices.ContainsFunc(inner, func(k knot) bool { return math.Abs(at(k.i)-k.t) > q }) {
		var means []knot
		for a := 0; a+bendStamps <= len(inner); a += bendStamps {
			var m knot
			for _, k := range inner[a : a+bendStamps] {
				m.i += k.i / bendStamps
				m.t += (k.t - knots[0].t) / bendStamps
			}
			m.t += knots[0].t
			means = append(means, m)
		}
		if len(means) >= 2 {
			at = func(i float64) float64 {
				k := sort.Search(len(means), func(k int) bool { return means[k].i > i })
				k = min(max(k, 1), len(means)-1)
				a, b := means[k-1], means[k]
				return a.t + (b.t-a.t)*(i-a.i)/(b.i-a.i)
			}
		}
	}
	low := stamps[0] - q // the line may leave the stamps by less than this
	high := stamps[len(stamps)-1] + 2*q
	for i := first; i < end; i++ {
		t[i] = min(max(at(float64(i)), low), high)
	}
}

// unique deals with what still shares a stamp: repeats are left out, records
// that complete each other joined, and other samples set between that stamp and
// the next, where there is room: a fix only where a stamp is missing.
func (m *mender) unique(out *mending, t []float64, idx []int32) {
	n := 0
	for a := 0; a < len(t); {
		b := a + 1
		for b < len(t) && !(t[b] > t[a]) {
			b++
		}
		first := n
		for k := a; k < b; k++ {
			if n > first {
				was, is := int(idx[n-1]), int(idx[k])
				if m.same(was, is) {
					out.repeats++
					continue
				}
				if m.completes != nil && m.completes(was, is) {
					m.fold(was, is)
					out.folded++
					continue
				}
			}
			t[n], idx[n] = t[k], idx[k]
			n++
		}
		if n-first > 1 {
			next := math.NaN()
			if b < len(t) {
				next = t[b]
			}
			n = first + m.place(out, t[first:n], next)
		}
		a = b
	}
	out.t, out.idx = t[:n], idx[:n]
}

// place sets samples that share a stamp between it and the next, NaN at the
// end, where there is room; it returns how many of them stay.
func (m *mender) place(out *mending, t []float64, next float64) int {
	c := len(t)
	room, least := float64(c)*out.period, roomSample*out.period
	if m.completes != nil {
		least = roomFix * out.period
	}
	if next == next {
		room = min(room, next-t[0])
	} else if c > stoodStill {
		room = 0 // a clock that stood still to the end
	}
	step := room / float64(c)
	if step < least || !(t[0]+step > t[0]) {
		out.clashes += c - 1
		return 1
	}
	for k := 1; k < c; k++ {
		t[k] = t[0] + float64(k)*step
	}
	out.placed += c - 1
	return c
}

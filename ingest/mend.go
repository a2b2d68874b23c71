package ingest

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"evenfoot/ingest/raw"
)

// A jump is a moment at which a clock leapt, seen between two samples that
// follow each other in the file.
type jump struct {
	from, to float64  // stamps before and after, as read
	shift    float64  // s added to everything behind it, against everything before
	kind     raw.Kind // ClockSet, ClockBack, or ClockRestart where nobody knows how long the pause was
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
	// pairsEnough pairs tell whether samples repeat earlier ones: repeatPart of
	// them must be equal.
	pairsEnough, repeatPart = 100, 0.8
	// sameJump is how far two sensors may see one leap apart, s, and maxJumps how
	// many of one's leaps are looked for in the others.
	sameJump, maxJumps = 2, 100
	// missingStamp is a step between stamps, in stamps, in which one is missing.
	missingStamp = 2.5
	// roomSample and roomFix are the parts of a period that a sample, a fix needs
	// beside another with its stamp.
	roomSample, roomFix = 0.3, 0.7
	// stoodStill: more samples than this with the last stamp are a clock that
	// stood still.
	stoodStill = 3
	// maxPieces is how many times stamps may turn back before a file is taken for
	// one without any order, which is sorted as it is. So is one whose stamps turn
	// back more often than not: the newest stand first.
	maxPieces = 500
)

// A mender puts the samples of one series in order of time without inventing
// any: late ones are sorted in, repeated ones left out, clock jumps taken out,
// and stamps that several samples share are spread evenly over the time they
// stand for. Fixes complete each other, and with a date are never moved but
// where a clock was set.
type mender struct {
	raw.Stream
	fixes  bool
	dated  bool
	unset  float64 // s, before which no date is believed; infinite without one
	known  []jump  // found in another series of the same file
	t      []float64
	idx    []int32 // sample i is the file's sample idx[i]
	period float64 // s, of the file as it came
	ref    float64 // s that the shifts of jumps are counted from: that of the clock believed

	jumps             []jump
	count             map[raw.Kind]int // of samples, by what became of them
	quantum, perStamp float64          // s and samples of a stamp that had to be spread
}

// mend puts the samples of one stream in order of time, as those of others were.
func (b *builder) mend(s raw.Stream) {
	m := mender{Stream: s, fixes: s.Name == fixes, t: s.Time(), known: b.jumps, count: map[raw.Kind]int{}}
	m.dated, m.unset = !b.r.Start.IsZero(), b.unset()
	if n := len(m.t); increasing(m.t) && !(n > 1 && m.isSet(m.t[0], m.t[n-1])) {
		return
	}
	m.order()
	m.spread()
	m.unique()
	s.Pick(m.idx)
	s.SetTime(m.t)
	b.tell(&m)
}

// tell reports what mending did to a sensor.
func (b *builder) tell(m *mender) {
	b.notes.Drop(m.count[raw.Twice], raw.Twice, m.Name)
	b.notes.Drop(m.count[raw.SameStamp], raw.SameStamp, m.Name)
	for _, kind := range []raw.Kind{raw.OutOfOrder, raw.SameStamp, raw.Placed, raw.Joined} {
		if n := m.count[kind]; n > 0 {
			b.notes.Warn(raw.Warning{Kind: kind, Sensor: m.Name, Count: n})
		}
	}
	if m.quantum > 0 {
		b.notes.Warn(raw.Warning{Kind: raw.CutStamps, Sensor: m.Name, Values: []float64{m.quantum, m.perStamp}})
	}
	if len(b.jumps) == 0 {
		b.ref = m.ref
	}
	for _, j := range m.jumps {
		if _, known := m.knownShift(j.from, j.to); !known && len(b.jumps) < maxJumps {
			b.jumps = append(b.jumps, j)
		}
		at := j.from
		if j.kind == raw.ClockSet {
			at = j.to
		}
		b.notes.Warn(b.at(at, raw.Warning{Kind: j.kind, Sensor: m.Name, Values: []float64{math.Abs(j.to - j.from)}}))
	}
}

func increasing(t []float64) bool {
	for i := 1; i < len(t); i++ {
		if !(t[i] > t[i-1]) {
			return false
		}
	}
	return true
}

// isSet says whether an unset clock was set between two stamps.
func (m *mender) isSet(from, to float64) bool { return from < m.unset && to >= m.unset }

// A piece is a run of ascending stamps in the file.
type piece struct {
	run
	shift float64 // s to add
}

// order takes out clock jumps and sorts what stands too late.
func (m *mender) order() {
	var pieces []piece
	for _, r := range runs(len(m.t), func(i int) bool { return m.t[i] < m.t[i-1] || m.isSet(m.t[i-1], m.t[i]) }) {
		pieces = append(pieces, piece{run: r})
	}
	m.period = m.usualStep()
	if len(pieces) <= maxPieces && 2*len(pieces) <= len(m.t)+1 {
		m.findJumps(pieces)
	}
	high, late := math.Inf(-1), 0
	m.idx = make([]int32, len(m.t))
	for _, p := range pieces {
		for i := p.a; i < p.b; i++ {
			m.t[i] += p.shift
			m.idx[i] = int32(i)
			if m.t[i] < high {
				late++
			}
			high = max(high, m.t[i])
		}
	}
	if m.count[raw.OutOfOrder] = late; late > 0 {
		t := m.t
		slices.SortStableFunc(m.idx, func(a, b int32) int { return cmp.Compare(t[a], t[b]) })
		m.t = raw.Gather(t, m.idx)
	}
}

// usualStep is the median step forward, s, less where many samples share a stamp.
func (m *mender) usualStep() float64 {
	n := len(m.t)
	stride := max(1, n/medianMost)
	var steps []float64
	for i := stride; i < n; i += stride {
		if d := m.t[i] - m.t[i-1]; d > 0 && d < stepMost {
			steps = append(steps, d)
		}
	}
	if len(steps) == 0 {
		return 1
	}
	shared := 0
	for i := 1; i < n; i++ {
		if m.t[i] == m.t[i-1] {
			shared++
		}
	}
	p := raw.Median(steps)
	if part := float64(shared) / float64(n); part >= sharedPart {
		p *= 1 - part
	}
	return p
}

// findJumps decides for each piece that starts before an earlier one ended
// whether its samples stand late or the clock leapt back.
func (m *mender) findJumps(ps []piece) {
	high := m.t[ps[0].b-1]
	for k := 1; k < len(ps); k++ {
		p := &ps[k]
		p.shift = ps[k-1].shift
		j := jump{from: m.t[p.a-1], to: m.t[p.a]}
		first := j.to + p.shift
		shift, known := m.knownShift(j.from, j.to)
		steady := m.fixes && min(j.from, j.to) >= m.unset
		switch {
		case j.to > j.from:
			j.kind, j.shift = raw.ClockSet, high+setPause-first
		case first > high, !known && (steady || m.isLate(ps[:k], *p, high)):
			high = max(high, m.t[p.b-1]+p.shift) // late samples, or back to where things were before them
			continue
		case known:
			j.kind = raw.ClockBack
		case !m.isSet(j.to, j.from) && j.from-j.to <= correctionMost && (m.dated || j.to > m.t[0]+1):
			j.kind, j.shift = raw.ClockBack, high+m.period-first // corrected, while sampling went on
		default:
			j.kind, j.shift = raw.ClockRestart, high+max(restartLeast, restartPeriods*m.period)-first
		}
		if known {
			j.shift = shift
		}
		p.shift += j.shift
		high = max(high, m.t[p.b-1]+p.shift)
		m.jumps = append(m.jumps, j)
	}
	if !m.dated {
		return
	}
	// With a date the last believable clock is the true one: it was corrected.
	m.ref = ps[len(ps)-1].shift
	for _, p := range slices.Backward(ps) {
		if m.t[p.a] >= m.unset {
			m.ref = p.shift
			break
		}
	}
	for k := range ps {
		ps[k].shift -= m.ref
	}
}

// isLate says whether a piece that starts below the highest stamp so far holds
// samples that were written late, not a clock that leapt back: there are only
// a few, or they fill a hole, or they repeat what is there.
func (m *mender) isLate(before []piece, p piece, high float64) bool {
	stamp := func(i int) float64 { return m.t[i] + p.shift }
	first := stamp(p.a)
	if high-first <= jitterPeriods*m.period {
		return true // stamps that jitter; a shift at each would add up
	}
	n := sort.Search(p.b-p.a, func(i int) bool { return stamp(p.a+i) > high })
	if n == p.b-p.a && !m.dated && first < m.t[0]+before[0].shift {
		return false // nothing catches up: a logger that began again at zero
	}
	end := stamp(p.a + n - 1)
	if n < p.b-p.a {
		if next := stamp(p.a + n); next-end > jitterPeriods*m.period && next-high <= jitterPeriods*m.period {
			return true // the stamps go on where they were: no clock leaps there and back
		}
	}
	there := 0 // samples of the same time
	for _, q := range before {
		from, _ := slices.BinarySearch(m.t[q.a:q.b], first-q.shift)
		to, _ := slices.BinarySearch(m.t[q.a:q.b], math.Nextafter(end-q.shift, math.Inf(1)))
		there += to - from
	}
	if float64(there) <= sharedPart*float64(n) {
		return true
	}
	equal, pairs := 0, min(n, pairsEnough)
	for k := range pairs {
		i := p.a + k*n/pairs
		if slices.ContainsFunc(before, func(q piece) bool {
			x := stamp(i) - q.shift
			k, _ := slices.BinarySearch(m.t[q.a:q.b], x)
			for k += q.a; k < q.b && m.t[k] == x; k++ {
				if m.Same(i, k) {
					return true
				}
			}
			return false
		}) {
			equal++
		}
	}
	return float64(equal) >= repeatPart*float64(pairs)
}

// knownShift takes over a jump that another series of the file showed, so that
// the two stay together.
func (m *mender) knownShift(from, to float64) (shift float64, ok bool) {
	near := max(sameJump, 2*m.period)
	for _, k := range m.known {
		if math.Abs((to-from)-(k.to-k.from)) < near && math.Abs(from-k.from) < near {
			return k.shift, true
		}
	}
	return 0, false
}

// spread gives samples that share a stamp times of their own: a sample with
// stamp s was taken in [s, s+q), since programs cut stamps and do not round them,
// and those of one stamp lie evenly in it. It acts when at least every fifth
// sample shares its predecessor's stamp, and they are no mere repeats and do not
// complete each other: a position in one row, its speed in the next.
func (m *mender) spread() {
	shared, repeated, completed := 0, 0, 0
	for i := 1; i < len(m.t); i++ {
		if m.t[i] != m.t[i-1] {
			continue
		}
		shared++
		was, is := int(m.idx[i-1]), int(m.idx[i])
		if m.Same(was, is) {
			repeated++
		} else if m.fixes && m.Completes(was, is) {
			completed++
		}
	}
	if float64(shared-repeated) < sharedPart*float64(len(m.t)-repeated) || 2*completed > shared {
		return
	}
	groups := runs(len(m.t), func(i int) bool { return m.t[i] != m.t[i-1] })
	if len(groups) < 2 {
		return
	}
	stamps := make([]float64, len(groups))
	for k, g := range groups {
		stamps[k] = m.t[g.a]
	}
	q := medianStep(stamps, 1)
	m.quantum, m.perStamp = q, float64(len(m.t))/float64(len(stamps))
	for _, s := range runs(len(stamps), func(k int) bool { return stamps[k]-stamps[k-1] >= missingStamp*q }) {
		for k := s.a; k < s.b; k++ {
			g := groups[k]
			c := float64(g.b - g.a)
			from, step := stamps[k], q/c
			switch { // in a stretch's first or last stamp the recording may have begun or ended
			case s.b-s.a == 1:
			case k == s.a:
				step = min(step, m.period)
				from += q - c*step
			case k == s.b-1:
				step = min(step, m.period)
			}
			for i := g.a; i < g.b; i++ {
				m.t[i] = from + step*(float64(i-g.a)+0.5)
			}
		}
	}
}

// unique deals with what still shares a stamp: repeats are left out, records
// that complete each other joined, and other samples set between that stamp and
// the next, where there is room: a fix only where a stamp is missing.
func (m *mender) unique() {
	n, all := 0, len(m.t)
	for a := 0; a < all; {
		b := a + 1
		for b < all && !(m.t[b] > m.t[a]) {
			b++
		}
		first := n
		for k := a; k < b; k++ {
			if n > first {
				was, is := int(m.idx[n-1]), int(m.idx[k])
				if m.Same(was, is) {
					m.count[raw.Twice]++
					continue
				}
				if m.fixes && m.Completes(was, is) {
					m.Fold(was, is)
					m.count[raw.Joined]++
					continue
				}
			}
			m.t[n], m.idx[n] = m.t[k], m.idx[k]
			n++
		}
		if n-first > 1 {
			next := math.NaN()
			if b < all {
				next = m.t[b]
			}
			n = first + m.place(m.t[first:n], next)
		}
		a = b
	}
	m.t, m.idx = m.t[:n], m.idx[:n]
}

// place sets samples that share a stamp between it and the next, NaN at the
// end, where there is room; it returns how many of them stay.
func (m *mender) place(t []float64, next float64) int {
	c := len(t)
	room, least := float64(c)*m.period, roomSample*m.period
	if m.fixes {
		least = roomFix * m.period
	}
	if next == next {
		room = min(room, next-t[0])
	} else if c > stoodStill {
		room = 0 // a clock that stood still to the end
	}
	step := room / float64(c)
	if step < least || !(t[0]+step > t[0]) {
		m.count[raw.SameStamp] += c - 1
		return 1
	}
	for k := 1; k < c; k++ {
		t[k] = t[0] + float64(k)*step
	}
	m.count[raw.Placed] += c - 1
	return c
}

package ingest

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// Evidence that an accelerometer shows gravity.
const (
	// steadyBlock is the time over which it is averaged, s: longer than waves
	// shake a board, shorter than it turns over.
	steadyBlock = 0.5
	// steadyLeast is how many blocks it takes to tell.
	steadyLeast = 60
	// steadyPart of the blocks, the calmest, are looked at.
	steadyPart = 0.25
	// gravityLow and gravityHigh bound their median norm, m/s². Sensors read
	// gravity within a few percent, and a steady turn adds some; acceleration
	// without gravity reads below 2, one in another unit 1 or more than 30.
	gravityLow, gravityHigh = 7.0, 13.0
)

// steadyNorm is the median norm of the specific force where it is steadiest,
// m/s²; NaN where there is too little to tell.
func steadyNorm(s *raw.Series) float64 {
	type block struct{ norm, scatter float64 }
	var blocks []block
	steady(s.Time, &s.V, steadyBlock, func(_, _ float64, mean r3.Vec, scatter float64) {
		blocks = append(blocks, block{r3.Norm(mean), scatter})
	})
	if len(blocks) < steadyLeast {
		return math.NaN()
	}
	slices.SortFunc(blocks, func(a, b block) int { return cmp.Compare(a.scatter, b.scatter) })
	norms := make([]float64, 0, len(blocks))
	for _, b := range blocks[:max(1, int(steadyPart*float64(len(blocks))))] {
		norms = append(norms, b.norm)
	}
	return raw.Median(norms)
}

// steady tells of each block of so many seconds with three samples or more when
// it begins and ends, and its mean and mean square scatter.
func steady(t []float64, v *[3][]float32, seconds float64, tell func(from, to float64, mean r3.Vec, scatter float64)) {
	for i := 0; i < len(t); {
		j, squares := i, 0.0
		var sum r3.Vec
		for ; j < len(t) && t[j]-t[i] < seconds; j++ {
			x := vector(v, j)
			sum = r3.Add(sum, x)
			squares += r3.Norm2(x)
		}
		if n := float64(j - i); n >= 3 {
			mean := r3.Scale(1/n, sum)
			tell(t[i], t[j-1], mean, squares/n-r3.Norm2(mean))
		}
		i = j
	}
}

// refuseWeightless leaves out an accelerometer that shows no gravity: phones
// offer the acceleration without it beside the true one, and a pitch cannot be
// told from it.
func (b *builder) refuseWeightless() {
	s := &b.r.Acc
	norm := steadyNorm(s)
	if !(norm < gravityLow || norm > gravityHigh) {
		return
	}
	b.notes.Warn(raw.Warning{Kind: raw.NoGravity, Sensor: unit.SensorNames[unit.Acc], Values: []float64{norm}})
	b.notes.Drop(len(s.Time), raw.NoGravity, unit.SensorNames[unit.Acc])
	b.weightless = true
	*s = raw.Series{}
}

// wraps are where the counters of loggers begin anew, s: 2³² microseconds and
// milliseconds, the seconds of a day and of a week.
var wraps = []float64{(1 << 32) * 1e-6, (1 << 32) * 1e-3, 86400, 7 * 86400}

// wrapSlack is how far from its ends a counter may be seen before and after, s.
const wrapSlack = 5

// unwrap lets counters that begin anew go on. Times with a date never do.
func (b *builder) unwrap() {
	if !b.r.Start.IsZero() {
		return
	}
	for _, s := range b.r.Streams() {
		t := s.Time()
		shift, was := 0.0, t[0]
		for i, x := range t {
			if w := wrapBetween(was, x); w > 0 {
				shift += w
				b.notes.Warn(raw.Warning{Kind: raw.ClockWrapped, Sensor: s.Name, Values: []float64{w}, At: x + shift})
			}
			was = x
			t[i] = x + shift
		}
	}
	shift, marks := 0.0, b.r.File.Marks
	for k := range b.r.Backs {
		back := &b.r.Backs[k]
		w := wrapBetween(back[0], back[1])
		back[0] += shift
		shift += w
		back[1] += shift
		for i := range marks {
			if marks[i].Behind > k {
				marks[i].At += w
			}
		}
	}
}

// wrapBetween is where a counter began anew between two stamps, s; 0 when none did.
func wrapBetween(was, is float64) float64 {
	for _, w := range wraps {
		if is < was-wrapSlack && math.Abs(was-w) < wrapSlack && is >= 0 && is < wrapSlack {
			return w
		}
	}
	return 0
}

// Evidence of two tracks in one file.
const (
	// sharedLeast is how long they must lie side by side, s.
	sharedLeast = 10
	// likeness is the part of the fixes with one time that must be equal for
	// them to be one track that was written twice.
	likeness = 0.8
)

// oneTrack keeps one of the tracks that a file holds of the same time, as of
// two receivers. Fixes with a date are never moved in time, so that both could
// only be mixed up.
func (b *builder) oneTrack() {
	f := &b.r.Gps
	if b.r.Start.IsZero() || len(b.jumps) > 0 { // with the device's clock they are moved
		return
	}
	tracks := runs(len(f.Time), func(i int) bool { return f.Time[i] < f.Time[i-1]-sharedLeast })
	if len(tracks) < 2 || len(tracks) > maxPieces {
		return
	}
	slices.SortStableFunc(tracks, func(x, y run) int { return (y.b - y.a) - (x.b - x.a) }) // the longest is kept
	var kept []run
	lost := 0
	for _, r := range tracks {
		rival := slices.ContainsFunc(kept, func(k run) bool {
			shared := min(f.Time[r.b-1], f.Time[k.b-1]) - max(f.Time[r.a], f.Time[k.a])
			return shared > sharedLeast && !alike(f.Table(), r, k)
		})
		if rival {
			lost += r.b - r.a
		} else {
			kept = append(kept, r)
		}
	}
	if lost == 0 {
		return
	}
	first := kept[0].a
	b.notes.Warn(b.at(f.Time[first], raw.Warning{Kind: raw.OtherTrack, Count: lost}))
	b.notes.Drop(lost, raw.OtherTrack, "GPS fix")
	f.Table().Keep(func(i int) bool {
		return slices.ContainsFunc(kept, func(k run) bool { return i >= k.a && i < k.b })
	})
}

// alike says whether two runs of fixes are the same track: most fixes with one
// time are equal, or none has the time of another and they do not take turns, as
// two receivers that stamp at different moments do (one fills the other's holes).
func alike(f raw.Table, r, q run) bool {
	both, same, turns, last := 0, 0, 0, 0
	t := f.Time()
	for i, k := r.a, q.a; i < r.b && k < q.b; {
		first := cmp.Compare(t[i], t[k])
		if first == 0 {
			both++
			if f.Same(i, k) || f.Completes(i, k) {
				same++
			}
		} else if first == -last {
			turns++
		}
		last = first
		if first <= 0 {
			i++
		}
		if first >= 0 {
			k++
		}
	}
	if both == 0 {
		return turns <= sharedLeast
	}
	return float64(same) >= likeness*float64(both)
}

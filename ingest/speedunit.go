package ingest

import (
	"math"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// Evidence that a receiver's speeds and the positions of the same file agree.
const (
	// chordTime is how long the chords are along which speeds are compared, s.
	chordTime = 4.0
	// chordLeast is the shortest chord that counts, m: errors of position of a
	// few metres do not matter to a median of many.
	chordLeast = 8.0
	// chordsLeast and wayLeast (m) are how much movement it takes to tell.
	chordsLeast = 20
	wayLeast    = 400.0
	// agreeing is how far from 1 the ratio may lie. Positions and Doppler speeds
	// of sound receivers agree to a few percent over minutes.
	agreeing = 0.10
	// unitNear is the factor of the ratio of two units within which it must lie to
	// name the unit.
	unitNear = 1.05
)

// speedRatio is how many times as large the fixes' speeds are as those of the
// positions: the median, over straight and steady chords of about four
// seconds, of mean speed by time over chord. ok is false when there is too
// little movement or the chords disagree. The positions' median speed along
// the same chords is in m/s.
func (t *track) speedRatio() (ratio, positions float64, ok bool) {
	g := t.g
	var ratios, speeds []float64
	way := 0.0
	gap := gapLimit(period(g.Time))
	for i := 0; i < len(g.Time); {
		j := i + 1
		for j < len(g.Time) && (g.Time[j]-g.Time[i] < chordTime || j-i < 2) && g.Time[j]-g.Time[j-1] <= gap {
			j++
		}
		if j == len(g.Time) || g.Time[j]-g.Time[j-1] > gap {
			i = max(j, i+1)
			continue
		}
		if r, chord, fair := t.alongChord(i, j); fair {
			ratios = append(ratios, r)
			speeds = append(speeds, chord/(g.Time[j]-g.Time[i]))
			way += chord
		}
		i = j
	}
	if len(ratios) < chordsLeast || way < wayLeast {
		return 0, 0, false
	}
	ratio = raw.Median(ratios) // sorts
	quarter := len(ratios) / 4
	if spread := ratios[len(ratios)-1-quarter] - ratios[quarter]; !(ratio > 0) || spread > 0.15*ratio {
		return 0, 0, false
	}
	return ratio, raw.Median(speeds), true
}

// alongChord compares fixes i to j; fair is false where the way bends, the
// speed changes much or a value is missing.
func (t *track) alongChord(i, j int) (ratio, chord float64, fair bool) {
	g := t.g
	var mean float64
	low, high := math.Inf(1), 0.0
	for k := i; k <= j; k++ {
		v := float64(g.Speed[k])
		if v != v || t.x[k] != t.x[k] {
			return 0, 0, false
		}
		low, high = min(low, v), max(high, v)
		if k > i {
			mean += (v + float64(g.Speed[k-1])) / 2 * (g.Time[k] - g.Time[k-1])
		}
	}
	dt := g.Time[j] - g.Time[i]
	mean /= dt
	m := (i + j) / 2
	chord = t.step(i, j)
	if chord < chordLeast || t.step(i, m)+t.step(m, j) > 1.03*chord || !(low > 0.7*high) {
		return 0, 0, false
	}
	return mean * dt / chord, chord, true
}

// likelyUnit is the unit that values seem to be in that were read as the unit of
// that name, the first when it is none, and come out ratio times too large; nil
// when none fits within a factor.
func likelyUnit(units []unit.Unit, readAs string, ratio, within float64) (likely, own *unit.Unit) {
	if own = unit.Find(units, readAs); own == nil {
		own = &units[0]
	}
	near := math.Log(within)
	for i, u := range units {
		if d := math.Abs(math.Log(ratio * u.Scale / own.Scale)); u.Name != own.Name && d < near {
			likely, near = &units[i], d
		}
	}
	return likely, own
}

// checkSpeeds holds the receiver's speeds against the positions of the same
// file. Speeds in another unit than the file says are taken out, so that those
// of the positions take their place, and the user is told. It says whether it
// took them out.
func (b *builder) checkSpeeds(t *track) bool {
	f := &b.r.Gps
	ratio, positions, ok := t.speedRatio()
	if f.Computed || !ok || math.Abs(ratio-1) <= agreeing {
		return false
	}
	likely, own := likelyUnit(unit.SpeedUnits, f.SpeedUnit, ratio, unitNear)
	if likely == nil {
		likely = &unit.Unit{} // none that is known
	}
	w := raw.Warning{Kind: raw.WrongSpeed, Values: []float64{ratio, positions}, Text: []string{likely.Name, own.Name, f.SpeedColumn}}
	if f.SpeedMapped {
		w.Count = 1
	}
	if positions > speedMost {
		w.Kind = raw.WrongTimes
		b.notes.Warn(w)
		return false
	}
	b.notes.Warn(w)
	for i := range t.g.Speed {
		t.g.Speed[i] = float32(raw.NaN)
	}
	return true
}

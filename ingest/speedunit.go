package ingest

import (
	"math"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// Evidence that a receiver's speeds and the positions of the same file agree.
const (
	// comparedLeast fixes and wayLeast (m) are how much movement it takes to tell,
	// and movingFast the least speed of a fix that counts, m/s: the error of a
	// position's velocity does not matter there to a median of many.
	comparedLeast, wayLeast, movingFast = 80, 400.0, 2.0
	// comparedMost fixes are enough.
	comparedMost = 2000
	// spreadMost is how far the middle half of the ratios may spread, of the ratio.
	spreadMost = 0.15
	// agreeing is how far from 1 the ratio may lie. Positions and Doppler speeds
	// of sound receivers agree to a few percent over minutes.
	agreeing = 0.10
	// unitNear is the factor of the ratio of two units within which it must lie to
	// name the unit.
	unitNear = 1.05
)

// speedRatio is how many times as large the fixes' speeds are as those of the
// positions: the median over fixes on the move. ok is false when there is too
// little movement or the fixes disagree. The positions' median speed at the
// same fixes is in m/s.
func (t *track) speedRatio() (ratio, positions float64, ok bool) {
	g := t.g
	var ratios, speeds []float64
	way := 0.0
	stride := len(g.Time)/comparedMost + 1
	for i := 0; i+stride < len(g.Time); i += stride {
		d, fair := t.derive(i)
		v := math.Hypot(d.vx, d.vy)
		if u := float64(g.Speed[i]); fair && v > movingFast && u == u {
			ratios = append(ratios, u/v)
			speeds = append(speeds, v)
			way += v * min(g.Time[i+stride]-g.Time[i], t.reach*float64(stride))
		}
	}
	if len(ratios) < comparedLeast || way < wayLeast {
		return 0, 0, false
	}
	ratio = raw.Median(ratios) // sorts
	quarter := len(ratios) / 4
	if spread := ratios[len(ratios)-1-quarter] - ratios[quarter]; !(ratio > 0) || spread > spreadMost*ratio {
		return 0, 0, false
	}
	return ratio, raw.Median(speeds), true
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

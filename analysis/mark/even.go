package mark

import (
	"math"
	"slices"

	"evenfoot/analysis/interval"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/trim"
	"evenfoot/filter"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// blur is σ of a rider's even from moment to moment, as a share. No source: it
// was not measured, and is tuned, as evenSD is, on simulated riders with a blur
// and a drift of 0.01 each. A sharper rider's even is surer than is said of it.
const blur = 0.0125

// evenSD is 1σ, as a share, of what one place's presses for even have in
// common beyond their own scatter: a rider's even is not the same all day.
const evenSD = 0.010

// Flow is the water's velocity and 1σ of it, m/s.
type Flow struct{ East, North, SD float64 }

// Evidence is what the marks tell: the notes, and the speeds that feel even, one for
// each part with such presses. It fills in speeds and loads, and the parts'
// even speeds, and finds the odd ones out.
func Evidence(marks []Mark, parts []Part, r *ride.Session, flow Flow) (told []trim.Load) {
	even := make([][]*Mark, len(parts))
	for i := range marks {
		m := &marks[i]
		if !m.Counts() {
			continue
		}
		m.Speed = interval.Number(math.Hypot(m.east-flow.East, m.north-flow.North))
		m.Load = interval.Number(math.NaN())
		if m.normal > 0 {
			m.Load = interval.Number(m.normal / trim.Gravity)
		}
		if m.Even {
			even[m.Part] = append(even[m.Part], m)
			continue
		}
		told = append(told, trim.Load{Kind: trim.MomentKind, Speed: float64(m.Speed), Normal: m.normal, Change: parts[m.Part].Change,
			Value: m.Says.Share, SD: m.Says.SD, Said: m.Says.Said})
	}
	for k, presses := range even {
		parts[k].Even = interval.Unknown()
		if presses = withoutOdd(presses); len(presses) == 0 {
			continue
		}
		end := math.Inf(1)
		if k+1 < len(parts) {
			end = parts[k+1].Start
		}
		n, even := null(presses, ridden(r, flow, parts[k].Start, end), flow, parts[k].Change)
		parts[k].Even = even
		told = append(told, n)
	}
	return told
}

// withoutOdd leaves out presses far from the others of their place.
func withoutOdd(presses []*Mark) []*Mark {
	if len(presses) < leastForOdd {
		return presses
	}
	v := make([]float64, len(presses))
	for i, m := range presses {
		v[i] = float64(m.Speed)
	}
	mid := filter.Median(slices.Clone(v))
	off := make([]float64, len(v))
	for i := range v {
		off[i] = math.Abs(v[i] - mid)
	}
	const consistency = 1.4826 // of the median deviation with σ of a normal law
	limit := max(outlierLeast, outlierSigmas*consistency*filter.Median(slices.Clone(off)))
	var kept []*Mark
	for i, m := range presses {
		if off[i] > limit {
			m.Why, m.Even = FarOff, false
			continue
		}
		kept = append(kept, m)
	}
	return kept
}

// ridden are the speeds through the water, m/s, of straight flight between two
// times, thinned.
func ridden(r *ride.Session, flow Flow, from, to float64) []float64 {
	var v []float64
	s := &r.Speed
	every := int(math.Max(1, 1/s.Step))
	for _, x := range r.Reaches {
		lo, hi := max(x.Start+settling, from), min(x.End-settling, to)
		for i := max(0, int((lo-s.Start)/s.Step)); i < len(s.East) && s.Start+float64(i)*s.Step < hi; i += every {
			if u := math.Hypot(s.East[i]-flow.East, s.North[i]-flow.North); u == u {
				v = append(v, u)
			}
		}
	}
	return v
}

// The grid of the likelihood, and the law of s before any press: about 1 m/s,
// within a factor of e either way for most riders. It was tuned on simulated
// riders whose blur is three points.
const (
	evenStep   = 0.1 // m/s
	beyond     = 1.5 // m/s outside the speeds ridden, that V₀ may lie
	usualBlur  = 1.0 // m/s, of s
	blurSpread = 1.0 // 1σ of ln s
	blurStep   = 0.25
)

// null is the speed that the presses of one part call even, as evidence and by
// itself with its interval, m/s.
func null(presses []*Mark, ridden []float64, flow Flow, c trim.Change) (n trim.Load, even interval.Interval) {
	n.Kind, n.Change, n.Value = trim.NullKind, c, 0.5
	surge := 0.0
	var v []float64
	for _, m := range presses {
		v = append(v, float64(m.Speed))
		surge += m.surge / float64(len(presses))
		n.Normal += m.normal / float64(len(presses))
	}
	if len(ridden) == 0 {
		ridden = v
	}
	speed, off, even := evenSpeed(v, histogram(append(ridden, v...)))
	n.Speed, n.SpeedSD, n.SD = speed, math.Hypot(flow.SD, surge*reactionSD), math.Hypot(evenSD, blur*off)
	by := interval.Z90 * n.SpeedSD // what all presses have in common
	even.Low, even.High = even.Value-math.Hypot(even.Value-even.Low, by), even.Value+math.Hypot(even.High-even.Value, by)
	return n, even
}

// A bin is how often a speed was ridden.
type bin struct{ speed, count float64 }

func histogram(v []float64) []bin {
	slices.Sort(v)
	var out []bin
	for _, x := range v {
		at := evenStep * math.Round(x/evenStep)
		if n := len(out); n > 0 && out[n-1].speed == at {
			out[n-1].count++
			continue
		}
		out = append(out, bin{at, 1})
	}
	return out
}

// evenSpeed is the speed at which presses at speeds v tell the load best (see the
// package), 1σ of how far off even it is there, in σ of the rider's blur, and the
// even speed by its likelihood.
func evenSpeed(v []float64, ridden []bin) (speed, off float64, even interval.Interval) {
	low, high := ridden[0].speed-beyond, ridden[len(ridden)-1].speed+beyond
	total := 0.0
	for _, b := range ridden {
		total += b.count
	}
	var at, sharp, logs []float64 // V₀, 1/s² and the log likelihood of each
	for v0 := low; v0 <= high; v0 += evenStep {
		for z := -2.0; z <= 2; z += blurStep {
			s := usualBlur * math.Exp(blurSpread*z)
			near := func(x float64) float64 { return -(x - v0) * (x - v0) / (2 * s * s) }
			log, shown := -z*z/2, 0.0
			for _, x := range v {
				log += near(x)
			}
			nearest := math.Inf(-1) // far from all speeds, every term would vanish
			for _, b := range ridden {
				nearest = max(nearest, near(b.speed))
			}
			for _, b := range ridden {
				shown += b.count * math.Exp(near(b.speed)-nearest)
			}
			log -= float64(len(v)) * (nearest + math.Log(shown/total))
			at, sharp, logs = append(at, v0), append(sharp, 1/(s*s)), append(logs, log)
		}
	}
	weight, top := logs, slices.Max(logs)
	for i, l := range logs {
		weight[i] = math.Exp(l - top)
		sharp[i] *= weight[i]
	}
	speed = stat.Mean(at, sharp)
	off = math.Sqrt(stat.MomentAbout(2, at, speed, sharp) * floats.Sum(sharp) / floats.Sum(weight))
	return speed, off, interval.FromDraws(at, weight)
}

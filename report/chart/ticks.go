package chart

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Ticks puts about Count round numbers on an axis.
type Ticks struct {
	Count  int
	Suffix string // after each number, for example "%"
}

// Ticks are the ticks between lo and hi.
func (t Ticks) Ticks(lo, hi float64) []Tick {
	if !finite(lo) || !finite(hi) || !(hi > lo) {
		return nil
	}
	step := niceStep((hi - lo) / float64(max(t.Count, 2)))
	digits := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	if s := step * math.Pow(10, float64(digits)); math.Abs(s-math.Round(s)) > 1e-6 {
		digits++
	}
	var out []Tick
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+1e-9*step; k++ {
		v := k * step
		out = append(out, Tick{Value: v, Label: Number(v, digits) + t.Suffix})
	}
	return out
}

// niceStep is 1, 2 or 5 times a power of ten, at least about v.
func niceStep(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	switch m := v / p; {
	case m <= 1.2:
		return p
	case m <= 2.4:
		return 2 * p
	case m <= 6:
		return 5 * p
	}
	return 10 * p
}

// Number prints v with a real minus sign, and no minus before zero.
func Number(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.HasPrefix(s, "-") {
		if strings.Trim(s, "-0.") == "" {
			return s[1:]
		}
		return "−" + s[1:]
	}
	return s
}

// Clock labels seconds as minutes, or hours and minutes.
func Clock(s float64) string {
	m := int(math.Round(s / 60))
	if m >= 60 {
		return fmt.Sprintf("%d:%02d", m/60, m%60)
	}
	return strconv.Itoa(m)
}

// ClockTicks puts ticks at whole minutes.
type ClockTicks struct{ Count int }

// Ticks are the ticks between lo and hi.
func (t ClockTicks) Ticks(lo, hi float64) []Tick {
	if !finite(lo) || !finite(hi) || !(hi > lo) {
		return nil
	}
	step := 60.0
	for _, m := range []float64{1, 2, 5, 10, 15, 30, 60, 120, 300, 600} {
		step = m * 60
		if (hi-lo)/step <= float64(max(t.Count, 2)) {
			break
		}
	}
	var out []Tick
	for k := math.Ceil(lo / step); k*step <= hi && len(out) < 200; k++ {
		l := Clock(k * step)
		if hi < 3600 {
			l += " min"
		}
		out = append(out, Tick{Value: k * step, Label: l})
	}
	return out
}

// Named puts words at values.
type Named []string

// Ticks labels 0, 1, 2, ... with the names.
func (n Named) Ticks(lo, hi float64) []Tick {
	var out []Tick
	for i, s := range n {
		out = append(out, Tick{Value: float64(i), Label: s})
	}
	return out
}

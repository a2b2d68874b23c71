package interval

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
)

func TestNormalHoldsNineInTen(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const n = 20000
	draws := make([]float64, n)
	inside := 0
	i := Normal(3, 2)
	for k := range draws {
		draws[k] = 3 + 2*rng.NormFloat64()
		if i.Contains(draws[k]) {
			inside++
		}
	}
	if share := float64(inside) / n; math.Abs(share-0.9) > 0.01 {
		t.Errorf("the interval holds %.3f of the draws, want 0.9", share)
	}
	d := FromDraws(draws, nil)
	if math.Abs(d.Value-3) > 0.06 || math.Abs(d.SD()-2) > 0.06 {
		t.Errorf("from draws: %+v, sd %.3f", d, d.SD())
	}
}

func TestFromDrawsLeavesNaNOut(t *testing.T) {
	nan := math.NaN()
	if got := FromDraws([]float64{nan, 5, nan}, nil); got != Exact(5) {
		t.Errorf("got %+v, want 5", got)
	}
	if FromDraws([]float64{nan}, nil).Known() || FromDraws(nil, nil).Known() {
		t.Error("nothing is known, yet a value is given")
	}
	in := []float64{3, 1, 2}
	FromDraws(in, nil)
	if in[0] != 3 {
		t.Error("the draws were changed")
	}
}

func TestScaleSwapsBounds(t *testing.T) {
	if got := (Interval{1, 0, 3}).Scale(-2); got != (Interval{-2, -6, 0}) {
		t.Errorf("got %+v", got)
	}
}

func TestJSON(t *testing.T) {
	for _, c := range []struct {
		in   any
		want string
	}{
		{Interval{1.5, 1, 2}, `{"value":1.5,"low":1,"high":2}`},
		{Unknown(), "null"},
		{Interval{math.Inf(1), 0, 0}, "null"},
		{Interval{1, math.Inf(-1), 2}, `{"value":1,"low":null,"high":2}`},
		{Number(math.NaN()), "null"},
		{Number(1.23456789012), "1.234568"},
		{Number(-0.000123456789), "-0.0001234568"},
		{Number(0), "0"},
		{Number(5e-324), "5e-324"},
		{Number(1.7976931348623157e308), "1.797693e+308"},
	} {
		b, err := json.Marshal(c.in)
		if err != nil || string(b) != c.want {
			t.Errorf("%v: %s, %v; want %s", c.in, b, err, c.want)
		}
	}
	var i Interval
	if err := json.Unmarshal([]byte(`{"value":1.5,"low":1,"high":2}`), &i); err != nil || i != (Interval{1.5, 1, 2}) {
		t.Errorf("read back %+v, %v", i, err)
	}
	if err := json.Unmarshal([]byte("null"), &i); err != nil || i.Known() {
		t.Errorf("null reads as %+v, %v", i, err)
	}
}

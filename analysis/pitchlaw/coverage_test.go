package pitchlaw

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"evenfoot/analysis/interval"
)

// tally counts how often a 90 % interval holds the truth.
type tally struct {
	name    string
	hits, n int
	err2    float64
	bias    float64 // relative to the interval's σ
}

func (t *tally) add(i interval.Interval, truth float64) {
	t.n++
	if i.Contains(truth) {
		t.hits++
	}
	sd := i.SD()
	z := (i.Value - truth) / sd
	t.err2 += z * z
	t.bias += z
}

func (t *tally) String() string {
	n := float64(t.n)
	return fmt.Sprintf("| %-16s | %5.1f %% | %5.2f | %+5.2f |", t.name, 100*float64(t.hits)/n, math.Sqrt(t.err2/n), t.bias/n)
}

// TestCoverage holds the 90 % intervals against truth. The long study, whose
// table is in testdata/coverage.md:
//
//	EVENFOOT_COVERAGE=1000 go test -run 'TestCoverage$' -v ./analysis/pitchlaw
func TestCoverage(t *testing.T) {
	sessions := 20
	if s := os.Getenv("EVENFOOT_COVERAGE"); s != "" {
		sessions, _ = strconv.Atoi(s)
	}
	names := []string{"slope", "zero", "pitch, low speed", "pitch, mid speed", "pitch, top speed", "flow east", "flow north"}
	tallies := make([]tally, len(names))
	refused := map[string]int{}
	slopeErr, bent := 0.0, 0
	for k := range sessions {
		rng := rand.New(rand.NewPCG(uint64(k), 13))
		m := anySession(rng)
		w, speeds := m.build(rng)
		f := Estimate(w, Params{})
		if !f.Enough {
			for _, s := range f.Missing {
				refused[string(s.Kind)]++
			}
			continue
		}
		if f.Bends[0].P < 0.01 {
			bent++
		}
		at := func(q float64) (interval.Interval, float64) {
			v := speeds[int(q*float64(len(speeds)-1))]
			return f.PitchAt(v, 9.80665), m.zero + m.slope*2*9.80665/(1025*v*v)
		}
		low, lowT := at(0.05)
		mid, midT := at(0.5)
		top, topT := at(0.95)
		for i, v := range []struct {
			i interval.Interval
			v float64
		}{{f.Slope, m.slope}, {f.Zero, m.zero}, {low, lowT}, {mid, midT}, {top, topT}, {f.FlowEast, m.flow[0]}, {f.FlowNorth, m.flow[1]}} {
			tallies[i].name = names[i]
			tallies[i].add(v.i, v.v)
		}
		slopeErr += (f.Slope.Value - m.slope) / m.slope
	}
	n := tallies[0].n
	t.Logf("%d sessions, %d with enough; slope off by %+.2f %% on average; refused for: %v", sessions, n, 100*slopeErr/float64(n), refused)
	t.Logf("curvature, which is not there, has p < 0.01 in %.1f %%", 100*float64(bent)/float64(n))
	t.Log("| 90 % interval of | holds | rms error / σ | bias / σ |")
	if n < sessions/2 {
		t.Errorf("only %d of %d sessions had enough", n, sessions)
	}
	for i := range tallies {
		t.Log(tallies[i].String())
		share := float64(tallies[i].hits) / float64(n)
		// Three standard errors of a share about the range that is asked for.
		slack := 3 * math.Sqrt(0.09/float64(n))
		if n >= 300 {
			slack = 0
		}
		if share < 0.85-slack || share > 0.95+slack {
			t.Errorf("%s: %.1f %% of the intervals hold the truth", tallies[i].name, 100*share)
		}
	}
}

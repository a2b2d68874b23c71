package ride_test

import (
	"testing"

	"evenfoot/analysis/ride"
	"evenfoot/analysis/simulate"
)

// TestPhases: second by second, the outing is named rightly.
func TestPhases(t *testing.T) {
	for _, imu := range []bool{true, false} {
		for name, sc := range map[string]simulate.Scenario{"default": simulate.Default(), "beginner": simulate.Beginner(), "kite": simulate.Kite()} {
			sc.Seed = 31
			sc.Rest, sc.Carry, sc.Swim = 90, 80, 40
			s := simulate.Run(sc)
			got := ride.Detect(input(s, imu))
			at := func(x float64) string {
				for _, p := range got.Phases {
					if p.Start <= x && x < p.End {
						return string(p.Kind)
					}
				}
				return "none"
			}
			table := map[string]map[string]int{}
			for _, p := range s.Truth.Phases {
				row := table[p.Kind]
				if row == nil {
					row = map[string]int{}
					table[p.Kind] = row
				}
				for x := p.Start + 0.5; x < p.End; x++ {
					row[at(x)]++
				}
			}
			for kind, row := range table {
				sum := 0
				for _, n := range row {
					sum += n
				}
				t.Logf("imu %v %-9s %-7s %v", imu, name, kind, row)
				floor := map[string]float64{"flight": 0.96, "taxi": 0.75, "swim": 0.8, "carry": 0.85, "rest": 0.85}[kind]
				if !imu { // a walk and a swim are alike to a watch
					floor -= 0.15
				}
				if share := float64(row[kind]) / float64(sum); share < floor {
					t.Errorf("imu %v, %s: %.0f %% of %s told rightly, want %.0f %%", imu, name, 100*share, kind, 100*floor)
				}
			}
		}
	}
}

package analysis

import (
	"fmt"
	"testing"
	"time"

	"evenfoot/analysis/setup"
	"evenfoot/ingest"
)

// TestMeasuredTwice: of outings whose setups give different angles, the nearest earlier
// one stands in where a setup gives none, else the nearest later one, in a comparison as
// on a sheet and in whatever order the outings are handed over; without dates in that order.
func TestMeasuredTwice(t *testing.T) {
	t.Parallel()
	parse := func(angle string) *setup.Setup {
		text := `rider.mass_kg = 80
stance.front_cm = 33
stance.back_cm = -20
foil.mast_cm = 85
foil.wing.area_cm2 = 1150
foil.wing.span_cm = 92
foil.stabilizer.area_cm2 = 205
foil.stabilizer.span_cm = 38.5
foil.stabilizer.behind_wing_cm = 68
rider.name = "Ines"
`
		if angle != "" {
			text += "foil.stabilizer.incidence_deg = " + angle
		}
		s, _, err := setup.Parse("setup.toml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for _, c := range []struct {
		angles [3]string // in order of time
		want   float64   // where it is left out
	}{
		{[3]string{"-1", "", "-2.4"}, -1},
		{[3]string{"-2.4", "", "-1"}, -2.4},
		{[3]string{"-2.4", "-1", ""}, -1},
		{[3]string{"", "-1", "-2.4"}, -1},
	} {
		for _, order := range [][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
			for _, dated := range []bool{true, false} {
				if !dated && order != [3]int{0, 1, 2} {
					continue
				}
				var all []Given
				for _, k := range order {
					g := Given{Name: fmt.Sprint(k), Setup: parse(c.angles[k]), Log: &ingest.Log{}}
					if dated {
						g.Log.Start = time.Date(2026, 7, 3+k, 10, 0, 0, 0, time.UTC)
					}
					all = append(all, g)
				}
				req := Request{Earlier: all[:2], Log: all[2].Log, Setup: all[2].Setup}
				req.complete()
				if req.Earlier[0].Name > req.Earlier[1].Name {
					t.Errorf("handed over as %v, dated %v: outing %s counts before outing %s", order, dated, req.Earlier[0].Name, req.Earlier[1].Name)
				}
				sheet := map[string]*setup.Setup{req.Earlier[0].Name: req.Earlier[0].Setup, req.Earlier[1].Name: req.Earlier[1].Setup, all[2].Name: req.Setup}
				for i, s := range Completed(all) {
					want := c.want
					if a := c.angles[order[i]]; a != "" {
						fmt.Sscan(a, &want)
					}
					for what, s := range map[string]*setup.Setup{"compared": s, "on the sheet": sheet[all[i].Name]} {
						if got := s.Foil.Stabilizer.Incidence / degree; got < want-1e-9 || got > want+1e-9 {
							t.Errorf("%q handed over as %v, dated %v: outing %d has %v° %s, want %v°", c.angles, order, dated, order[i]+1, got, what, want)
						}
					}
				}
			}
		}
	}
}

package trim

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"evenfoot/analysis/water"
)

// TestIndependentCases holds the model against numbers computed by an
// independent implementation of the same equations (testdata/trim_cases.json).
func TestIndependentCases(t *testing.T) {
	raw, err := os.ReadFile("testdata/trim_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []struct {
		Name    string
		Speed   float64 `json:"speed_mps"`
		NormalG float64 `json:"normal_g"`
		Inputs  Inputs
		Outputs map[string]float64
	}
	if err := json.Unmarshal(raw, &cases); err != nil {
		t.Fatal(err)
	}
	if len(cases) < 10 {
		t.Fatalf("only %d cases", len(cases))
	}
	for _, c := range cases {
		f := NewFoil(c.Inputs)
		s := f.At(c.Speed, c.NormalG*Gravity)
		b, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		wing, stab := f.liftLines(water.DynamicPressure(f.In.Density, c.Speed))
		about := TailMoment(TailVolume(f.In.StabArm, f.In.StabArea, f.wing.chord, f.In.WingArea), stab.Tail/f.In.StabArea, f.Downwash)
		lift, slope := wing.Plus(stab), about.Times(f.In.WingArea*f.wing.chord)
		got := map[string]float64{"neutral_point_x_m": AerodynamicCentre(lift, MomentAbout(lift, slope, -f.In.WingX))}
		if err := json.Unmarshal(b, &got); err != nil {
			t.Fatal(err)
		}
		for k, want := range c.Outputs {
			g, ok := got[k]
			if !ok {
				t.Fatalf("%s: no output %q", c.Name, k)
			}
			if math.Abs(g-want) > 1e-6*math.Abs(want) {
				t.Errorf("%s: %s = %.12g, want %.12g", c.Name, k, g, want)
			}
		}
	}
}

package finish

import "math"

// A Paper is one FEPA P grade.
type Paper struct {
	Grit  int
	Grain float64 // ds50, m
}

// Papers lists the FEPA P scale from coarse to fine with the median grain
// size. P320 to P2500: FEPA 43-GB / ISO 6344-3 (the values from memory, as the
// checks say); P80 to P220: ISO 6344-2, from memory; P3000: makers' lists,
// from memory.
var Papers = []Paper{
	{80, 201e-6}, {100, 162e-6}, {120, 125e-6}, {150, 100e-6}, {180, 82e-6}, {220, 68e-6},
	{240, 58.5e-6}, {280, 52.2e-6}, {320, 46.2e-6}, {360, 40.5e-6}, {400, 35.0e-6}, {500, 30.2e-6},
	{600, 25.8e-6}, {800, 21.8e-6}, {1000, 18.3e-6}, {1200, 15.3e-6}, {1500, 12.6e-6}, {2000, 10.3e-6},
	{2500, 8.4e-6}, {3000, 6.5e-6},
}

// Grain is the median grain of a P number, m; between two grades it follows
// the power law through them, outside the list the nearest grade's.
func Grain(grit int) float64 {
	if grit <= Papers[0].Grit {
		return Papers[0].Grain
	}
	for i := 1; i < len(Papers); i++ {
		lo, hi := Papers[i-1], Papers[i]
		if grit <= hi.Grit {
			f := math.Log(float64(grit)/float64(lo.Grit)) / math.Log(float64(hi.Grit)/float64(lo.Grit))
			return lo.Grain * math.Pow(hi.Grain/lo.Grain, f)
		}
	}
	return Papers[len(Papers)-1].Grain
}

// What a finish leaves on the surface. No measured roughness of a sanded foil
// is known to us, so the centre is an estimate and the spread wide: the
// equivalent sand roughness after wet sanding is taken as 0.15 of the grain,
// within a factor of 2 (1σ of its logarithm).
const (
	roughnessPerGrain = 0.15
	roughnessLogSD    = 0.69
)

// surfaceRoughness is the equivalent sand roughness of a named surface, m
// (estimates, no source).
var surfaceRoughness = map[string]float64{"gloss": 1.5e-6, "satin": 6e-6, "rough": 60e-6}

// laminarFraction is how far the flow stays laminar on a surface whose
// roughness is k, with kSmooth the smooth limit: the model's default of 0.1 at
// the limit, 0.2 well below, 0.02 well above (estimates, no source).
func laminarFraction(k, kSmooth float64) float64 {
	x := math.Log2(k / kSmooth)
	switch {
	case x <= -2:
		return 0.2
	case x <= 0:
		return 0.1 - 0.05*x
	case x < 2:
		return 0.1 - 0.04*x
	}
	return 0.02
}

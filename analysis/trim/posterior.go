package trim

import "evenfoot/analysis/interval"

// A Posterior is what is known of the foil after all the evidence.
type Posterior struct {
	Base      Inputs      // the setup as given, the centre of the priors
	Unknowns  []Unknown   // one per parameter of the inference
	Mean      []float64   // MAP, in prior σ from the prior's mean
	Cov       [][]float64 // Laplace covariance, same scale
	Draws     []Inputs    // whole foils, equally likely; fixed seed
	Conflicts []Conflict
	Widened   float64 // factor by which the covariance was inflated for conflict, 1 = none
}

// An Unknown is one parameter of the inference.
type Unknown struct {
	Name      string // "stabilizer incidence"
	Unit      string // printing unit: "deg", "mm", "%"
	Prior     interval.Interval
	Posterior interval.Interval
	PriorSD   float64 // SI
	Default   bool    // the setup did not give it
}

// A Conflict names an input that disagrees with the rest.
type Conflict struct {
	What   string
	Sigmas float64
}

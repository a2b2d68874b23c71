package trim

// MoveFoil is the same foil and rider with the mast moved dx metres forward in
// its track: measured from the mast, feet and board move back.
func (in Inputs) MoveFoil(dx float64) Inputs {
	in.FrontFoot -= dx
	in.BackFoot -= dx
	in.BoardCG -= dx
	in.MastFootX -= dx
	return in
}

// Gradient is the speed gradient of the front foot's share at a speed in level
// flight, share per m/s.
func (f Foil) Gradient(speed float64) float64 {
	t := f.Trend(speed)
	return t.Gradient(Change{})
}

// At is the value at the angle of attack α and the setting δ.
func (l Linear) At(alpha, tail float64) float64 { return l.Const + l.Alpha*alpha + l.Tail*tail }

// Effective is the share of the weights that counts, (Σw)²/(n Σw²): 1 where
// the posterior is normal.
func (post *Posterior) Effective() float64 {
	sum, squares := 0.0, 0.0
	for _, w := range post.Weights {
		sum += w
		squares += w * w
	}
	return sum * sum / squares / float64(len(post.Weights))
}

// Each computes f of every draw.
func (post *Posterior) Each(f func(Inputs) float64) []float64 {
	v := make([]float64, len(post.Draws))
	for i, d := range post.Draws {
		v[i] = f(d)
	}
	return v
}

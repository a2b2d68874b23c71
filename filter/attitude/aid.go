package attitude

func (s *smoother) follow(sm *Samples, aid *Aid, tk *ticks) (bool, float64) { return false, 0 }

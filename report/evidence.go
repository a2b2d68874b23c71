package report

import (
	"fmt"
	"math"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// setupLines is the setup as it was understood.
func setupLines(s *setup.Setup, u words.Units) []given {
	if s == nil {
		return nil
	}
	var out []given
	for i := range setup.Keys {
		k := &setup.Keys[i]
		v := k.Value(s)
		nothing := v == 0.0 || v == 0 || v == ""
		if k.Label == "" || nothing && k.Example != nil && !s.Given(k.Name) {
			continue
		}
		out = append(out, given{k.Label, valueText(k, v, u), !s.Given(k.Name)})
	}
	for _, f := range s.Feel {
		out = append(out, given{"Felt at " + u.SpeedText(f.Speed), fmt.Sprintf("%s, taken as %s ± %s", words.Clean(f.Said), words.Fixed(100*f.Share, 0), words.Percent(f.SD)), false})
	}
	return out
}

// valueText is a value of the setup in the reader's units.
func valueText(k *setup.Key, v any, u words.Units) string {
	switch x := v.(type) {
	case bool:
		return words.Choose(x, "in straps or hooks", "free")
	case int:
		return fmt.Sprintf("P %d", x)
	case [2]float64:
		return u.LengthText(-x[0]) + " back, " + u.LengthText(x[1]) + " forward"
	case float64:
		return u.Keyed(k, x)
	case string:
		if k.Name == "foil.stabilizer.mount" {
			return words.Choose(x == "bottom", "below the fuselage", "on top of the fuselage")
		}
		return words.Clean(x)
	}
	return words.Unknown
}

// rate is a number of samples per second without needless decimals.
func rate(hz float64) string {
	if math.Abs(hz-math.Round(hz)) < 0.05 {
		return words.Fixed(hz, 0)
	}
	return words.Fixed(hz, 1)
}

// fileLines say what was read.
func fileLines(r *analysis.Result) []fileFacts {
	var out []fileFacts
	if r.Log == nil {
		for _, f := range r.Session.Files {
			out = append(out, fileFacts{Name: words.FileName(f)})
		}
		return out
	}
	for _, f := range r.Log.Files {
		x := fileFacts{Name: words.FileName(f.Name), Kind: words.Clean(f.Kind)}
		if d := words.Clean(f.Device); d != "" {
			x.Facts = append(x.Facts, "Device: "+d)
		}
		for _, c := range f.Channels {
			s := fmt.Sprintf("%s: %d samples", words.Clean(c.Name), c.Samples)
			if words.Finite(c.RateHz) && c.RateHz > 0 {
				s += fmt.Sprintf(", %s per second", rate(c.RateHz))
			}
			if c.Unit != "" {
				s += ", written in " + words.Clean(c.Unit)
			}
			if c.Gaps > 0 {
				s += fmt.Sprintf(", %s (longest %s s)", words.Plural(c.Gaps, "gap"), words.Fixed(c.LongestGapS, 1))
			}
			x.Facts = append(x.Facts, words.UpperFirst(s))
		}
		for _, d := range f.Dropped {
			x.Facts = append(x.Facts, fmt.Sprintf("Left out: %d, because %s", d.Count, words.CleanTo(words.LeftOut(d), 160)))
		}
		out = append(out, x)
	}
	return out
}

// sensorLines are clocks, mount and zero.
func sensorLines(r *analysis.Result) (f facts) {
	s := r.Session
	if t := s.Start; t != nil && !t.IsZero() {
		f.add("Start", t.UTC().Format("2 January 2006, 15:04:05")+" UTC")
	}
	if s.Duration > 0 {
		f.add("Length of the log", words.Minutes(float64(s.Duration)))
	}
	if v := float64(s.GPSHz); words.Finite(v) && v > 0 {
		f.add("GPS", rate(v)+" fixes per second")
	} else if r.Log != nil {
		f.add("GPS", "none in this log")
	}
	if r.Log != nil && r.Log.GPS.SpeedFrom != "" {
		f.add("Speed comes from", "the "+words.Clean(r.Log.GPS.SpeedFrom))
	}
	if v := float64(s.IMUHz); words.Finite(v) && v > 0 {
		f.add("Motion sensor (IMU)", words.Fixed(v, 0)+" samples per second")
	} else if r.Log != nil {
		f.add("Motion sensor (IMU)", "none in this log")
	}
	if r.Log != nil && r.Log.Clock.How != "" {
		c := r.Log.Clock
		v := words.Clean(string(c.How))
		if s.ClockOffset.Known() && !(s.ClockOffset.Value == 0 && s.ClockOffset.High == 0) {
			v += "; the sensor's clock was ahead by " + words.Between(s.ClockOffset, 1, 2) + " s"
			if c.DriftPPM != 0 && words.Finite(c.DriftPPM) {
				v += fmt.Sprintf(", drifting %s parts per million", words.Fixed(c.DriftPPM, 0))
			}
			v += "; this is already taken out"
		}
		f.add("The two clocks", v)
	}
	m := r.Mount
	if m == nil {
		return f
	}
	if m.Why.Kind != "" {
		f.add("Mount", words.Sentence(words.Units{}.Say(m.Why)))
	}
	f.add("The sensor's x axis points from the bow by", words.Between(m.Heading, 1, 1)+" degrees", m.Heading.Value)
	f.add("The sensor is tilted by", words.Fixed(float64(m.Tilt), 1)+" degrees", float64(m.Tilt))
	if m.AccelerometerSign < 0 {
		f.add("Accelerometer", "reports the opposite sign; this is already put right")
	}
	f.add("Level", words.Choose(m.LevelZero, "known: ", "not known, so pitch is relative: ")+words.Units{}.Say(m.LevelFrom))
	f.add("Fixed to the board", words.Choose(m.Rigid, "yes", "no, so its pitch is not used"))
	return f
}

package setup

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

const riderForm = "mass=80kg,height=178cm,level=advanced"

// ParseRider reads another rider, for example [riderForm]; what is left out
// stays as in base. Mass may be in kg or lb, height and feet in cm, m or in.
func ParseRider(text string, base *Setup) (*Setup, error) {
	s := *base
	s.given = maps.Clone(base.given)
	s.Feel = nil
	s.Rider.Name = ""
	for field := range strings.SplitSeq(text, ",") {
		name, v, ok := strings.Cut(field, "=")
		if !ok {
			return nil, fmt.Errorf("--rider: %q is not of the form %s", field, riderForm)
		}
		if err := s.setRider(strings.TrimSpace(name), strings.TrimSpace(v)); err != nil {
			return nil, fmt.Errorf("--rider: %w", err)
		}
	}
	if s.Stance.Front-s.Stance.Back < 0.05 {
		return nil, fmt.Errorf("--rider: the front foot must stand ahead of the back foot")
	}
	return &s, nil
}

// setRider sets what one word of --rider says.
func (s *Setup) setRider(name, text string) error {
	i := slices.IndexFunc(Keys, func(k Key) bool { return k.Rider == name && name != "" })
	if i < 0 {
		var known []string
		for _, k := range Keys {
			if k.Rider != "" {
				known = append(known, k.Rider)
			}
		}
		return fmt.Errorf("%q is not known: use %s", name, strings.Join(known, ", "))
	}
	k := &Keys[i]
	switch p := k.place(s, 0).(type) {
	case *string:
		if k.Words != nil && !slices.Contains(k.Words, text) {
			return fmt.Errorf("%s %q is not known: use %s", name, text, strings.Join(k.Words, ", "))
		}
		*p = text
	case *float64:
		v, err := k.quantity(text)
		if err != nil {
			return err
		}
		*p = v
	}
	s.SetGiven(k.Name)
	return nil
}

// unitNames are what a rider's size may be written in, and their size in SI.
var unitNames = map[string]map[string]float64{
	"kg": {"kg": 1, "lb": 0.45359237},
	"cm": {"cm": cm, "m": 1, "in": 0.0254, "mm": mm},
}

// quantity reads a number with its unit, within the key's limits, in SI.
func (k *Key) quantity(text string) (float64, error) {
	own, si := k.Unit()
	number := strings.TrimRight(text, "abcdefghijklmnopqrstuvwxyz")
	factor, ok := unitNames[own][text[len(number):]]
	if !ok {
		return 0, fmt.Errorf("%s=%q needs a unit, for example %s%s", k.Rider, text, strings.TrimSpace(number), own)
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil {
		return 0, fmt.Errorf("%s=%q is not a number with a unit", k.Rider, text)
	}
	if v *= factor; !(v >= k.Limits.Low*si && v <= k.Limits.High*si) {
		return 0, fmt.Errorf("%s=%s is outside what is possible", k.Rider, text)
	}
	return v, nil
}

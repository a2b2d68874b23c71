package setup

import (
	"fmt"
	"strconv"
	"strings"
)

// ParseRider reads another rider, for example
// "mass=104kg,height=190cm,level=intermediate"; what is left out stays as in
// base. Mass may be in kg or lb, height and feet in cm, m or in.
func ParseRider(text string, base *Setup) (*Setup, error) {
	s := *base
	s.given = map[string]bool{}
	for k := range base.given {
		s.given[k] = true
	}
	s.Feel = nil
	s.Rider.Name = ""
	for field := range strings.SplitSeq(text, ",") {
		k, v, ok := strings.Cut(strings.TrimSpace(field), "=")
		if !ok {
			return nil, fmt.Errorf("--rider: %q is not of the form mass=104kg,height=190cm,level=intermediate", field)
		}
		k, v = strings.TrimSpace(k), strings.TrimSpace(v)
		var err error
		switch k {
		case "name":
			s.Rider.Name = v
		case "level":
			s.Rider.Level = v
			if v != "beginner" && v != "intermediate" && v != "advanced" {
				err = fmt.Errorf("--rider: level %q is not known: use beginner, intermediate, advanced", v)
			}
		case "mass":
			s.Rider.Mass, err = quantity(k, v, map[string]float64{"kg": 1, "lb": 0.45359237}, 15, 400)
			s.given["rider.mass_kg"] = true
		case "height":
			s.Rider.Height, err = quantity(k, v, lengths, 0.8, 2.5)
			s.given["rider.height_cm"] = true
		case "front":
			s.Stance.Front, err = quantity(k, v, lengths, -1.5, 2)
		case "back":
			s.Stance.Back, err = quantity(k, v, lengths, -2, 1.5)
		default:
			err = fmt.Errorf("--rider: %q is not known: use name, mass, height, level, front, back", k)
		}
		if err != nil {
			return nil, err
		}
	}
	if s.Stance.Front-s.Stance.Back < 0.05 {
		return nil, fmt.Errorf("--rider: the front foot must stand ahead of the back foot")
	}
	return &s, nil
}

var lengths = map[string]float64{"cm": cm, "m": 1, "in": 0.0254, "mm": mm}

// quantity reads a number with its unit, bounded in SI.
func quantity(name, text string, units map[string]float64, low, high float64) (float64, error) {
	i := len(text)
	for i > 0 && (text[i-1] >= 'a' && text[i-1] <= 'z') {
		i--
	}
	factor, ok := units[text[i:]]
	if !ok {
		return 0, fmt.Errorf("--rider: %s=%q needs a unit, for example %s", name, text, map[bool]string{true: "80kg", false: "180cm"}[name == "mass"])
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(text[:i]), 64)
	if err != nil {
		return 0, fmt.Errorf("--rider: %s=%q is not a number with a unit", name, text)
	}
	if v *= factor; !(v >= low && v <= high) {
		return 0, fmt.Errorf("--rider: %s=%s is outside what is possible", name, text)
	}
	return v, nil
}

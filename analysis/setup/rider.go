package setup

import (
	"cmp"
	"errors"
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
			return nil, fmt.Errorf("%q is not of the form %s", field, riderForm)
		}
		if err := s.setRider(strings.TrimSpace(name), strings.TrimSpace(v)); err != nil {
			return nil, err
		}
	}
	if s.Stance.Front-s.Stance.Back < 0.05 {
		return nil, errors.New("the front foot must stand ahead of the back foot")
	}
	return &s, nil
}

// RiderText is what [ParseRider] reads, of fields by its words as typed: numbers
// in these units, with a comma or a point. What is empty is left out.
func RiderText(typed map[string]string, mass, length string) string {
	in := map[string]string{"kg": mass, "cm": length}
	var parts []string
	for i := range Keys {
		k := &Keys[i]
		v := strings.TrimSpace(typed[k.Rider])
		if k.Rider == "" || v == "" {
			continue
		}
		unit, _ := k.Unit()
		comma := " " // of a name: a comma ends a field
		if in[unit] != "" {
			comma = "."
		}
		parts = append(parts, k.Rider+"="+strings.ReplaceAll(v, ",", comma)+in[unit])
	}
	return strings.Join(parts, ",")
}

// setRider sets what one word of --rider says, checked as in a file.
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
	var v any = text
	if unit, si := k.Unit(); unit != "" {
		number := strings.TrimRight(text, "abcdefghijklmnopqrstuvwxyz")
		factor, ok := unitNames[unit][text[len(number):]]
		x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || !ok {
			return fmt.Errorf("%s=%q is not a number with its unit (%s), for example %s=%v%s", name, text,
				strings.Join(slices.Sorted(maps.Keys(unitNames[unit])), ", "), name, cmp.Or(k.Default, k.Example), unit)
		}
		v = x * factor / si
	}
	c := &checker{s: s, written: map[string]float64{}}
	c.put(k, k.last(), k.place(s, 0), v)
	s.SetGiven(k.Name)
	if len(c.wrong) > 0 {
		return c.wrong[0]
	}
	return nil
}

// unitNames are what a rider's size may be written in, and their size in SI.
var unitNames = map[string]map[string]float64{
	"kg": {"kg": 1, "lb": 0.45359237},
	"cm": {"cm": cm, "m": 1, "in": 0.0254, "mm": mm},
}

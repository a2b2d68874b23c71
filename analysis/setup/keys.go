package setup

import (
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"
)

// A Key is one value that a setup may hold, and all there is to know of it:
// reader, template, checks, the other rider, the page and the inference ask
// this table and nothing else.
type Key struct {
	Name     string // dotted; its ending is its unit: "foil.wing.area_cm2"
	Label    string // what it is, short, for a list or a form; "" is not listed
	Help     string // for the template
	Default  any    // float64 in the key's unit, string, bool or [2]float64; nil for none
	Example  any    // for the template, where there is no default
	Required bool
	Words    []string // that are allowed; nil for any
	Limits   *Limits
	Rider    string // its name in --rider; "" belongs to board, rig, foil or water
	Unknown  string // the unknown of the inference that it is the centre of; "" is taken as it stands
	Prior    Prior  // of that unknown
	Lasts    bool   // a size of rider or gear: measured once, it holds for every outing that leaves it out
	other    bool   // another way to write the key before it: not in the template
	percent  bool   // kept in percent inside too
	// place is where the value goes: a pointer into the setup, or a func(any)
	// error that puts it there. i counts in lists such as [[feel]].
	place func(s *Setup, i int) any
}

// Limits are what a value may be at all and what it mostly is, in the key's unit.
type Limits struct{ Low, UsualLow, UsualHigh, High float64 }

// Unusual says that a value (SI) lies outside what the key's mostly are.
func (k *Key) Unusual(v float64) bool {
	_, si := k.Unit()
	return k.Limits != nil && (v/si < k.Limits.UsualLow || v/si > k.Limits.UsualHigh)
}

// A Prior is 1σ of a value that the setup gives and of the default that stands
// in where it does not, SI, or a share of the value.
type Prior struct {
	Given, Default float64
	Relative       bool
}

// SD is 1σ of the key's value in a setup, as [Prior] has it.
func (k *Key) SD(s *Setup) float64 {
	if k.Name == "rig.lift_fraction" {
		return rigKind(s.Rig.Kind).liftSD
	}
	if k.Prior.Default > 0 && !s.Given(k.Name) {
		return k.Prior.Default
	}
	return k.Prior.Given
}

// Value is what the setup holds: float64 in SI, int, string, bool, or
// [2]float64 in SI; nil of the keys of lists and of feelings.
func (k *Key) Value(s *Setup) any {
	if slices.Contains(Lists, k.Table()) {
		return nil
	}
	if p := reflect.ValueOf(k.place(s, 0)); p.Kind() == reflect.Pointer {
		return p.Elem().Interface()
	}
	return nil
}

// Number is the setup's value of a key that is a number, SI.
func (s *Setup) Number(key string) float64 { return KeyNamed(key).Value(s).(float64) }

// With is a setup with the key as another has it, where that says it and this does
// not; else the setup itself.
func (s *Setup) With(k *Key, of *Setup) *Setup {
	if s.Given(k.Name) || !of.Given(k.Name) {
		return s
	}
	out := *s
	out.given, out.Taken = maps.Clone(s.given), append(slices.Clip(s.Taken), k.Name)
	out.SetGiven(k.Name)
	reflect.ValueOf(k.place(&out, 0)).Elem().Set(reflect.ValueOf(k.Value(of)))
	return &out
}

// Table is the table that the key stands in, "" at the top: "foil.wing".
func (k *Key) Table() string { return k.Name[:max(0, strings.LastIndex(k.Name, "."))] }

// Entry is the key's name in an entry of a list, from 0: "feel.0.speed_kn". What
// is no list has one.
func (k *Key) Entry(n int) string {
	if t := k.Table(); slices.Contains(Lists, t) {
		return fmt.Sprintf("%s.%d.%s", t, n, k.last())
	}
	return k.Name
}

// last is the key without its table.
func (k *Key) last() string { return k.Name[strings.LastIndex(k.Name, ".")+1:] }

// Unit factors at the border.
const (
	cm     = 0.01
	mm     = 0.001
	degree = math.Pi / 180
	knot   = 1852.0 / 3600 // m/s
)

// units are the endings of keys: the printed unit and its size in SI.
var units = []struct {
	ending, symbol string
	si             float64
}{
	{"_deg_per_100n", "°/100 N", degree / 100}, {"_cm2", "cm²", 1e-4}, {"_cm", "cm", cm}, {"_mm", "mm", mm}, {"_kg", "kg", 1},
	{"_deg", "°", degree}, {"_percent", "%", 0.01}, {"_fraction", "", 1}, {"_c", "°C", 1},
	{"_kn", "kn", knot}, {"_kmh", "km/h", 1 / 3.6}, {"_mph", "mph", 0.44704}, {"_mps", "m/s", 1},
}

// Unit is the printed unit of a number and its size in SI: ("cm", 0.01).
func (k *Key) Unit() (symbol string, si float64) {
	for _, u := range units {
		if strings.HasSuffix(k.Name, u.ending) {
			if k.percent {
				return u.symbol, 1
			}
			return u.symbol, u.si
		}
	}
	return "", 1
}

// KeyNamed finds a key by its dotted name, nil when there is none.
func KeyNamed(name string) *Key {
	if i := slices.IndexFunc(Keys, func(k Key) bool { return k.Name == name }); i >= 0 {
		return &Keys[i]
	}
	return nil
}

// Lists are the tables that may stand several times: [[feel]].
var Lists = []string{"feel", "mark", "change", "glide"}

// names are those of all keys, and of their tables, lists too.
func names() (keys, tables []string) {
	for _, k := range Keys {
		keys = append(keys, k.Name)
		if t := k.Table(); t != "" && !slices.Contains(tables, t) {
			tables = append(tables, t)
		}
	}
	return keys, tables
}

// A kindOfRig is what a rig carries of the rider's weight when the setup does
// not say, and 1σ of it, said or not. A measured value is no surer: it changes
// from one gust to the next.
type kindOfRig struct {
	name         string
	lift, liftSD float64
}

var rigKinds = []kindOfRig{{"wing", 0.08, 0.05}, {"kite", 0.25, 0.12}, {"sail", 0, 0.03}, {"tow", 0, 0.02}, {"none", 0, 0.01}}

func rigKind(name string) kindOfRig {
	if i := slices.IndexFunc(rigKinds, func(r kindOfRig) bool { return r.name == name }); i >= 0 {
		return rigKinds[i]
	}
	return rigKinds[0]
}

// Rigs are the kinds of rig a setup may name.
func Rigs() []string {
	var out []string
	for _, r := range rigKinds {
		out = append(out, r.name)
	}
	return out
}

package setup

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Sense is where the load was, as a rider puts it.
type Sense struct {
	Share float64 // the front foot's, 0..1
	SD    float64 // 1σ of Share
	Said  string  // the rider's own words; "" when nothing was said
}

// Words of a sense that others than riders use. Nothing takes a mark's meaning
// away, Gliding says that it is the start of a glide.
const (
	Even    = "even"
	Nothing = "nothing"
	Gliding = "glide"
)

// senses are the front foot's share and its 1σ that each word stands for. No
// source: what the words mean to riders was not measured.
var senses = []Sense{
	{0.25, 0.10, "strong back"}, {0.38, 0.08, "back"}, {0.50, 0.06, Even}, {0.62, 0.08, "front"}, {0.75, 0.10, "strong front"},
}

// Feels are the words for where the load was, from the back foot to the front.
func Feels() (words []string) {
	for _, s := range senses {
		words = append(words, s.Said)
	}
	return words
}

// sensePercentSD is the 1σ of a share that the rider gives in percent.
const sensePercentSD = 0.06

const (
	feelHelp = "strong back | back | even | front | strong front, or a percentage on the front foot"
	feelAsk  = "say even, front, back, strong front, strong back, or the percentage on the front foot"
)

// ParseSense reads the front foot's share from a word or a percentage.
func ParseSense(v any) (Sense, error) {
	switch x := v.(type) {
	case string:
		w := strings.Join(strings.Fields(strings.ToLower(x)), " ")
		if i := slices.IndexFunc(senses, func(s Sense) bool { return s.Said == w }); i >= 0 {
			return senses[i], nil
		}
		if n, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(w, "%")), 64); err == nil {
			return ParseSense(n)
		}
	case int64:
		return ParseSense(float64(x))
	case float64:
		if x > 0 && x < 1 {
			return Sense{}, fmt.Errorf("a front foot's share of %g %% is next to nothing: was %g %% meant? Write it as %g", x, 100*x, 100*x)
		}
		if !(x >= 0 && x <= 100) {
			return Sense{}, fmt.Errorf("a front foot's share of %g %% is not between 0 and 100", x)
		}
		return Sense{x * 0.01, sensePercentSD, fmt.Sprintf("%g %% on the front foot", x)}, nil
	}
	return Sense{}, fmt.Errorf("the feel %q is not known; %s, for example 60", fmt.Sprint(v), feelAsk)
}

// A Reading is a note's speed, m/s, had its number been written under Key.
type Reading struct {
	Key   string // "speed_kmh"
	Speed float64
}

// Readings are what the number of the note's speed could mean under the other keys.
func (f Feel) Readings() []Reading {
	own := knot
	if k := KeyNamed("feel." + f.As); k != nil {
		_, own = k.Unit()
	}
	var out []Reading
	for _, k := range Keys {
		if _, si := k.Unit(); k.isNoteSpeed() && si != own {
			out = append(out, Reading{k.last(), f.Speed * (si / own)})
		}
	}
	return out
}

func (k *Key) isNoteSpeed() bool { return strings.HasPrefix(k.Name, "feel.speed_") }

// markSense is sense, with words for marks that are of something else.
func markSense(to func(Sense)) func(any) error {
	return func(v any) error {
		if v == Nothing || v == Gliding {
			to(Sense{Said: v.(string)})
			return nil
		}
		return sense(to)(v)
	}
}

// sense hands a value on once it is understood.
func sense(to func(Sense)) func(any) error {
	return func(v any) error {
		s, err := ParseSense(v)
		if err == nil {
			to(s)
		}
		return err
	}
}

// clock reads a time of day, "14:05" or "14:05:10", as seconds since midnight.
func clock(to *float64) func(any) error {
	return func(v any) error {
		text := fmt.Sprint(v)
		for _, layout := range []string{"15:04:05", "15:04"} {
			if t, err := time.Parse(layout, text); err == nil {
				*to = float64(3600*t.Hour()+60*t.Minute()+t.Second()) + float64(t.Nanosecond())*1e-9
				return nil
			}
		}
		return fmt.Errorf("%q is not a time of day; write it as \"14:05:10\"", text)
	}
}

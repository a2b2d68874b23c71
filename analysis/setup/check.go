package setup

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// A checker fills a setup from the file and keeps what is wrong.
type checker struct {
	name     string
	lines    map[string]int     // of each key, list entries numbered
	values   map[string]any     // as they stand in the file, by the same
	entries  map[string]int     // of each list
	written  map[string]float64 // numbers in their key's unit, defaults too
	s        *Setup
	wrong    []*Error
	warnings []string
}

func (c *checker) failAt(key string, line int, format string, args ...any) {
	c.wrong = append(c.wrong, &Error{File: c.name, Line: line, Key: key, What: fmt.Sprintf(format, args...)})
}

func (c *checker) fail(key, format string, args ...any) { c.failAt(key, c.line(key), format, args...) }

func (c *checker) odd(key, format string, args ...any) {
	w := fmt.Sprintf(format, args...)
	if line := c.line(key); line > 0 && c.name != "" {
		w = fmt.Sprintf("%s:%d: %s", c.name, line, w)
	}
	c.warnings = append(c.warnings, w)
}

// complete refuses a setup that lacks what advice needs, and names all of it.
func (c *checker) complete() {
	var missing []string
	for _, k := range Keys {
		if k.Required && !c.s.Given(k.Name) {
			missing = append(missing, k.Name)
		}
	}
	if len(missing) == 0 {
		return
	}
	if len(missing) == 1 {
		c.fail(missing[0], "%s is missing. It is needed for advice", missing[0])
	} else {
		c.fail(missing[0], "these keys are missing: %s. They are needed for advice", strings.Join(missing, ", "))
	}
	c.wrong[len(c.wrong)-1].Missing = true
}

// fill puts every value in its place, in SI, and checks the whole.
func (c *checker) fill() {
	s := c.s
	s.Feel, s.Mark = make([]Feel, c.entries["feel"]), make([]Mark, c.entries["mark"])
	s.Change, s.Glide = make([]Change, c.entries["change"]), make([]Glide, c.entries["glide"])
	for i := range Keys {
		k := &Keys[i]
		for n := range c.entries[k.Table()] {
			if id := k.Entry(n); c.values[id] != nil {
				c.put(k, id, k.place(s, n), c.values[id])
			}
		}
		v, given := c.values[k.Name]
		if !given {
			v = k.Default
		}
		if v != nil {
			c.put(k, k.Name, k.place(s, 0), v)
		}
	}
	if !s.Given("rig.lift_fraction") {
		s.Rig.LiftFraction = rigKind(s.Rig.Kind).lift
	}
	if !s.Given("foil.depth_cm") {
		s.Foil.Depth, c.written["foil.depth_cm"] = s.Foil.Mast/2, c.written["foil.mast_cm"]/2
	}
	s.Water.CurrentTo = math.Mod(s.Water.CurrentTo+2*math.Pi, 2*math.Pi)
	for _, check := range []func(){c.geometry, c.gear, c.notes, c.times} {
		if len(c.wrong) == 0 {
			check()
		}
	}
}

// put stores a value in SI; id is the key with list entries numbered.
func (c *checker) put(k *Key, id string, place, v any) {
	switch p := place.(type) {
	case *float64:
		if x, ok := c.number(k, id, v); ok {
			_, si := k.Unit()
			*p = x * si
		}
	case *int:
		x, ok := c.number(k, id, v)
		if ok && x != math.Trunc(x) {
			c.fail(id, "%s = %g must be a whole number", id, x)
		}
		*p = int(x)
	case *string:
		x, ok := v.(string)
		if !ok {
			c.fail(id, "%s = %v must be text, in quotes", id, v)
		} else if k.Words != nil && !slices.Contains(k.Words, x) {
			c.fail(id, "%s = %q is not known: use %s", id, x, strings.Join(k.Words, ", "))
		}
		*p = x
	case *bool:
		x, ok := v.(bool)
		if !ok {
			c.fail(id, "%s = %v must be true or false, without quotes", id, v)
		}
		*p = x
	case *[2]float64:
		*p = c.two(k, id, v)
	case func(any) error:
		if err := p(v); err != nil {
			c.fail(id, "%s: %v", id, err)
		}
	}
}

// number is a value in its key's unit, within what is possible.
func (c *checker) number(k *Key, id string, v any) (x float64, ok bool) {
	had := len(c.wrong)
	switch n := v.(type) {
	case float64:
		x = n
	case int64:
		x = float64(n)
	default:
		c.fail(id, "%s = %#v is not a number. A number stands without quotes", id, v)
		return 0, false
	}
	c.written[id] = x
	if id == "foil.stabilizer.behind_wing_cm" && x <= 0 {
		c.fail(id, "%s = %g puts the stabilizer ahead of the wing; give the distance from the wing's quarter chord back to the stabilizer's, as a positive number", id, x)
	}
	switch l := k.Limits; {
	case math.IsNaN(x) || math.IsInf(x, 0) || l != nil && !(x >= l.Low && x <= l.High):
		if l == nil {
			l = &Limits{High: math.MaxFloat64}
		}
		c.fail(id, "%s = %g is impossible here: it must lie between %g and %g", id, x, l.Low, l.High)
	case l != nil && (x < l.UsualLow || x > l.UsualHigh):
		c.odd(id, "%s = %g is unusual (most lie between %g and %g); check the number and its unit", id, x, l.UsualLow, l.UsualHigh)
		if id == k.Name {
			c.s.Odd = append(c.s.Odd, id)
		}
	}
	return x, len(c.wrong) == had
}

// two is how far something reaches aft (zero or negative) and forward, SI.
func (c *checker) two(k *Key, id string, v any) (out [2]float64) {
	if d, ok := v.([2]float64); ok {
		v = []any{d[0], d[1]}
	}
	const most = 60 // cm
	list, _ := v.([]any)
	_, si := k.Unit()
	for i := range out {
		x := math.NaN()
		if len(list) == len(out) {
			x, _ = c.number(&Key{}, id, list[i])
		}
		if sign := float64(2*i - 1); !(sign*x >= 0 && sign*x <= most) {
			c.fail(id, "%s = %v must hold two numbers: how far the mast can slide aft (zero or negative) and forward (zero or positive), at most %d cm, for example [-4, 5]", id, v, most)
		}
		out[i] = x * si
	}
	return out
}

// geometry checks what no single number shows.
func (c *checker) geometry() {
	n := c.written
	front, back := n["stance.front_cm"], n["stance.back_cm"]
	if front-back < 5 {
		c.fail("stance.front_cm", "the front foot (front_cm = %g) must stand at least 5 cm ahead of the back foot (back_cm = %g); positions count from the mast's centreline, + towards the nose", front, back)
	}
	if d := front - back; d > 120 || d < 25 {
		c.odd("stance.front_cm", "feet %g cm apart are unusual; check stance.front_cm and stance.back_cm (behind the mast is minus)", d)
		c.s.Odd = append(c.s.Odd, "stance.front_cm", "stance.back_cm")
	}
	if n["foil.depth_cm"] > n["foil.mast_cm"] {
		c.fail("foil.depth_cm", "foil.depth_cm = %g is more than the mast (foil.mast_cm = %g): the board would be under water", n["foil.depth_cm"], n["foil.mast_cm"])
	}
	if n["foil.mast_thickness_mm"] >= n["foil.mast_chord_mm"] {
		c.fail("foil.mast_thickness_mm", "the mast cannot be thicker (%g mm) than its chord (%g mm)", n["foil.mast_thickness_mm"], n["foil.mast_chord_mm"])
	}
	for _, table := range []string{"foil.wing", "foil.stabilizer"} {
		span, area := n[table+".span_cm"], n[table+".area_cm2"]
		ar := span * span / area
		if ar < 0.7 || ar > 60 {
			c.fail(table+".span_cm", "%s: span %g cm with area %g cm² gives an aspect ratio of %.1f, which no wing has; check both numbers", table, span, area, ar)
		} else if ar < 2.5 || ar > 18 {
			c.odd(table+".span_cm", "%s: span %g cm with area %g cm² gives an aspect ratio of %.1f, which is unusual; check both numbers", table, span, area, ar)
			c.s.Odd = append(c.s.Odd, table+".span_cm", table+".area_cm2")
		}
	}
	if s, w := n["foil.stabilizer.area_cm2"], n["foil.wing.area_cm2"]; s >= w {
		c.fail("foil.stabilizer.area_cm2", "the stabilizer (%g cm²) is not smaller than the wing (%g cm²); are the two exchanged?", s, w)
	}
}

// gear checks keys that ask for or exclude each other.
func (c *checker) gear() {
	given := c.s.Given
	if given("water.current_to_deg") && !given("water.current_kn") {
		c.fail("water.current_to_deg", "water.current_to_deg is given without water.current_kn; give both, or neither to have the current estimated")
	}
	if given("water.current_kn") && !given("water.current_to_deg") && c.s.Water.Current != 0 {
		c.fail("water.current_kn", "water.current_kn is given without water.current_to_deg (where it flows to, true); give both, or neither to have the current estimated")
	}
	if given("foil.finish.grit") && given("foil.finish.surface") {
		c.odd("foil.finish.surface", "both foil.finish.grit and foil.finish.surface are given; the grit is used")
	}
	if given("rig.mast_foot_cm") && c.s.Rig.Kind != "sail" {
		c.odd("rig.mast_foot_cm", "rig.mast_foot_cm is for a sail; the rig is %q, so it is not used", c.s.Rig.Kind)
	}
}

// notes checks what the rider noticed.
func (c *checker) notes() {
	for i, f := range c.s.Feel {
		entry := fmt.Sprintf("feel.%d", i)
		speeds := 0
		for _, k := range Keys {
			if c.values[entry+"."+k.last()] != nil && k.isNoteSpeed() {
				speeds++
				c.s.Feel[i].As = k.last()
			}
		}
		switch {
		case speeds == 0:
			c.fail(entry, "note of feel number %d has no speed; give speed_kn", i+1)
		case speeds > 1:
			c.fail(entry, "note of feel number %d has more than one speed; give speed_kn only", i+1)
		case !(f.Speed >= slowestNote && f.Speed <= fastestNote):
			c.fail(entry, "note of feel number %d is at %.1f knots, which is not a foiling speed", i+1, f.Speed/knot)
		case f.Said == "":
			c.fail(entry, "note of feel number %d has no front; %s", i+1, feelAsk)
		}
	}
}

// What a note's speed may be, m/s.
const slowestNote, fastestNote = 1.0, 40.0

// times checks marks, changes and glides.
func (c *checker) times() {
	has := func(entry, key string) bool { return c.values[entry+"."+key] != nil }
	for i, m := range c.s.Mark {
		if e := fmt.Sprintf("mark.%d", i); !has(e, "at") || m.Front.Said == "" {
			c.fail(e, "mark number %d needs both at and front; %s", i+1, feelAsk)
		}
	}
	for i, m := range c.s.Change {
		// What moves nothing is back at the start, where something was moved before.
		stays := m == Change{At: m.At} && (i == 0 || c.s.Change[i-1] == Change{At: c.s.Change[i-1].At})
		if e := fmt.Sprintf("change.%d", i); !has(e, "at") || stays {
			c.fail(e, "change number %d needs at, and what was changed: foil_cm, shim_mm, front_cm or back_cm", i+1)
		}
	}
	for i, g := range c.s.Glide {
		e := fmt.Sprintf("glide.%d", i)
		switch {
		case !has(e, "from") || !has(e, "to") || g.From == g.To:
			c.fail(e, "glide number %d needs from and to, two different times", i+1)
		case g.Length() > longestGlide && g.To < g.From:
			c.fail(e+".to", "glide number %d ends before it begins: to is before from; exchange them, or put the later time right", i+1)
		case g.Length() > longestGlide:
			c.fail(e+".to", "glide number %d lasts %.0f minutes, and a glide lasts some seconds: give each glide a from and a to of its own", i+1, g.Length()/60)
		}
	}
}

// longestGlide is what is still taken for a glide, s, with room for rough times.
const longestGlide = 600

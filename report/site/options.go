package site

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"evenfoot/report/words"
)

// options are how one sheet differs from the usual: the query of its address.
type options struct {
	Speed, Length, Mass string  // units
	With                []int64 // earlier sessions taken as evidence
	Low, High, In       string  // the speeds that matter most, as typed, and their unit
	Other               rider
	Coordinates         bool
}

// A rider is another rider on the same foil, as typed.
type rider struct {
	Name, Mass, MassIn, Height, HeightIn, Level string
}

func (o rider) given() bool { return o.Name+o.Mass+o.Height+o.Level != "" }

// text is the rider as setup.ParseRider reads it.
func (o rider) text() string {
	var parts []string
	add := func(k, v string) {
		if v != "" {
			parts = append(parts, k+"="+v)
		}
	}
	number := func(v, unit string) string {
		if v = strings.ReplaceAll(strings.TrimSpace(v), ",", "."); v == "" {
			return ""
		}
		return v + unit
	}
	add("name", strings.ReplaceAll(o.Name, ",", " "))
	add("mass", number(o.Mass, o.MassIn))
	add("height", number(o.Height, o.HeightIn))
	add("level", o.Level)
	return strings.Join(parts, ",")
}

// speedUnits are the units of speed: name on the page, and m/s in one.
var speedUnits = []struct {
	Key, Name string
	MPS       float64
}{{"kn", "knots", 1852.0 / 3600}, {"kmh", "km/h", 1 / 3.6}, {"mph", "mph", 0.44704}, {"mps", "m/s", 1}}

var (
	lengthUnits = []string{"cm", "in"}
	massUnits   = []string{"kg", "lb"}
	levels      = []string{"beginner", "intermediate", "advanced"}
)

func mps(unit string) (float64, bool) {
	for _, u := range speedUnits {
		if u.Key == unit {
			return u.MPS, true
		}
	}
	return 0, false
}

// withMost bounds the sessions taken as evidence, and their compare page.
const withMost = 40

// optionsFrom reads the query; usual are the units that the library is set to.
func optionsFrom(q url.Values, usual words.Units) (options, error) {
	o := options{Speed: usual.Speed, Length: usual.Length, Mass: usual.Mass, In: usual.Speed}
	pick := func(name string, to *string, allowed ...string) error {
		v := q.Get(name)
		if v == "" {
			return nil
		}
		if !slices.Contains(allowed, v) {
			return fmt.Errorf("%s=%.40q in the address is not known; use one of %s", name, v, strings.Join(allowed, ", "))
		}
		*to = v
		return nil
	}
	var speeds []string
	for _, u := range speedUnits {
		speeds = append(speeds, u.Key)
	}
	o.Other = rider{Name: label(q.Get("name")), Mass: q.Get("mass"), Height: q.Get("height"), MassIn: usual.Mass, HeightIn: usual.Length}
	for _, err := range []error{
		pick("speed", &o.Speed, speeds...), pick("length", &o.Length, lengthUnits...), pick("weight", &o.Mass, massUnits...),
		pick("in", &o.In, speeds...), pick("massin", &o.Other.MassIn, massUnits...), pick("heightin", &o.Other.HeightIn, lengthUnits...),
		pick("level", &o.Other.Level, levels...),
	} {
		if err != nil {
			return o, err
		}
	}
	o.Low, o.High = q.Get("low"), q.Get("high")
	if _, err := speedRange(o.Low, o.High, o.In); err != nil {
		return o, err
	}
	o.Coordinates = q.Get("coordinates") == "1"
	ids, err := idList(q["with"])
	if err != nil {
		return o, err
	}
	if len(ids) > withMost {
		return o, fmt.Errorf("%d earlier sessions are more than the %d that can be evidence at once", len(ids), withMost)
	}
	o.With = ids
	return o, nil
}

// idList reads session numbers, sorted, each once.
func idList(texts []string) ([]int64, error) {
	var ids []int64
	for _, v := range texts {
		id, err := strconv.ParseInt(v, 10, 64)
		if err != nil || id < 1 {
			return nil, fmt.Errorf("%.40q is not the number of a session", v)
		}
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return slices.Compact(ids), nil
}

func (o options) units() words.Units {
	return words.Units{Speed: o.Speed, Length: o.Length, Mass: o.Mass}
}

// query is the address's part for these options, without what is usual.
func (o options) query(usual words.Units) string {
	q := url.Values{}
	set := func(k, v, usual string) {
		if v != "" && v != usual {
			q.Set(k, v)
		}
	}
	set("speed", o.Speed, usual.Speed)
	set("length", o.Length, usual.Length)
	set("weight", o.Mass, usual.Mass)
	for _, id := range o.With {
		q.Add("with", strconv.FormatInt(id, 10))
	}
	if o.Low+o.High != "" {
		set("low", o.Low, "")
		set("high", o.High, "")
		set("in", o.In, "")
	}
	if o.Other.given() {
		set("name", o.Other.Name, "")
		set("mass", o.Other.Mass, "")
		set("height", o.Other.Height, "")
		set("level", o.Other.Level, "")
		set("massin", o.Other.MassIn, "")
		set("heightin", o.Other.HeightIn, "")
	}
	if o.Coordinates {
		q.Set("coordinates", "1")
	}
	if len(q) == 0 {
		return ""
	}
	return "?" + q.Encode()
}

// speedRange reads the two fields of the speeds that matter, m/s; zero when
// both are empty.
func speedRange(low, high, unit string) (r [2]float64, err error) {
	low, high = strings.TrimSpace(low), strings.TrimSpace(high)
	if low == "" && high == "" {
		return r, nil
	}
	if low == "" || high == "" {
		return r, fmt.Errorf("give both the lowest and the highest of the speeds that matter, or neither")
	}
	factor, ok := mps(unit)
	if !ok {
		return r, fmt.Errorf("%.40q is not a unit of speed", unit)
	}
	for i, text := range []string{low, high} {
		v, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
		if err != nil || math.IsNaN(v) {
			return r, fmt.Errorf("%.40q is not a speed", text)
		}
		r[i] = v * factor
	}
	if !(r[0] >= 1.5 && r[1] <= 40 && r[1]-r[0] >= 0.2) {
		return [2]float64{}, fmt.Errorf("the speeds that matter must be two foiling speeds, the lower one first, between 3 and 78 knots")
	}
	return r, nil
}

// speedsText keeps a range in the library; "" for none.
func speedsText(r [2]float64) string {
	if r == [2]float64{} {
		return ""
	}
	return fmt.Sprintf("%g:%g", r[0], r[1])
}

func speedsFrom(text string) (r [2]float64) {
	lo, hi, ok := strings.Cut(text, ":")
	a, err := strconv.ParseFloat(lo, 64)
	b, err2 := strconv.ParseFloat(hi, 64)
	if !ok || err != nil || err2 != nil {
		return r
	}
	return [2]float64{a, b}
}

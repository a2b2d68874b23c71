package site

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// options are how one sheet differs from the usual: the query of its address.
type options struct {
	Speed, Length, Mass string  // units
	With                []int64 // the earlier sessions taken as evidence; none of them: the usual ones
	Alone               bool    // without the usual ones
	Low, High, In       string  // the speeds that matter most, as typed, and their unit
	between             speeds  // the same
	Other               rider
	Coordinates         bool
	Outing              string // of a log that holds several, from 1; "" is the one with the most samples
	outing              int    // the same, 0 for ""
}

// A rider is another rider on the same foil, as typed.
type rider struct {
	Name, Mass, MassIn, Height, HeightIn, Level string
}

func (o rider) given() bool { return o.Name+o.Mass+o.Height+o.Level != "" }

// text is the rider as setup.ParseRider reads it.
func (o rider) text() string {
	return setup.RiderText(map[string]string{"name": o.Name, "mass": o.Mass, "height": o.Height, "level": o.Level}, o.MassIn, o.HeightIn)
}

var (
	speedKeys = func() (keys []string) {
		for _, u := range words.SpeedUnits {
			keys = append(keys, u.Key)
		}
		return keys
	}()
	lengthUnits = []string{"cm", "in"}
	massUnits   = []string{"kg", "lb"}
	levels      = setup.KeyNamed("rider.level").Words
)

// withMost bounds the sessions taken as evidence, and their compare page.
const withMost = 40

// A field of a sheet's address: where it is kept, what it is when left out,
// and what it may be; nil is any text. Fields that mean nothing are left out.
type field struct {
	name    string
	to      *string
	usual   string
	allowed []string
	counts  bool
}

func (o *options) fields(usual words.Units) []field {
	ranged, other := o.Low+o.High != "", o.Other.given()
	return []field{
		{"speed", &o.Speed, usual.Speed, speedKeys, true}, {"length", &o.Length, usual.Length, lengthUnits, true}, {"weight", &o.Mass, usual.Mass, massUnits, true},
		{"low", &o.Low, "", nil, ranged}, {"high", &o.High, "", nil, ranged}, {"in", &o.In, "", speedKeys, ranged},
		{"name", &o.Other.Name, "", nil, other}, {"level", &o.Other.Level, "", levels, other},
		{"mass", &o.Other.Mass, "", nil, other}, {"massin", &o.Other.MassIn, "", massUnits, other},
		{"height", &o.Other.Height, "", nil, other}, {"heightin", &o.Other.HeightIn, "", lengthUnits, other},
		{"outing", &o.Outing, "", nil, true},
	}
}

// optionsFrom reads the query; usual are the units that the library is set to.
func optionsFrom(q url.Values, usual words.Units) (options, error) {
	o := options{Speed: usual.Speed, Length: usual.Length, Mass: usual.Mass, In: usual.Speed}
	o.Other.MassIn, o.Other.HeightIn = usual.Mass, usual.Length
	for _, f := range o.fields(usual) {
		v := q.Get(f.name)
		if v == "" {
			continue
		}
		if f.allowed != nil && !slices.Contains(f.allowed, v) {
			return o, fmt.Errorf("%s=%.40q in the address is not known; use one of %s", f.name, v, strings.Join(f.allowed, ", "))
		}
		*f.to = v
	}
	o.Other.Name = label(o.Other.Name)
	var err error
	if o.between, err = speedRange(o.Low, o.High, o.In); err != nil {
		return o, err
	}
	if o.outing, err = strconv.Atoi(o.Outing); o.Outing != "" && (err != nil || o.outing < 1) {
		return o, fmt.Errorf("outing %.40q is no number from 1 on", o.Outing)
	}
	o.Coordinates, o.Alone = q.Get("coordinates") == "1", q.Get("alone") == "1"
	if o.With, err = idList(q["with"]); err == nil && len(o.With) > withMost {
		err = fmt.Errorf("%d earlier sessions are more than the %d that can be evidence at once", len(o.With), withMost)
	}
	return o, err
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
	return words.Units{Speed: o.Speed, Length: o.Length, Mass: o.Mass, Forms: true}
}

// query is the address's part for these options, without what is usual.
func (o options) query(usual words.Units) string {
	q := url.Values{}
	for _, f := range o.fields(usual) {
		if f.counts && *f.to != "" && *f.to != f.usual {
			q.Set(f.name, *f.to)
		}
	}
	for _, id := range o.With {
		q.Add("with", strconv.FormatInt(id, 10))
	}
	if o.Alone && len(o.With) == 0 {
		q.Set("alone", "1")
	}
	if o.Coordinates {
		q.Set("coordinates", "1")
	}
	if len(q) == 0 {
		return ""
	}
	return "?" + q.Encode()
}

// speeds are the lowest and the highest that matter, m/s; zero where none are given.
type speeds [2]float64

// MarshalText keeps them in the library as "5:7.5", none as "".
func (r speeds) MarshalText() (text []byte, err error) {
	if r != (speeds{}) {
		text = fmt.Appendf(nil, "%g:%g", r[0], r[1])
	}
	return text, nil
}

func (r *speeds) UnmarshalText(text []byte) error {
	if n, _ := fmt.Sscanf(string(text), "%g:%g", &r[0], &r[1]); n < 2 {
		*r = speeds{}
	}
	return nil
}

// speedRange reads the two fields of the speeds that matter.
func speedRange(low, high, unit string) (r speeds, err error) {
	low, high = strings.TrimSpace(low), strings.TrimSpace(high)
	if low == "" && high == "" {
		return r, nil
	}
	if low == "" || high == "" {
		return r, fmt.Errorf("give both the lowest and the highest of the speeds that matter, or neither")
	}
	if !slices.Contains(speedKeys, unit) {
		return r, fmt.Errorf("%.40q is not a unit of speed", unit)
	}
	return words.Units{Speed: unit}.ParseRange(low, high)
}

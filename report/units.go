package report

import (
	"fmt"
	"math"
	"regexp"
	"strings"

	"evenfoot/analysis/interval"
)

// Units says what the words and the page print in. The zero value is knots,
// centimetres and kilograms.
type Units struct {
	Speed  string // "kn" | "kmh" | "mph" | "mps"
	Length string // "cm" | "in"
	Mass   string // "kg" | "lb"
}

// ParseUnits reads a list such as "kn,cm,kg"; what is left out keeps its
// default.
func ParseUnits(s string) (Units, error) {
	var u Units
	for part := range strings.SplitSeq(s, ",") {
		p := strings.ToLower(strings.TrimSpace(part))
		slot := &u.Speed
		switch p {
		case "":
			continue
		case "kn", "kmh", "mph", "mps":
		case "cm", "in":
			slot = &u.Length
		case "kg", "lb":
			slot = &u.Mass
		default:
			return Units{}, fmt.Errorf("unit %q is not known; use one of kn, kmh, mph, mps for speed, cm or in for length, kg or lb for mass, for example --units kn,cm,kg", part)
		}
		if *slot != "" && *slot != p {
			return Units{}, fmt.Errorf("units %q and %q measure the same thing; give one of them", *slot, p)
		}
		*slot = p
	}
	return u.orDefault(), nil
}

func (u Units) orDefault() Units {
	if u.Speed == "" {
		u.Speed = "kn"
	}
	if u.Length == "" {
		u.Length = "cm"
	}
	if u.Mass == "" {
		u.Mass = "kg"
	}
	return u
}

// Factors from SI: the international knot, mile, inch and avoirdupois pound.
const (
	knotsPerMPS  = 3600 / 1852.0
	kmhPerMPS    = 3.6
	mphPerMPS    = 3600 / 1609.344
	inchPerMetre = 1 / 0.0254
	poundPerKg   = 1 / 0.45359237
)

// speed converts m/s to the rider's unit.
func (u Units) speed(v float64) float64 {
	switch u.Speed {
	case "kmh":
		return v * kmhPerMPS
	case "mph":
		return v * mphPerMPS
	case "mps":
		return v
	}
	return v * knotsPerMPS
}

func (u Units) speedName() string {
	switch u.Speed {
	case "kmh":
		return "km/h"
	case "mps":
		return "m/s"
	case "mph":
		return "mph"
	}
	return "kn"
}

// speedText is "18 kn"; m/s gets a decimal.
func (u Units) speedText(v float64) string {
	if !finite(v) {
		return unknown
	}
	if u.Speed == "mps" {
		return fixed(v, 1) + nbsp + "m/s"
	}
	return fixed(u.speed(v), 0) + nbsp + u.speedName()
}

// SpeedText prints a speed in m/s for the sentences of the advice.
func (u Units) SpeedText(mps float64) string { return u.orDefault().speedText(mps) }

// LengthText prints a length in m for the sentences of the advice.
func (u Units) LengthText(m float64) string {
	u = u.orDefault()
	return strings.ReplaceAll(u.lengthText(m), nbsp, " ")
}

// speedFine is the same to a tenth.
func (u Units) speedFine(v float64) string {
	if !finite(v) {
		return unknown
	}
	return fixed(u.speed(v), 1) + nbsp + u.speedName()
}

// length converts metres to cm or inches.
func (u Units) length(v float64) float64 {
	if u.Length == "in" {
		return v * inchPerMetre
	}
	return v * 100
}

func (u Units) lengthName() string {
	if u.Length == "in" {
		return "in"
	}
	return "cm"
}

// lengthText is "1.5 cm" or "0.60 in".
func (u Units) lengthText(v float64) string {
	if !finite(v) {
		return unknown
	}
	return fixed(u.length(v), u.lengthDigits()) + nbsp + u.lengthName()
}

var inCentimetres = regexp.MustCompile(`\b(\d+(?:\.\d+)?)[ \x{a0}]cm([^²])`)

// lengthsIn turns the centimetres in a sentence of the advice into inches for
// those who think in them; an area's cm² stays.
func (u Units) lengthsIn(s string) string {
	if u.Length != "in" {
		return s
	}
	out := inCentimetres.ReplaceAllStringFunc(s+" ", func(m string) string {
		_, next, _ := strings.Cut(m, "cm")
		return fixed(leadingNumber(m)*0.01*inchPerMetre, 1) + nbsp + "in" + next
	})
	return strings.TrimSuffix(out, " ")
}

func (u Units) lengthDigits() int {
	if u.Length == "in" {
		return 2
	}
	return 1
}

// thin is a shim's thickness: millimetres always, inches added for those who
// think in them.
func (u Units) thin(m float64) string {
	if !finite(m) {
		return unknown
	}
	s := fixed(m*1000, 2) + nbsp + "mm"
	if u.Length == "in" {
		s += " / " + fixed(m*inchPerMetre, 3) + nbsp + "in"
	}
	return s
}

func (u Units) massText(kg float64) string {
	if !finite(kg) {
		return unknown
	}
	if u.Mass == "lb" {
		return fixed(kg*poundPerKg, 0) + nbsp + "lb"
	}
	if math.Abs(kg-math.Round(kg)) > 0.05 {
		return fixed(kg, 1) + nbsp + "kg"
	}
	return fixed(kg, 0) + nbsp + "kg"
}

// moment is in N·m, or pound-feet for those who think in pounds and inches.
func (u Units) moment(nm float64) (float64, string) {
	if u.Mass == "lb" {
		return nm * 0.7375621492772656, "lbf·ft"
	}
	return nm, "N·m"
}

func (u Units) distanceText(m float64) string {
	if !finite(m) {
		return unknown
	}
	switch u.Speed {
	case "mph":
		return fixed(m/1609.344, 1) + nbsp + "mi"
	case "kn":
		return fixed(m/1852, 1) + nbsp + "nmi"
	}
	return fixed(m/1000, 1) + nbsp + "km"
}

// nbsp keeps a number and its unit on one line.
const nbsp = "\u00a0"

const unknown = "not known"

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// fixed prints v with d decimals and a real minus sign, never "-0", and huge
// values shortly. The terminal turns the sign back.
func fixed(v float64, d int) string {
	if !finite(v) {
		return unknown
	}
	if math.Abs(v) >= 1e7 {
		return strings.Replace(fmt.Sprintf("%.2g", v), "-", "−", 1)
	}
	s := fmt.Sprintf("%.*f", d, v)
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		if strings.Trim(rest, "0.") == "" {
			return rest
		}
		return "−" + rest
	}
	return s
}

// between is "0.9 (0.4 to 1.4)" in the scale and decimals given; an exact
// number has no bracket.
func between(i interval.Interval, scale float64, d int) string {
	if !finite(i.Value) {
		return unknown
	}
	i = i.Scale(scale)
	s := fixed(i.Value, d)
	if !finite(i.Low) || !finite(i.High) || i.Low == i.High {
		return s
	}
	lo, hi := fixed(i.Low, d), fixed(i.High, d)
	if lo == hi {
		return s // the doubt does not show at these decimals
	}
	return s + " (" + lo + " to " + hi + ")"
}

// percent is a share as "64 %".
func percent(share float64) string {
	if !finite(share) {
		return unknown
	}
	return fixed(share*100, 0) + nbsp + "%"
}

// clock is seconds as h:mm:ss or m:ss.
func clock(s float64) string {
	if !finite(s) || math.Abs(s) > 1e9 {
		return unknown
	}
	t := int(math.Round(s))
	sign := ""
	if t < 0 {
		sign, t = "-", -t
	}
	if t >= 3600 {
		return fmt.Sprintf("%s%d:%02d:%02d", sign, t/3600, t/60%60, t%60)
	}
	return fmt.Sprintf("%s%d:%02d", sign, t/60, t%60)
}

// minutes is "43 min", or "1 h 12 min".
func minutes(s float64) string {
	if !finite(s) || s < 0 || s > 1e9 {
		return unknown
	}
	if s < 90 {
		return fixed(s, 0) + nbsp + "s"
	}
	m := int(math.Round(s / 60))
	if m < 60 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}

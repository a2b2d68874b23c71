package words

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenfoot/analysis/interval"
)

// Units says what the words and the page print in, and how their reader goes on.
// The zero value is knots, centimetres and kilograms, on a command line.
type Units struct {
	Speed  string // "kn" | "kmh" | "mph" | "mps"
	Length string // "cm" | "in"
	Mass   string // "kg" | "lb"
	Forms  bool   // the reader fills in forms, and sees neither a command nor the setup's text
}

// here is how to go on where the reader is.
func (u Units) here(command, forms string) string { return Choose(u.Forms, forms, command) }

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
	return u.OrDefault(), nil
}

func (u Units) OrDefault() Units {
	return Units{cmp.Or(u.Speed, "kn"), cmp.Or(u.Length, "cm"), cmp.Or(u.Mass, "kg"), u.Forms}
}

// SpeedUnits are the units of speed: as --units knows them, in short, in a
// list, and how many are 1 m/s (international knot and mile).
var SpeedUnits = []struct {
	Key, Name, Long string
	PerMPS          float64
}{{"kn", "kn", "knots", 3600 / 1852.0}, {"kmh", "km/h", "km/h", 3.6}, {"mph", "mph", "mph", 3600 / 1609.344}, {"mps", "m/s", "m/s", 1}}

// speedUnit is the index of the reader's unit, knots for any other.
func (u Units) speedUnit() int {
	for i, x := range SpeedUnits {
		if x.Key == u.Speed {
			return i
		}
	}
	return 0
}

// Factors from SI: the international inch and avoirdupois pound.
const (
	InchPerMetre = 1 / 0.0254
	PoundPerKg   = 1 / 0.45359237
)

// SpeedValue converts m/s to the reader's unit.
func (u Units) SpeedValue(v float64) float64 { return v * SpeedUnits[u.speedUnit()].PerMPS }

func (u Units) SpeedName() string { return SpeedUnits[u.speedUnit()].Name }

// The speeds that may matter, m/s: 3 to 78 knots.
const slowestRange, fastestRange, narrowestRange = 1.5, 40, 0.2

// ParseRange reads the lowest and the highest of the speeds that matter,
// written in the reader's unit; a decimal comma is a point. SI.
func (u Units) ParseRange(low, high string) (r [2]float64, err error) {
	for i, text := range []string{low, high} {
		v, err := strconv.ParseFloat(strings.ReplaceAll(strings.TrimSpace(text), ",", "."), 64)
		if err != nil {
			return r, fmt.Errorf("%.40q is not a speed", text)
		}
		r[i] = v / SpeedUnits[u.speedUnit()].PerMPS
	}
	if !(r[0] >= slowestRange && r[1] <= fastestRange && r[1]-r[0] >= narrowestRange) {
		return [2]float64{}, errors.New("the speeds that matter must be two foiling speeds, the lower one first, between 3 and 78 knots")
	}
	return r, nil
}

// in is v with its unit on the same line.
func in(v float64, digits int, unit string) string {
	if !Finite(v) {
		return Unknown
	}
	return Fixed(v, digits) + NBSP + unit
}

// SpeedText is "18 kn"; m/s gets a decimal.
func (u Units) SpeedText(v float64) string {
	return in(u.SpeedValue(v), Choose(u.Speed == "mps", 1, 0), u.SpeedName())
}

// SpeedFine is the same to a tenth.
func (u Units) SpeedFine(v float64) string { return in(u.SpeedValue(v), 1, u.SpeedName()) }

// BestSpeed is one to a tenth without its unit, a dash where there is none.
func (u Units) BestSpeed(v interval.Number) string {
	return Choose(v > 0, Fixed(u.SpeedValue(float64(v)), 1), "–")
}

// speedNoted is a speed as its rider wrote it down, to a tenth at most.
func (u Units) speedNoted(v float64) string {
	return Decimals(u.SpeedValue(v), 1) + NBSP + u.SpeedName()
}

// LengthValue converts metres to cm or inches.
func (u Units) LengthValue(v float64) float64 { return v * Choose(u.Length == "in", InchPerMetre, 100) }

func (u Units) LengthName() string { return Choose(u.Length == "in", "in", "cm") }

func (u Units) LengthDigits() int { return Choose(u.Length == "in", 2, 1) }

// LengthText is "1.5 cm" or "0.60 in".
func (u Units) LengthText(v float64) string {
	return in(u.LengthValue(v), u.LengthDigits(), u.LengthName())
}

// Thin is a shim's thickness: millimetres always, inches added for those who
// think in them.
func (u Units) Thin(m float64) string {
	s := in(m*1000, 2, "mm")
	if u.Length == "in" && Finite(m) {
		s += " / " + in(m*InchPerMetre, 3, "in")
	}
	return s
}

func (u Units) MassText(kg float64) string {
	if u.Mass == "lb" {
		return in(kg*PoundPerKg, 0, "lb")
	}
	return in(kg, Choose(math.Abs(kg-math.Round(kg)) > 0.05, 1, 0), "kg")
}

// Gravity makes newtons the weight of so many kilograms, m/s² (the standard value).
const Gravity = 9.80665

// WeightOf turns newtons into the weight of so many kilograms or pounds.
func (u Units) WeightOf(n float64) float64 {
	return n / Gravity * Choose(u.Mass == "lb", PoundPerKg, 1)
}

// WeightSigned is "-12 kg", Weight its size alone.
func (u Units) WeightSigned(n float64) string { return Fixed(u.WeightOf(n), 0) + NBSP + u.Mass }
func (u Units) Weight(n float64) string       { return u.WeightSigned(math.Abs(n)) }

// Moment is in N·m, or pound-feet for those who think in pounds and inches.
func (u Units) Moment(nm float64) (float64, string) {
	if u.Mass == "lb" {
		return nm * 0.7375621492772656, "lbf·ft"
	}
	return nm, "N·m"
}

func (u Units) DistanceText(m float64) string {
	switch u.Speed {
	case "mph":
		return in(m/1609.344, 1, "mi")
	case "kn":
		return in(m/1852, 1, "nmi")
	}
	return in(m/1000, 1, "km")
}

// NBSP keeps a number and its unit on one line.
const NBSP = "\u00a0"

// Unknown is what is printed for a number that is not known.
const Unknown = "not known"

func Finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Fixed prints v with d decimals and a real minus sign, never "-0", and huge
// values shortly. The terminal turns the sign back.
func Fixed(v float64, d int) string {
	if !Finite(v) {
		return Unknown
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

// Between is "0.9 (0.4 to 1.4)" in the scale and decimals given; an exact
// number has no bracket.
func Between(i interval.Interval, scale float64, d int) string {
	if !Finite(i.Value) {
		return Unknown
	}
	i = i.Scale(scale)
	s := Fixed(i.Value, d)
	if !Finite(i.Low) || !Finite(i.High) || i.Low == i.High {
		return s
	}
	lo, hi := Fixed(i.Low, d), Fixed(i.High, d)
	if lo == hi {
		return s // the doubt does not show at these decimals
	}
	return s + " (" + lo + " to " + hi + ")"
}

// rangeOf is an interval of what goes one way or the other in a bracket: sizes
// alone where both ends go the same way, else with words in place of signs; ""
// where it does not show at these decimals.
func rangeOf(i interval.Interval, digits int, below, above string) string {
	tens := math.Pow10(digits)
	low, high := math.Round(i.Low*tens), math.Round(i.High*tens)
	size := func(v float64) string { return Fixed(math.Abs(v)/tens, digits) }
	switch {
	case !Finite(low) || !Finite(high) || low == high:
		return ""
	case low*high < 0:
		return fmt.Sprintf(" (from %s %s to %s %s)", size(low), below, size(high), above)
	case low < 0:
		low, high = high, low
	}
	return fmt.Sprintf(" (%s to %s)", size(low), size(high))
}

// Percent is a share, a chance or a part as "64 %", never as a certainty.
func Percent(share float64) string {
	switch {
	case share > 0.99 && share < 1.005:
		return "over 99" + NBSP + "%"
	case share >= 0 && share < 0.01:
		return "under 1" + NBSP + "%"
	}
	return in(share*100, 0, "%")
}

// about is a share that is rounded: "about 64 %".
func about(share float64) string {
	s := Percent(share)
	return Choose(strings.Contains(s, "er "), "", "about ") + s
}

// Clock is seconds as h:mm:ss or m:ss.
func Clock(s float64) string {
	if !Finite(s) || math.Abs(s) > 1e9 {
		return Unknown
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

// Minutes is "43 min", or "1 h 12 min".
func Minutes(s float64) string {
	if !Finite(s) || s < 0 || s > 1e9 {
		return Unknown
	}
	if s < 90 {
		return Fixed(s, 0) + NBSP + "s"
	}
	m := int(math.Round(s / 60))
	if m < 60 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}

// DigitsFor is how many decimals a number of this size needs.
func DigitsFor(v float64) int {
	switch v = math.Abs(v); {
	case v >= 50:
		return 0
	case v >= 5:
		return 1
	}
	return 2
}

// Listed joins words as "a, b and c".
func Listed(s []string) string {
	if len(s) < 2 {
		return strings.Join(s, "")
	}
	return strings.Join(s[:len(s)-1], ", ") + " and " + s[len(s)-1]
}

func Area(m2 float64, u Units) string {
	return in(u.LengthValue(u.LengthValue(m2)), 0, u.LengthName()+"²")
}

func Choose[T any](b bool, yes, no T) T {
	if b {
		return yes
	}
	return no
}

// radian is one radian in degrees.
const radian = 180 / math.Pi

// UnknownLast orders numbers, what is not known at the end.
func UnknownLast(a, b float64) int {
	if math.IsNaN(a) != math.IsNaN(b) {
		return Choose(math.IsNaN(a), 1, -1)
	}
	return cmp.Compare(a, b)
}

// Possible is a share with its interval within 0 and 1: a foot cannot pull.
func Possible(i interval.Interval) interval.Interval {
	if !i.Known() {
		return i
	}
	within := func(v float64) float64 { return math.Max(0, math.Min(1, v)) }
	return interval.Interval{Value: within(i.Value), Low: within(i.Low), High: within(i.High)}
}

// Share is a share of the load in percent, "58 (52 to 64)".
func Share(i interval.Interval) string { return Between(Possible(i), 100, 0) }

// shareHeld is the same, and what nobody could hold as it is.
func shareHeld(i interval.Interval) string {
	if i.Value < 0 || i.Value > 1 {
		return Between(i, 100, 0)
	}
	return Share(i)
}

// Gains says a speed gradient (% of the load per knot) per unit of the reader's speed:
// "gains 1.6 % (0.3 to 3.1)", words instead of signs where it may be below
// zero.
func (u Units) Gains(g interval.Interval) string {
	return u.gainsAbout(g.Value) + rangeOf(u.Gradient(g), 1, "lost", "gained")
}

// gainsAbout is the same without its doubt.
func (u Units) gainsAbout(perKnot float64) string {
	return Choose(perKnot < 0, "loses ", "gains ") + in(math.Abs(perKnot)*u.perSpeed(), 1, "%")
}

// perSpeed turns what is per knot into what is per unit of the reader's speed.
func (u Units) perSpeed() float64 { return 3600.0 / 1852 / u.SpeedValue(1) }

// GradientUnit is the unit of a speed gradient of the front share.
func (u Units) GradientUnit() string { return "% of the load per " + u.SpeedName() }

// Gradient is a speed gradient (points per knot) in the reader's unit.
func (u Units) Gradient(perKnot interval.Interval) interval.Interval {
	return perKnot.Scale(u.perSpeed())
}

// raisedRange is "0.8 degrees up (0.1 to 1.5)", an angle of the leading edge.
func raisedRange(deg interval.Interval) string {
	const still = 0.05
	head := Fixed(math.Abs(deg.Value), 1) + " degrees " + Choose(deg.Value < 0, "down", "up")
	if math.Abs(deg.Value) < still {
		if head = "about where it is"; deg.Low > -still && deg.High < still {
			return "where it is"
		}
	}
	return head + rangeOf(deg, 1, "down", "up")
}

// signedRange is "2.4 cm back (0.9 to 3.9)", a move.
func signedRange(mm interval.Interval, u Units) string {
	m := mm.Scale(0.001)
	head := u.way(m.Value)
	if math.Abs(m.Value) < 0.003 && m.Low < 0 && m.High > 0 {
		if head = "about where it is"; m.Low > -0.0005 && m.High < 0.0005 {
			return "where it is"
		}
	}
	return head + rangeOf(m.Scale(u.LengthValue(1)), u.LengthDigits(), "back", "forward")
}

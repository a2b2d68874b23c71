package words

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"text/template"
	"time"

	"github.com/dustin/go-humanize"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// Warning is a warning about a log in one line: its place, and what it is.
func Warning(w ingest.Warning) string { return Units{}.warning(w) }

func (u Units) warning(w ingest.Warning) string {
	s := u.whatIsWrong(w)
	place := w.File
	switch {
	case w.Line > 0:
		place += fmt.Sprintf(", line %d", w.Line)
	case w.Byte > 0:
		place += fmt.Sprintf(", byte %d", w.Byte)
	}
	if place = strings.TrimPrefix(place, ", "); place != "" {
		s = place + ": " + s
	}
	return s
}

// Counted is a number of things: "1 fix", "12 fixes".
func Counted(n int, one string) string {
	return Thousands(n) + " " + Choose(n == 1, one, plural(one))
}

// Thousands is a count in groups of three.
func Thousands(n int) string { return humanize.Comma(int64(n)) }

// Decimals is a number with at most d decimals, without zeros at the end.
func Decimals(v float64, d int) string {
	s := strconv.FormatFloat(v, 'f', d, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// quoted shows a piece of a file, cut to a sensible length.
func quoted(s string) string { return strconv.Quote(CleanTo(s, 40)) }

// moment is when something happened: the time of day, or seconds of a log
// without a date.
func moment(w ingest.Warning) string {
	if w.Time.IsZero() {
		return Decimals(w.At, 3) + " s"
	}
	return w.Time.UTC().Format("15:04:05.00") + " UTC"
}

var logBook = newBook("log")

// whatIsWrong is the sentence of a warning without its place.
func (u Units) whatIsWrong(w ingest.Warning) string {
	if w.More > 0 {
		return fmt.Sprintf("%d more of the same: %s.", w.More, w.Kind)
	}
	return cmp.Or(logBook.say(string(w.Kind), w, u.sayWarning(w)), UpperFirst(string(w.Kind))+".")
}

// sayWarning is what the sentences about a log call. Quotes and numbers go by
// their place in the warning; one made by hand may lack them.
func (u Units) sayWarning(w ingest.Warning) template.FuncMap {
	text := func(i int) string {
		if i < len(w.Text) {
			return w.Text[i]
		}
		return ""
	}
	value := func(i int) float64 {
		if i < len(w.Values) {
			return w.Values[i]
		}
		return math.NaN()
	}
	return template.FuncMap{
		"text": text, "value": value, "listed": Listed, "a": a, "units": unitsOf,
		"here":      u.here,
		"who":       func() string { return UpperFirst(w.Sensor) },
		"n":         func(one string) string { return Counted(w.Count, one) },
		"one":       func(one, many string) string { return Choose(w.Count == 1, one, many) },
		"counted":   func(v float64, one string) string { return Counted(int(v), one) },
		"moment":    func() string { return moment(w) },
		"first":     func() string { return Choose(w.Count == 1, "at ", "first at ") },
		"quoted":    func(i int) string { return quoted(text(i)) },
		"cut":       func(i, limit int) string { return CleanTo(text(i), limit) },
		"sentence":  func(i int) string { return strings.TrimSuffix(UpperFirst(text(i)), ".") + "." },
		"join":      func(s []string) string { return strings.Join(s, ", ") },
		"pairs":     func() string { return leftAside(w.Text) },
		"columns":   func() string { return unknownColumns(w.Text) },
		"unit":      func(i int) string { return unit.Text(text(i)) },
		"bytes":     func(n int) string { return humanize.IBytes(uint64(n)) },
		"hex":       func(i, width int) string { return fmt.Sprintf("%#0*x", width, int(value(i))) },
		"decimals":  func(i, d int) string { return Decimals(value(i), d) },
		"half":      func(i int) string { return Decimals(value(i)/2, 3) },
		"outings":   func() string { return outings(w) },
		"times":     func(i int) string { return Decimals(math.Max(value(i), 1/value(i)), 0) },
		"length":    func(i int) string { return lengthOf(value(i)) },
		"part":      func(i, whole int) string { return partOf(value(i), value(whole)) },
		"speedName": func(i int) string { return speedName(text(i)) },
		"speedsOff": func() string { return speedsOff(value(0)) },
		"speedFrom": func() string { return speedFrom(speedName(text(1)), text(2), w.Count == 1) },
	}
}

// NoOuting is what to say where a log lacks the outing that was asked for.
func (u Units) NoOuting(e *ingest.OutingError) string {
	w := e.Warning
	return fmt.Sprintf("%s: there is no outing %s. %s %s", w.File, Decimals(w.Values[0], 0), outings(w), u.here("Choose one with --outing N.", "Choose one of these."))
}

// outings lists the outings of a file.
func outings(w ingest.Warning) string {
	var each []string
	for i := 1; i+2 < len(w.Values); i += 3 {
		from := Decimals(w.Values[i], 0) + " s"
		if !w.Time.IsZero() {
			from = w.Time.Add(time.Duration((w.Values[i]-w.At)*float64(time.Second))).Format("2006-01-02 15:04") + " UTC"
		}
		s := fmt.Sprintf("%d from %s, %s", len(each)+1, from, lengthOf(w.Values[i+1]))
		if way := w.Values[i+2]; way > 0 {
			s += ", " + Decimals(way/1000, 1) + " km"
		}
		each = append(each, s)
	}
	if more := w.Count - len(each); more > 0 {
		each = append(each, fmt.Sprintf("and %d more", more))
	}
	return fmt.Sprintf("The file holds %s: %s.", Counted(w.Count, "outing"), strings.Join(each, "; "))
}

// leftAside lists files, each with why it is left aside.
func leftAside(text []string) string {
	var each []string
	for x := range slices.Chunk(text, 2) {
		each = append(each, fmt.Sprintf("%s (%s)", x[0], CleanTo(x[len(x)-1], 90)))
	}
	return strings.Join(each, "; ")
}

// columnsTold is how many unknown columns are named.
const columnsTold = 8

func unknownColumns(text []string) string {
	var names []string
	for i, n := range text {
		if i == columnsTold {
			names = append(names, Counted(len(text)-i, "other"))
			break
		}
		names = append(names, quoted(n))
	}
	return Listed(names) + Choose(len(names) == 1, " is", " are")
}

// speedName is a unit of speed in a sentence.
func speedName(u string) string { return Choose(u == "kn", "knots", unit.Text(u)) }

// speedsOff says how far speeds are from what the positions give.
func speedsOff(ratio float64) string {
	if ratio < 0.095 {
		return fmt.Sprintf("the positions give speeds %s times as large as the file's own", Decimals(1/ratio, 1))
	}
	return fmt.Sprintf("the speeds are %s times those that the positions give", Decimals(ratio, 2))
}

// speedFrom is where it says that speeds are in the unit read.
func speedFrom(read, column string, byMap bool) string {
	switch {
	case column != "" && byMap:
		return fmt.Sprintf("in column %s, for which the column map says %s", quoted(column), read)
	case column != "":
		return "in a column named " + CleanTo(column, 40)
	}
	return "in a file that should give " + read
}

// lengthOf is a length of time in minutes, or in hours or seconds where it is
// long or short.
func lengthOf(s float64) string {
	switch {
	case s >= 3*3600:
		return partOf(s, s) + " hours"
	case s < 90:
		return Counted(int(math.Round(s)), "second")
	}
	return partOf(s, s) + " minutes"
}

// partOf is s in the unit and precision in which lengthOf says whole.
func partOf(s, whole float64) string {
	switch {
	case whole >= 3*3600:
		return Decimals(s/3600, 1)
	case whole >= 600:
		return Decimals(s/60, 0)
	}
	return Decimals(s/60, 1)
}

// a is a noun with its article.
func a(noun string) string {
	if noun != "" && strings.Contains("aeiou", noun[:1]) {
		return "an " + noun
	}
	return "a " + noun
}

// unitsOf lists the units that a sensor may come in.
func unitsOf(sensor string) string {
	var s []string
	if k := slices.Index(unit.SensorNames[:], sensor); k >= 0 {
		for _, u := range unit.SensorUnits[k] {
			s = append(s, unit.Text(u.Name))
		}
	}
	return strings.Join(s, ", ")
}

// LeftOut is why samples were left out, without their number.
func LeftOut(d ingest.Dropped) string {
	s := string(d.Reason)
	switch d.Reason {
	case raw.Held:
		return d.Sensor + ": " + s
	case raw.Twice, raw.SameStamp:
		return d.Sensor + ": " + Choose(d.Reason == raw.Twice, s, "another sample with the same time stamp")
	case raw.NotUsed:
		names := d.Text
		if len(names) > 8 {
			names = append(names[:8:8], fmt.Sprintf("and %d other kinds", len(names)-8))
		}
		return s + " (" + strings.Join(names, ", ") + ")"
	case raw.NotFinite, raw.NotNumber:
		if d.Sensor != "" {
			return d.Sensor + " with a " + Choose(d.Reason == raw.NotFinite, s, "value that is not a number")
		}
	case raw.NoTime, raw.BadTime:
		return strings.TrimSpace(d.Sensor + " " + Choose(d.Reason == raw.NoTime, "without a time", "with a time that cannot be read"))
	case raw.NoPlace:
		return "track point without a usable position"
	}
	if d.Sensor == unit.SensorNames[unit.Acc] || d.Sensor == unit.SensorNames[unit.Gyr] {
		return d.Sensor + " sample " + linked(s)
	}
	return strings.TrimSpace(d.Sensor + " " + s)
}

// linked joins a reason to the noun before it.
func linked(s string) string {
	if s == string(raw.AxisMissing) {
		return "that " + s
	}
	if s == string(raw.Invalid) {
		return "that is " + s
	}
	return s
}

package words

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/dustin/go-humanize"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

var logBook = newBook("log")

// Warning is a warning about a log in one line: its place, and what it is.
func Warning(w ingest.Warning) string { return Units{}.warning(w) }

func (u Units) warning(w ingest.Warning) string {
	s := fmt.Sprintf("%d more of the same: %s.", w.More, w.Kind)
	if w.More == 0 {
		s = cmp.Or(logBook.say(u, string(w.Kind), logged{w}), UpperFirst(string(w.Kind))+".")
	}
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

// A logged is a warning with what its sentence asks of it. Quotes and numbers go
// by their place in it; one made by hand may lack them.
type logged struct{ ingest.Warning }

// Str is a text of the warning, Num a number.
func (w logged) Str(i int) string {
	if i < len(w.Text) {
		return w.Text[i]
	}
	return ""
}

func (w logged) Num(i int) float64 {
	if i < len(w.Values) {
		return w.Values[i]
	}
	return math.NaN()
}

func (w logged) Who() string                 { return UpperFirst(w.Sensor) }
func (w logged) N(one string) string         { return Counted(w.Count, one) }
func (w logged) One(one, many string) string { return Choose(w.Count == 1, one, many) }
func (w logged) First() string               { return w.One("at ", "first at ") }
func (w logged) Quoted(i int) string         { return quoted(w.Str(i)) }
func (w logged) Cut(i, limit int) string     { return CleanTo(w.Str(i), limit) }
func (w logged) Unit(i int) string           { return unit.Text(w.Str(i)) }
func (w logged) Hex(i, width int) string     { return fmt.Sprintf("%#0*x", width, int(w.Num(i))) }
func (w logged) Decimals(i, d int) string    { return Decimals(w.Num(i), d) }
func (w logged) Half(i int) string           { return Decimals(w.Num(i)/2, 3) }
func (w logged) Times(i int) string          { return Decimals(math.Max(w.Num(i), 1/w.Num(i)), 0) }
func (w logged) Length(i int) string         { return lengthOf(w.Num(i)) }
func (w logged) Part(i, whole int) string    { return partOf(w.Num(i), w.Num(whole)) }

// Moment is when it happened: the time of day, or seconds of a log without a date.
func (w logged) Moment() string {
	if w.Time.IsZero() {
		return Decimals(w.At, 3) + " s"
	}
	return w.Time.UTC().Format("15:04:05.00") + " UTC"
}

// NoOuting is what to say where a log lacks the outing that was asked for.
func (u Units) NoOuting(e *ingest.OutingError) string {
	w := logged{e.Warning}
	return fmt.Sprintf("%s: there is no outing %s. %s %s", w.File, w.Decimals(0, 0), w.Outings(), u.here("Choose one with --outing N.", "Choose one of these."))
}

// Outings lists the outings of a file.
func (w logged) Outings() string {
	var each []string
	for i := 1; i+2 < len(w.Values); i += 3 {
		from := w.Decimals(i, 0) + " s"
		if !w.Time.IsZero() {
			from = w.Time.Add(time.Duration((w.Values[i]-w.At)*float64(time.Second))).Format("2006-01-02 15:04") + " UTC"
		}
		s := fmt.Sprintf("%d from %s, %s", len(each)+1, from, w.Length(i+1))
		if way := w.Values[i+2]; way > 0 {
			s += ", " + Decimals(way/1000, 1) + " km"
		}
		each = append(each, s)
	}
	if more := w.Count - len(each); more > 0 {
		each = append(each, fmt.Sprintf("and %d more", more))
	}
	return fmt.Sprintf("The file holds %s: %s.", w.N("outing"), strings.Join(each, "; "))
}

// Pairs lists files, each with why it is left aside.
func (w logged) Pairs() string {
	var each []string
	for x := range slices.Chunk(w.Text, 2) {
		each = append(each, fmt.Sprintf("%s (%s)", x[0], CleanTo(x[len(x)-1], 90)))
	}
	return strings.Join(each, "; ")
}

// columnsTold is how many unknown columns are named.
const columnsTold = 8

func (w logged) Columns() string {
	var names []string
	for _, n := range w.Text[:min(columnsTold, len(w.Text))] {
		names = append(names, quoted(n))
	}
	if more := len(w.Text) - columnsTold; more > 0 {
		names = append(names, Counted(more, "other"))
	}
	return Listed(names) + Choose(len(names) == 1, " is", " are")
}

// SpeedName is a unit of speed in a sentence.
func (w logged) SpeedName(i int) string { return Choose(w.Str(i) == "kn", "knots", w.Unit(i)) }

// SpeedsOff says how far speeds are from what the positions give.
func (w logged) SpeedsOff() string {
	if ratio := w.Num(0); ratio < 0.095 {
		return fmt.Sprintf("the positions give speeds %s times as large as the file's own", Decimals(1/ratio, 1))
	}
	return fmt.Sprintf("the speeds are %s times those that the positions give", w.Decimals(0, 2))
}

// SpeedFrom is where it says that speeds are in the unit read.
func (w logged) SpeedFrom() string {
	switch read, column := w.SpeedName(1), w.Str(2); {
	case column == "":
		return "in a file that should give " + read
	case w.Count == 1:
		return fmt.Sprintf("in column %s, for which the column map says %s", quoted(column), read)
	default:
		return "in a column named " + CleanTo(column, 40)
	}
}

// lengthOf is a length of time in minutes, or in hours or seconds where it is
// long or short.
func lengthOf(s float64) string {
	if s < 90 {
		return Counted(int(math.Round(s)), "second")
	}
	return partOf(s, s) + Choose(s >= 3*3600, " hours", " minutes")
}

// partOf is s in the unit and precision in which lengthOf says whole.
func partOf(s, whole float64) string {
	if whole >= 3*3600 {
		return Decimals(s/3600, 1)
	}
	return Decimals(s/60, Choose(whole >= 600, 0, 1))
}

// a is a noun with its article.
func a(noun string) string {
	return Choose(noun != "" && strings.Contains("aeiou", noun[:min(1, len(noun))]), "an ", "a ") + noun
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
	case raw.Held, raw.Twice:
		return d.Sensor + ": " + s
	case raw.SameStamp:
		return d.Sensor + ": another sample with the same time stamp"
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
		linked := map[raw.Kind]string{raw.AxisMissing: "that ", raw.Invalid: "that is "}
		return d.Sensor + " sample " + linked[d.Reason] + s
	}
	return strings.TrimSpace(d.Sensor + " " + s)
}

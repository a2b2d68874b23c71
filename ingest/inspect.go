package ingest

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"evenfoot/ingest/raw"
)

// marksText is a file's marks in a few words.
func marksText(marks []Mark) string {
	var words []string
	laps, stops := 0, 0
	for _, m := range marks {
		switch m.Kind {
		case "session":
			if len(words) < 3 {
				words = append(words, m.What)
			}
		case "lap":
			laps++
		case "stop":
			stops++
		}
	}
	if laps > 0 {
		words = append(words, raw.Count(laps, "lap"))
	}
	if stops > 0 {
		words = append(words, fmt.Sprintf("timer stopped %d ×", stops))
	}
	return raw.SentenceList(words, 5)
}

// WriteInspect writes in words, for 80 columns, what is in each log: kind,
// device, channels with rates, first and last time, gaps, what was read, what
// was left out and why, and the problems; of several logs then how they fit
// together. What one lacks and another brings is no problem.
func WriteInspect(w io.Writer, logs []*Log) error {
	var b strings.Builder
	one, keep := together(logs)
	for i, l := range logs {
		if i > 0 {
			b.WriteString("\n")
		}
		for k := range l.Files {
			fileText(&b, l.Files[k])
		}
		l.Clock.write(&b)
		problems(&b, keep(l), len(l.Files) > 1)
	}
	if one != nil {
		b.WriteString("\ntogether\n")
		one.Clock.write(&b)
		problems(&b, one.Warnings, true)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// together says how several logs fit: the log that they make, with the warnings
// that concern more than one of them. keep gives those of one log that hold
// beside the others.
func together(logs []*Log) (one *Log, keep func(*Log) []Warning) {
	keep = func(l *Log) []Warning { return l.Warnings }
	if len(logs) < 2 {
		return nil, keep
	}
	merged, err := Merge(logs)
	if err != nil {
		what := strings.TrimSuffix(raw.Upper(err.Error()), ".") + "."
		return &Log{Warnings: []Warning{{Byte: -1, What: what}}}, keep
	}
	one = &Log{Start: merged.Start, Clock: merged.Clock, Files: merged.Files}
	var each []Warning
	for _, l := range logs {
		each = append(each, l.Warnings...)
	}
	for _, w := range merged.Warnings {
		if !slices.Contains(each, w) {
			one.Warnings = append(one.Warnings, w)
		}
	}
	return one, func(l *Log) []Warning {
		var out []Warning
		for _, w := range l.Warnings {
			if slices.Contains(merged.Warnings, w) {
				out = append(out, w)
			}
		}
		return out
	}
}

// problems writes warnings, with the names of their files where there are
// several.
func problems(b *strings.Builder, ws []Warning, named bool) {
	if len(ws) == 0 {
		b.WriteString("  problems    none\n")
		return
	}
	head := "  problems    "
	for _, w := range ws {
		if !named {
			w.File = ""
		}
		what := w.What
		if w.Line > 0 {
			what = fmt.Sprintf("line %d: %s", w.Line, what)
		} else if w.Byte >= 0 {
			what = fmt.Sprintf("byte %d: %s", w.Byte, what)
		}
		if w.File != "" {
			what = w.File + ": " + what
		}
		wrap(b, head, what)
		head = strings.Repeat(" ", len(head))
	}
}

func (c Clock) write(b *strings.Builder) {
	if c.How != "" {
		wrap(b, "  clock       ", c.text())
	}
}

func (c Clock) text() string {
	switch {
	case c.How == "one device":
		return "one device: motion and position share it"
	case c.Tied:
		return fmt.Sprintf("offset %s s, drift %s ppm (%s)", raw.TrimFloat(c.OffsetS, 2), raw.TrimFloat(c.DriftPPM, 1), c.How)
	case c.How == "both UTC":
		return "two devices, both UTC: the offset between them is not yet known"
	}
	return c.How
}

// fileText writes what was found in one file.
func fileText(w io.Writer, f File) {
	kind := f.Kind
	if f.Gzip {
		kind += ", gzip"
	}
	fmt.Fprintf(w, "%s\n  kind        %s, %s\n", f.Name, kind, bytesText(f.Bytes))
	if f.Device != "" {
		fmt.Fprintf(w, "  device      %s\n", f.Device)
	}
	if f.First.IsZero() {
		fmt.Fprintf(w, "  time        no date, %s\n", raw.DurationText(f.DurationS))
	} else {
		fmt.Fprintf(w, "  time        %s to %s UTC, %s\n", f.First.Format("2006-01-02 15:04:05"), f.Last.Format(lastLayout(f)), raw.DurationText(f.DurationS))
	}
	head := "  channels    "
	for _, c := range f.Channels {
		gaps := "no gaps"
		if c.Gaps > 0 {
			gaps = fmt.Sprintf("%s, up to %s", raw.Count(c.Gaps, "gap"), gapText(c.LongestGapS))
		}
		hz := "? Hz"
		if c.RateHz > 0 {
			hz = rateText(c.RateHz)
		}
		fmt.Fprintf(w, "%s%-14s %9s at %-8s%s%s\n", head, c.Name, thousands(c.Samples), hz, pad(c.Unit, 7), gaps)
		head = strings.Repeat(" ", len(head))
	}
	if s := marksText(f.Marks); s != "" {
		var b strings.Builder
		wrap(&b, "  marks       ", s)
		io.WriteString(w, b.String())
	}
	fmt.Fprintf(w, "  read        %s\n", plural(f.Read, "sample"))
	head = "  left out    "
	for _, d := range f.Dropped {
		var b strings.Builder
		wrap(&b, head, fmt.Sprintf("%s × %s", thousands(d.Count), d.Reason))
		io.WriteString(w, b.String())
		head = strings.Repeat(" ", len(head))
	}
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return thousands(n) + " " + raw.Plural(what)
}

func rateText(hz float64) string {
	switch {
	case hz < 0.95:
		return raw.TrimFloat(hz, 2) + " Hz"
	case hz < 20:
		return raw.TrimFloat(hz, 1) + " Hz"
	}
	return raw.TrimFloat(hz, 0) + " Hz"
}

func pad(s string, n int) string {
	if k := utf8.RuneCountInString(s); k < n {
		return s + strings.Repeat(" ", n-k)
	}
	return s + " "
}

func lastLayout(f File) string {
	if f.First.Format("2006-01-02") == f.Last.Format("2006-01-02") {
		return "15:04:05"
	}
	return "2006-01-02 15:04:05"
}

func gapText(s float64) string {
	switch {
	case s >= 5400:
		return raw.TrimFloat(s/3600, 1) + " h"
	case s >= 100:
		return raw.TrimFloat(s/60, 1) + " min"
	}
	return raw.DurationText(s)
}

// thousands writes a count in groups of three.
func thousands(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// wrap writes text behind head, broken at blanks to fit 80 columns.
func wrap(b *strings.Builder, head, text string) {
	const columns = 80
	indent := strings.Repeat(" ", utf8.RuneCountInString(head))
	at := len(indent)
	b.WriteString(head)
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case at+1+n > columns:
			b.WriteString("\n" + indent)
			at = len(indent)
		default:
			b.WriteByte(' ')
			at++
		}
		b.WriteString(word)
		at += n
	}
	b.WriteByte('\n')
}

// Inspection is the JSON of inspect: one per log, and a last one for how
// several fit together.
type Inspection struct {
	Files    []File    `json:"files"`
	Clock    string    `json:"clock"` // "" when there is only one kind of sensor
	Warnings []Warning `json:"warnings"`
	Together bool      `json:"together,omitempty"`
	Map      string    `json:"proposed_map,omitempty"` // for a CSV that needs a column map
}

// Describe is what inspect tells of a log, for JSON.
func Describe(l *Log) Inspection {
	in := Inspection{Files: l.Files, Clock: l.Clock.How, Warnings: l.Warnings}
	if in.Files == nil {
		in.Files = []File{}
	}
	if in.Warnings == nil {
		in.Warnings = []Warning{}
	}
	return in
}

// DescribeMap is what inspect tells of a CSV for which it proposes a map.
func DescribeMap(path, text string) Inspection {
	f := File{Name: path, Kind: kindCSV, Channels: []Channel{}, Dropped: []Dropped{}}
	return Inspection{Files: []File{f}, Warnings: []Warning{}, Map: text}
}

// WriteInspectJSON writes what [WriteInspect] says as one JSON array: an
// Inspection for each log, one for all together when there are several, and
// then more.
func WriteInspectJSON(w io.Writer, logs []*Log, more ...Inspection) error {
	list := []Inspection{}
	one, keep := together(logs)
	for _, l := range logs {
		in := Describe(l)
		if own := keep(l); len(own) < len(in.Warnings) {
			in.Warnings = append([]Warning{}, own...)
		}
		list = append(list, in)
	}
	if one != nil {
		in := Describe(one)
		in.Together = true
		list = append(list, in)
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(append(list, more...))
}

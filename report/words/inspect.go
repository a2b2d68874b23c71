package words

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/dustin/go-humanize"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

// inspectColumns is the width of inspect's answer.
const inspectColumns = 80

// WriteInspect writes what is in each log: kind, device, channels with rates,
// first and last time, gaps, what was read, what was left out and why, and the
// problems; of several logs then how they fit together.
func WriteInspect(w io.Writer, logs []*ingest.Log) error {
	var b strings.Builder
	one, own := ingest.Together(logs)
	for i, l := range logs {
		if i > 0 {
			b.WriteString("\n")
		}
		for _, f := range l.Files {
			inspectFile(&b, f)
		}
		inspectClock(&b, l.Clock)
		lacks(&b, l)
		problems(&b, own[i], len(l.Files) > 1)
	}
	if one != nil {
		b.WriteString("\ntogether\n")
		inspectClock(&b, one.Clock)
		lacks(&b, logs...)
		problems(&b, one.Warnings, true)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// problems writes warnings, with the names of their files where there are
// several.
func problems(b *strings.Builder, ws []ingest.Warning, named bool) {
	if len(ws) == 0 {
		b.WriteString("  problems    none\n")
		return
	}
	head := "  problems    "
	for _, w := range ws {
		if !named {
			w.File = ""
		}
		wrap(b, head, Warning(w))
		head = strings.Repeat(" ", len(head))
	}
}

// lacks writes what logs lack for each answer.
func lacks(b *strings.Builder, logs ...*ingest.Log) {
	head := "  lacks       "
	for _, l := range ingest.Lacks(logs...) {
		s := fmt.Sprintf("%s, for %s", l.For, l.Answer)
		if l.For == ingest.WantRest {
			s = "a rest of fifteen seconds with the deck level, for the absolute pitch: angles count from an unknown zero, unless the setup gives sensor.pitch_zero_deg"
		}
		wrap(b, head, s)
		head = strings.Repeat(" ", len(head))
	}
}

func inspectClock(b *strings.Builder, c ingest.Clock) {
	s := string(c.How)
	switch {
	case c.How == "":
		return
	case c.How == ingest.OneDevice:
		s = "one device: motion and position share it"
	case c.Tied:
		s = fmt.Sprintf("offset %s s, drift %s ppm (%s)", Decimals(c.OffsetS, 2), Decimals(c.DriftPPM, 1), c.How)
	case c.How == ingest.BothUTC:
		s = "two devices, both UTC: the offset between them is not yet known"
	}
	wrap(b, "  clock       ", s)
}

// inspectFile writes what was found in one file.
func inspectFile(b *strings.Builder, f ingest.File) {
	kind := f.Kind
	if f.Gzip {
		kind += ", gzip"
	}
	fmt.Fprintf(b, "%s\n  kind        %s, %s\n", f.Name, kind, humanize.IBytes(uint64(f.Bytes)))
	if f.Device != "" {
		fmt.Fprintf(b, "  device      %s\n", f.Device)
	}
	if f.First.IsZero() {
		fmt.Fprintf(b, "  time        no date, %s\n", lasting(f.DurationS))
	} else {
		const day = "2006-01-02 15:04:05"
		until := day
		if f.First.YearDay() == f.Last.YearDay() && f.First.Year() == f.Last.Year() {
			until = "15:04:05"
		}
		fmt.Fprintf(b, "  time        %s to %s UTC, %s\n", f.First.Format(day), f.Last.Format(until), lasting(f.DurationS))
	}
	head := "  channels    "
	for _, c := range f.Channels {
		gaps := "no gaps"
		if c.Gaps > 0 {
			gaps = fmt.Sprintf("%s, up to %s", Counted(c.Gaps, "gap"), gapLength(c.LongestGapS))
		}
		hz := "? Hz"
		if c.RateHz > 0 {
			hz = hertz(c.RateHz)
		}
		fmt.Fprintf(b, "%s%-14s %9s at %-8s%s%s\n", head, c.Name, Thousands(c.Samples), hz, pad(c.Unit, 7), gaps)
		head = strings.Repeat(" ", len(head))
	}
	if s := marks(f.Marks); s != "" {
		wrap(b, "  marks       ", s)
	}
	fmt.Fprintf(b, "  read        %s\n", Counted(f.Read, "sample"))
	head = "  left out    "
	for _, d := range f.Dropped {
		wrap(b, head, fmt.Sprintf("%s × %s", Thousands(d.Count), LeftOut(d)))
		head = strings.Repeat(" ", len(head))
	}
}

// MarkName is what a kind of mark is called.
func MarkName(k raw.MarkKind) string {
	switch k {
	case raw.Press:
		return "lap press"
	case raw.Knock:
		return "double knock"
	}
	return string(k)
}

// marks are a file's marks in a few words.
func marks(ms []ingest.Mark) string {
	var words []string
	n := map[raw.MarkKind]int{}
	for _, m := range ms {
		n[m.Kind]++
		if m.Kind == raw.Session && n[m.Kind] <= 3 {
			s := "session"
			if m.Text != "" {
				s += " (" + m.Text + ")"
			}
			if m.LengthS > 0 {
				s += ", " + lasting(m.LengthS)
			}
			words = append(words, s)
		}
	}
	for _, k := range []raw.MarkKind{raw.Lap, raw.Press, raw.Noted, raw.Waypoint} {
		if c := n[k]; c > 0 {
			words = append(words, Counted(c, MarkName(k)))
		}
	}
	if c := n[raw.Stopped]; c > 0 {
		words = append(words, fmt.Sprintf("timer stopped %d ×", c))
	}
	return Listed(words)
}

// hertz is a rate.
func hertz(hz float64) string {
	switch {
	case hz < 0.95:
		return Decimals(hz, 2) + " Hz"
	case hz < 20:
		return Decimals(hz, 1) + " Hz"
	}
	return Decimals(hz, 0) + " Hz"
}

func pad(s string, n int) string {
	if k := utf8.RuneCountInString(s); k < n {
		return s + strings.Repeat(" ", n-k)
	}
	return s + " "
}

// lasting is a length of time.
func lasting(s float64) string {
	switch {
	case s >= 3600:
		return fmt.Sprintf("%d h %02d min", int(s)/3600, int(s)%3600/60)
	case s >= 120:
		return fmt.Sprintf("%d min %02d s", int(s)/60, int(s)%60)
	case s >= 10:
		return Decimals(s, 1) + " s"
	}
	return Decimals(s, 2) + " s"
}

func gapLength(s float64) string {
	switch {
	case s >= 5400:
		return Decimals(s/3600, 1) + " h"
	case s >= 100:
		return Decimals(s/60, 1) + " min"
	}
	return lasting(s)
}

// wrap writes text behind head, broken at blanks to fit the width.
func wrap(b *strings.Builder, head, text string) {
	width := utf8.RuneCountInString(head)
	for i, line := range Wrap(text, inspectColumns-width) {
		b.WriteString(Choose(i == 0, head, strings.Repeat(" ", width)) + line + "\n")
	}
}

// An Inspection is the JSON of inspect: one per log, and a last one for how
// several fit together.
type Inspection struct {
	Files    []ingest.File `json:"files"`
	Clock    string        `json:"clock"` // "" when there is only one kind of sensor
	Warnings []said        `json:"warnings"`
	Lacks    []ingest.Lack `json:"lacks"` // of several logs: all together
	Together bool          `json:"together,omitempty"`
	Map      string        `json:"proposed_map,omitempty"` // for a CSV that needs a column map
}

// A said is a warning for scripts: what kind, its numbers in SI, and the words.
type said struct {
	Kind    raw.Kind       `json:"kind"`
	Numbers ingest.Warning `json:"numbers"`
	Words   string         `json:"words"`
}

func inspectionOf(l *ingest.Log, ws []ingest.Warning, of ...*ingest.Log) Inspection {
	in := Inspection{Files: l.Files, Clock: string(l.Clock.How), Warnings: []said{}, Lacks: ingest.Lacks(of...)}
	if in.Files == nil {
		in.Files = []ingest.File{}
	}
	for _, w := range ws {
		in.Warnings = append(in.Warnings, said{w.Kind, w, Warning(w)})
	}
	return in
}

// InspectMap is what inspect tells of a CSV for which it proposes a map.
func InspectMap(path, text string) Inspection {
	f := ingest.File{Name: path, Kind: "CSV", Channels: []ingest.Channel{}, Dropped: []ingest.Dropped{}}
	return Inspection{Files: []ingest.File{f}, Warnings: []said{}, Lacks: []ingest.Lack{}, Map: text}
}

// WriteInspectJSON writes what [WriteInspect] says as one JSON array: an
// Inspection for each log, one for all together when there are several, and
// then more.
func WriteInspectJSON(w io.Writer, logs []*ingest.Log, more ...Inspection) error {
	list := []Inspection{}
	one, own := ingest.Together(logs)
	for i, l := range logs {
		list = append(list, inspectionOf(l, own[i], l))
	}
	if one != nil {
		in := inspectionOf(one, one.Warnings, logs...)
		in.Together = true
		list = append(list, in)
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(append(list, more...))
}

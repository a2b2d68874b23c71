package words

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

// inspectColumns is the width of inspect's answer.
const inspectColumns = 80

// An inspector lays out what was found, under labels.
type inspector struct{ strings.Builder }

// field writes texts under a label, broken at blanks to fit the width.
func (b *inspector) field(label string, texts ...string) {
	head := fmt.Sprintf("  %-12s", label)
	for _, text := range texts {
		for _, line := range Wrap(text, inspectColumns-len(head)) {
			b.WriteString(head + line + "\n")
			head = strings.Repeat(" ", len(head))
		}
	}
}

// letter writes the fields that a letter about x has.
func (b *inspector) letter(kind string, x any) {
	for _, f := range (Units{}).Facts(kind, x) {
		b.field(f.Name, f.Value)
	}
}

// WriteInspect writes what is in each log: kind, device, channels with rates,
// first and last time, gaps, what was read, what was left out and why, and the
// problems; of several logs then how they fit together.
func WriteInspect(w io.Writer, logs []*ingest.Log) error {
	var b inspector
	one, own := ingest.Together(logs)
	for i, l := range logs {
		if i > 0 {
			b.WriteString("\n")
		}
		for _, f := range l.Files {
			b.file(f)
		}
		b.fits(l.Clock, own[i], len(l.Files) > 1, l)
	}
	if one != nil {
		b.WriteString("\ntogether\n")
		b.fits(one.Clock, one.Warnings, true, logs...)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// fits writes the clock of logs, what they lack for each answer, and what is
// wrong with them, with the names of their files where there are several.
func (b *inspector) fits(c ingest.Clock, problems []ingest.Warning, named bool, logs ...*ingest.Log) {
	b.letter("inspect clock", c)
	var all []string
	for _, l := range ingest.Lacks(logs...) {
		s := fmt.Sprintf("%s, for %s", l.For, l.Answer)
		if l.For == ingest.WantRest {
			s = "a rest of fifteen seconds with the deck level, for the absolute pitch: angles count from an unknown zero, unless the setup gives sensor.pitch_zero_deg"
		}
		all = append(all, s)
	}
	b.field("lacks", all...)
	all = nil
	for _, w := range problems {
		if !named {
			w.File = ""
		}
		all = append(all, Warning(w))
	}
	if len(all) == 0 {
		all = []string{"none"}
	}
	b.field("problems", all...)
}

// file writes what was found in one file.
func (b *inspector) file(f ingest.File) {
	fmt.Fprintln(b, f.Name)
	b.letter("inspect file", f)
	head := "channels"
	for _, c := range f.Channels {
		gaps, hz := "no gaps", "? Hz"
		if c.Gaps > 0 {
			gaps = fmt.Sprintf("%s, up to %s", Counted(c.Gaps, "gap"), gapLength(c.LongestGapS))
		}
		if c.RateHz > 0 {
			hz = Decimals(c.RateHz, Choose(c.RateHz < 0.95, 2, Choose(c.RateHz < 20, 1, 0))) + " Hz"
		}
		fmt.Fprintf(b, "  %-12s%-14s %9s at %-8s%-6s %s\n", head, c.Name, Thousands(c.Samples), hz, c.Unit, gaps)
		head = ""
	}
	for _, m := range sessions(f.Marks) {
		b.field("session", m)
	}
	if s := marks(f.Marks); s != "" {
		b.field("marks", s)
	}
	b.field("read", Counted(f.Read, "sample"))
	var all []string
	for _, d := range f.Dropped {
		all = append(all, fmt.Sprintf("%s × %s", Thousands(d.Count), LeftOut(d)))
	}
	b.field("left out", all...)
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

// sessions are what a device says that it recorded, which no rider marked.
func sessions(ms []ingest.Mark) (out []string) {
	for _, m := range ms {
		if m.Kind == raw.Session && len(out) < 3 {
			out = append(out, cmp.Or(m.Text, "of no known kind")+Choose(m.LengthS > 0, ", "+lasting(m.LengthS), ""))
		}
	}
	return out
}

// marks are a file's marks in a few words.
func marks(ms []ingest.Mark) string {
	var words []string
	n := map[raw.MarkKind]int{}
	for _, m := range ms {
		n[m.Kind]++
	}
	for _, k := range []raw.MarkKind{raw.Lap, raw.Press, raw.Noted, raw.Waypoint} {
		if n[k] > 0 {
			words = append(words, Counted(n[k], MarkName(k)))
		}
	}
	if c := n[raw.Stopped]; c > 0 {
		words = append(words, fmt.Sprintf("timer stopped %d ×", c))
	}
	return Listed(words)
}

// lasting is a length of time.
func lasting(s float64) string {
	switch {
	case s >= 3600:
		return fmt.Sprintf("%d h %02d min", int(s)/3600, int(s)%3600/60)
	case s >= 120:
		return fmt.Sprintf("%d min %02d s", int(s)/60, int(s)%60)
	}
	return Decimals(s, Choose(s >= 10, 1, 2)) + " s"
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

// An Inspection is the JSON of inspect: one per log, and a last one for how
// several fit together.
type Inspection struct {
	Files    []ingest.File `json:"files"`
	Clock    string        `json:"clock"` // "" when there is only one kind of sensor
	Warnings []Said        `json:"warnings"`
	Lacks    []ingest.Lack `json:"lacks"` // of several logs: all together
	Together bool          `json:"together,omitempty"`
	Map      string        `json:"proposed_map,omitempty"` // for a CSV that needs a column map
}

// InspectMap is what inspect tells of a CSV for which it proposes a map.
func InspectMap(path, text string) Inspection {
	f := ingest.File{Name: path, Kind: "CSV", Channels: []ingest.Channel{}, Dropped: []ingest.Dropped{}}
	return Inspection{Files: []ingest.File{f}, Warnings: []Said{}, Lacks: []ingest.Lack{}, Map: text}
}

// WriteInspectJSON writes what [WriteInspect] says as one JSON array: an
// Inspection for each log, one for all together when there are several, and
// then more.
func WriteInspectJSON(w io.Writer, logs []*ingest.Log, more ...Inspection) error {
	list := []Inspection{}
	add := func(l *ingest.Log, ws []ingest.Warning, together bool, of ...*ingest.Log) {
		in := Inspection{append([]ingest.File{}, l.Files...), string(l.Clock.How), []Said{}, ingest.Lacks(of...), together, ""}
		for _, w := range ws {
			in.Warnings = append(in.Warnings, Units{}.Finding(w))
		}
		list = append(list, in)
	}
	one, own := ingest.Together(logs)
	for i, l := range logs {
		add(l, own[i], false, l)
	}
	if one != nil {
		add(one, one.Warnings, true, logs...)
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(append(list, more...))
}

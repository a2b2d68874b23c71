package csv

import (
	"bytes"
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"
	"evenfoot/ingest/unit"
)

// A piece is a run of lines of a file and what they hold: the whole of it for
// the reader, a block of it for a core.
type piece struct {
	*layout
	text   []byte
	out    raw.Columns
	notes  raw.Notes
	time   timeReader
	line   int // of the line at hand, from 1
	bytes  int64
	rowsN  int // rows looked at
	ragged int

	unread      int // times that cannot be read, the first of them
	unreadLine  int
	firstUnread string

	first     float64 // time of the first row with one
	latest    float64 // time of the row before; -Inf in a block that has none yet
	firstMark string  // of the first row
	marked    string  // the mark of the row before: a button held down is one
	shared    bool    // the gyroscope has the accelerometer's times, in one array

	fault  any    // panic of its core, which goes on with the reader, whose caller may recover
	before []byte // lines before one that the file ends in
	now    values // of the row at hand
}

// begin makes p an empty piece of the file that whole is of.
func (p *piece) begin(whole *piece) {
	o := &p.out
	*p = piece{layout: whole.layout, text: p.text, time: whole.time, latest: math.Inf(-1), now: values{v: unit.Blank},
		out: raw.Columns{Acc: o.Acc, Gyr: o.Gyr, Gps: o.Gps, Deck: o.Deck, Sides: whole.out.Sides}}
	for _, t := range p.tables(false) {
		t.Resize(0, 0)
	}
}

// tables are what the piece has of samples, accelerometer and gyroscope in one
// where they share their times.
func (p *piece) tables(shared bool) []raw.Table {
	acc, gyr := p.out.Acc.Table(), p.out.Gyr.Table()
	all := []raw.Table{p.out.Gps.Table(), p.out.Deck.Table()}
	if shared {
		return append(all, raw.Table{Times: append(acc.Times, gyr.Times...), Cols: append(acc.Cols, gyr.Cols...)})
	}
	return append(all, acc, gyr)
}

// reserve makes room for the pieces to come, as many as the file's size lets
// expect.
func (c *piece) reserve(size int64) {
	c.shared = raw.SameTimes(c.out.Acc.Time, c.out.Gyr.Time)
	for _, t := range c.tables(c.shared) {
		n := len(t.Time())
		if c.bytes < size {
			t.Resize(int(float64(n)*float64(size)/float64(c.bytes)*1.01), 0)
			t.Resize(n, 0)
		}
	}
}

// join adds the piece that follows in the file.
func (c *piece) join(p *piece) {
	if c.shared && !raw.SameTimes(p.out.Acc.Time, p.out.Gyr.Time) {
		c.shared = false
		c.out.Gyr.Time = slices.Clone(c.out.Gyr.Time)
	}
	from := p.tables(c.shared)
	for i, t := range c.tables(c.shared) {
		t.Add(from[i])
	}
	c.notes.Join(&p.notes, c.line)
	c.line, c.bytes = c.line+p.line, c.bytes+p.bytes
	c.rowsN, c.ragged, c.unread = c.rowsN+p.rowsN, c.ragged+p.ragged, c.unread+p.unread
	c.time.noZone = c.time.noZone || p.time.noZone
	if !p.out.Start.IsZero() {
		c.out.Start = p.out.Start
	}
	c.out.File.Device = cmp.Or(p.out.File.Device, c.out.File.Device)
	c.out.Gps.Computed = c.out.Gps.Computed || p.out.Gps.Computed
	if math.IsInf(p.latest, -1) {
		return
	}
	c.back(p.first)
	backs := len(c.out.Backs)
	c.out.Backs = append(c.out.Backs, p.out.Backs[:min(len(p.out.Backs), maxMarks-backs)]...)
	c.latest = p.latest
	marks := p.out.File.Marks
	if p.firstMark != "" && p.firstMark == c.marked {
		marks = marks[1:]
	}
	c.marked = p.marked
	for _, m := range marks[:min(len(marks), maxMarks-len(c.out.File.Marks))] {
		m.Behind = min(m.Behind+backs, maxMarks)
		c.out.File.Marks = append(c.out.File.Marks, m)
	}
}

// lines takes whole lines in.
func (c *piece) lines(text []byte) {
	c.bytes += int64(len(text))
	for len(text) > 0 {
		end := bytes.IndexByte(text, c.eol)
		c.one(text[:end], true)
		text = text[end+1:]
	}
}

// one takes a line in. whole is false when the file ends inside it.
func (c *piece) one(line []byte, whole bool) {
	c.line++
	switch n := len(line); {
	case n >= c.longest:
		c.refuse(raw.Warning{Kind: raw.LongLine, Values: []float64{float64(c.longest)}})
		return
	case whole && n > 0 && line[n-1] == '\r':
		line = line[:n-1]
	}
	switch {
	case len(line) == 0:
	case line[0] == '#':
		c.comment(line)
	default:
		c.row(line, whole)
	}
}

// comment looks for what evenfoot's own files say in comments.
func (c *piece) comment(b []byte) {
	key, value, found := strings.Cut(strings.TrimSpace(strings.TrimPrefix(string(b), "#")), ":")
	if !found {
		return
	}
	value = strings.TrimSpace(value)
	switch strings.ToLower(strings.TrimSpace(key)) {
	case "start":
		ns, ok := scan.Time([]byte(value))
		if !ok {
			c.warn(raw.Warning{Kind: raw.BadStart, Text: []string{value}})
			return
		}
		c.out.Start = time.Unix(0, ns).UTC()
	case "device":
		c.out.File.Device = raw.Clip(value, 80)
	case "speed":
		if strings.HasPrefix(value, "from positions") {
			c.out.Gps.Computed = true
		}
	}
}

// refuse warns of the line at hand, which is left out.
func (c *piece) refuse(w raw.Warning) {
	w.Line = c.line
	c.notes.Refuse(w, "")
}

// warn tells something about the line at hand.
func (c *piece) warn(w raw.Warning) {
	w.Line = c.line
	c.notes.Warn(w)
}

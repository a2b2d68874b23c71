package raw

import "slices"

// notesPerKind bounds how many warnings of one kind are given in full.
const notesPerKind = 5

// maxText bounds what a warning quotes of a file, in bytes: it may be hostile.
const maxText = 200

// Notes collects the warnings and the dropped samples of one file. A fault
// that comes back a thousand times is told a few times and then counted.
type Notes struct {
	File    string
	list    []Warning
	counts  map[Kind]int
	dropped []Dropped
}

// NotesOf goes on with what was noted of a file.
func NotesOf(c *Columns) Notes {
	return Notes{File: c.File.Name, list: c.Warnings, dropped: c.File.Dropped}
}

// Warn adds a warning about the file, the first few of a kind in full.
func (n *Notes) Warn(w Warning) {
	if n.counts == nil {
		n.counts = map[Kind]int{}
	}
	if n.counts[w.Kind]++; n.counts[w.Kind] > notesPerKind {
		return
	}
	for i, s := range w.Text {
		w.Text[i] = Clip(s, maxText)
	}
	w.File = n.File
	n.list = append(n.list, w)
}

// Drop counts samples left out for a reason; sensor is "" for a whole record.
func (n *Notes) Drop(count int, reason Kind, sensor string) {
	if count == 0 {
		return
	}
	for i := range n.dropped {
		if d := &n.dropped[i]; d.Reason == reason && d.Sensor == sensor {
			d.Count += count
			return
		}
	}
	n.dropped = append(n.dropped, Dropped{Count: count, Reason: reason, Sensor: sensor})
}

// Refuse warns of what is left out for the same reason.
func (n *Notes) Refuse(w Warning, sensor string) {
	n.Drop(1, w.Kind, sensor)
	n.Warn(w)
}

// Join goes on with what was noted, by line, of the part of the file behind line.
func (n *Notes) Join(o *Notes, line int) {
	for _, w := range o.list {
		w.Line += line
		n.Warn(w)
		o.counts[w.Kind]--
	}
	for kind, more := range o.counts {
		n.counts[kind] += more
	}
	for _, d := range o.dropped {
		n.Drop(d.Count, d.Reason, d.Sensor)
	}
}

// Settle hands on what was noted.
func (n *Notes) Settle(c *Columns) {
	c.File.Dropped, c.Warnings = n.Dropped(), n.Warnings()
}

// DropMessages counts messages of kinds that are not looked into.
func (n *Notes) DropMessages(count int, names []string) {
	if count > 0 {
		n.dropped = append(n.dropped, Dropped{Count: count, Reason: NotUsed, Text: names})
	}
}

// Warnings returns all warnings, the counted ones last.
func (n *Notes) Warnings() []Warning {
	out := slices.Clone(n.list)
	for _, w := range n.list {
		if more := n.counts[w.Kind] - notesPerKind; more > 0 {
			n.counts[w.Kind] = 0 // told
			out = append(out, Warning{Kind: w.Kind, File: n.File, More: more})
		}
	}
	return out
}

// Dropped returns what was left out, an empty list when nothing was.
func (n *Notes) Dropped() []Dropped {
	if n.dropped == nil {
		return []Dropped{}
	}
	return n.dropped
}

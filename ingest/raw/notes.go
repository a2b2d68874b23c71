package raw

import (
	"fmt"
	"slices"
	"strings"
)

// notesPerKind bounds how many warnings of one kind are given in full.
const notesPerKind = 5

// maxNote bounds a warning, in bytes.
const maxNote = 400

// Notes collects the warnings and the dropped samples of one file. A fault
// that comes back a thousand times is told a few times and then counted.
type Notes struct {
	File    string
	List    []Warning
	kinds   []noteKind
	Dropped []Dropped
}

type noteKind struct {
	name string
	n    int
}

// Warn adds a warning; line is 0 and pos -1 where they are not known. Kind
// groups warnings that differ only in place, and names them in the plural. It
// says whether the warning is given in full.
func (n *Notes) Warn(kind string, line int, pos int64, format string, args ...any) bool {
	i := slices.IndexFunc(n.kinds, func(k noteKind) bool { return k.name == kind })
	if i < 0 {
		i = len(n.kinds)
		n.kinds = append(n.kinds, noteKind{name: kind})
	}
	n.kinds[i].n++
	if n.kinds[i].n > notesPerKind {
		return false
	}
	what := fmt.Sprintf(format, args...)
	if len(what) > maxNote { // something out of a hostile file is in it
		what = strings.ToValidUTF8(what[:maxNote], "") + "…"
	}
	n.List = append(n.List, Warning{File: n.File, Line: line, Byte: pos, What: what})
	return true
}

// Lack is warn for a channel that the file does not have and another file of
// the outing may bring.
func (n *Notes) Lack(channel, kind string, line int, pos int64, format string, args ...any) {
	if n.Warn(kind, line, pos, format, args...) {
		n.List[len(n.List)-1].Lacks = channel
	}
}

// Drop counts samples left out for a reason.
func (n *Notes) Drop(count int, reason string) {
	if count == 0 {
		return
	}
	for i := range n.Dropped {
		if n.Dropped[i].Reason == reason {
			n.Dropped[i].Count += count
			return
		}
	}
	n.Dropped = append(n.Dropped, Dropped{Count: count, Reason: reason})
}

// Warnings returns all warnings, the counted ones last.
func (n *Notes) Warnings() []Warning {
	out := n.List
	for _, k := range n.kinds {
		if more := k.n - notesPerKind; more > 0 {
			out = append(out, Warning{File: n.File, Byte: -1, What: fmt.Sprintf("%d more of the %s.", more, k.name)})
		}
	}
	return out
}

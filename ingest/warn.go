package ingest

import (
	"fmt"
	"slices"
	"strings"
)

// String is the warning in one line: file, line or byte, and what.
func (w Warning) String() string {
	var b strings.Builder
	b.WriteString(w.File)
	if w.Line > 0 {
		fmt.Fprintf(&b, ", line %d", w.Line)
	} else if w.Byte >= 0 && w.File != "" {
		fmt.Fprintf(&b, ", byte %d", w.Byte)
	}
	if b.Len() > 0 {
		b.WriteString(": ")
	}
	b.WriteString(w.What)
	return b.String()
}

// nearest is the known word closest to s, or "" when none is close.
func nearest(s string, known []string) string {
	best, at := 1+len(s)/3+1, ""
	for _, k := range known {
		if d := editDistance(s, k); d < best {
			best, at = d, k
		}
	}
	return at
}

// editDistance is Levenshtein's distance in bytes.
func editDistance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return max(len(a), len(b))
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			next := min(diag+cost, row[j]+1, row[j+1]+1)
			diag, row[j+1] = row[j+1], next
		}
	}
	return row[len(b)]
}

// quote shows a piece of a file, cut to a sensible length.
func quote(b []byte) string {
	const most = 24
	s := strings.ToValidUTF8(string(b[:min(len(b), most+8)]), "\uFFFD")
	if r := []rune(s); len(r) > most {
		s = string(r[:most]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// sentenceList joins words for a sentence: "a, b and c", cut after most.
func sentenceList(words []string, most int) string {
	if len(words) > most {
		return strings.Join(words[:most], ", ") + fmt.Sprintf(" and %d more", len(words)-most)
	}
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	w := slices.Clone(words)
	return strings.Join(w[:len(w)-1], ", ") + " and " + w[len(w)-1]
}

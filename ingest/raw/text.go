package raw

import (
	"fmt"
	"slices"
	"strings"
)

// Clip cuts a text to n bytes, for a message.
func Clip(s string, n int) string {
	if len(s) > n {
		s = s[:n] + "…"
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}

// List joins words for the text of an error: "a, b and c", cut after most.
func List(words []string, most int) string {
	if len(words) > most {
		return strings.Join(words[:most], ", ") + fmt.Sprintf(" and %d more", len(words)-most)
	}
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	w := slices.Clone(words)
	return strings.Join(w[:len(w)-1], ", ") + " and " + w[len(w)-1]
}

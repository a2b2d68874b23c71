package raw

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// TrimFloat writes a number with at most that many decimals.
func TrimFloat(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func Count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + Plural(what)
}

func Plural(what string) string {
	if strings.HasSuffix(what, "x") {
		return what + "es"
	}
	return what + "s"
}

func Were(n int) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

func Upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// Clip cuts a text for a message.
func Clip(s string, n int) string {
	if len(s) > n {
		s = s[:n] + "…"
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}

func DurationText(s float64) string {
	switch {
	case s >= 3600:
		return fmt.Sprintf("%d h %02d min", int(s)/3600, int(s)%3600/60)
	case s >= 120:
		return fmt.Sprintf("%d min %02d s", int(s)/60, int(s)%60)
	case s >= 10:
		return TrimFloat(s, 1) + " s"
	}
	return TrimFloat(s, 2) + " s"
}

// Quote shows a piece of a file, cut to a sensible length.
func Quote(b []byte) string {
	const most = 24
	s := strings.ToValidUTF8(string(b[:min(len(b), most+8)]), "\uFFFD")
	if r := []rune(s); len(r) > most {
		s = string(r[:most]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// SentenceList joins words for a sentence: "a, b and c", cut after most.
func SentenceList(words []string, most int) string {
	if len(words) > most {
		return strings.Join(words[:most], ", ") + fmt.Sprintf(" and %d more", len(words)-most)
	}
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	w := slices.Clone(words)
	return strings.Join(w[:len(w)-1], ", ") + " and " + w[len(w)-1]
}

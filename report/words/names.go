package words

import (
	"fmt"
	"path"
	"strings"
	"unicode"
)

// NameLimit is how much of a title or a file name is shown, in runes.
const NameLimit = 80

// Clean makes a name from outside fit to print: control characters and marks
// that turn the reading direction go, white space shrinks, and a long name is
// cut. What is left is still untrusted text; the templates escape it.
func Clean(s string) string { return CleanTo(s, NameLimit) }

// CleanTo is Clean with another limit, for sentences that hold names.
func CleanTo(s string, limit int) string {
	fit := func(r rune) rune {
		switch {
		case unicode.IsSpace(r) || r == unicode.ReplacementChar:
			return ' '
		case unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Co): // Cf holds the direction marks
			return -1
		}
		return r
	}
	r := []rune(strings.Join(strings.Fields(strings.Map(fit, s)), " "))
	if len(r) < limit {
		return string(r)
	}
	return strings.TrimRight(string(r[:limit-1]), " ") + "…"
}

// FileName is the last part of a path: where a log lies on the rider's disk
// is nobody's business.
func FileName(s string) string {
	return Clean(path.Base(strings.ReplaceAll(s, `\`, "/")))
}

// Plural is a number of things, small numbers in words.
func Plural(n int, one string) string {
	small := []string{"one", "two", "three", "four", "five", "six", "seven", "eight", "nine"}
	if n < 1 || n > len(small) {
		return fmt.Sprintf("%d %s", n, plural(one))
	}
	return small[n-1] + " " + Choose(n == 1, one, plural(one))
}

// plural is the name of several.
func plural(one string) string {
	return one + Choose(strings.HasSuffix(one, "x") || strings.HasSuffix(one, "ss"), "es", "s")
}

// Sentence trims, cuts and closes a sentence that may hold names from outside.
func Sentence(s string) string {
	s = UpperFirst(CleanTo(s, sentenceLimit))
	if s != "" && !strings.ContainsRune(".!?…", []rune(s)[len([]rune(s))-1]) {
		s += "."
	}
	return s
}

// sentenceLimit is how long a sentence may be, in runes.
const sentenceLimit = 500

// UpperFirst is s with its first letter large.
func UpperFirst(s string) string {
	r := []rune(s)
	if len(r) > 0 {
		r[0] = unicode.ToUpper(r[0])
	}
	return string(r)
}

// LowerFirst is s with its first letter small, but for abbreviations.
func LowerFirst(s string) string {
	r := []rune(s)
	if len(r) > 1 && !unicode.IsUpper(r[1]) {
		r[0] = unicode.ToLower(r[0])
	}
	return string(r)
}

// Wrap breaks a text at spaces into lines of at most width runes; a word that
// is longer is cut.
func Wrap(s string, width int) []string {
	var out []string
	line, n := "", 0
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' }) {
		r := []rune(strings.ReplaceAll(word, NBSP, " "))
		for len(r) > width {
			if n > 0 {
				out, line, n = append(out, line), "", 0
			}
			out, r = append(out, string(r[:width])), r[width:]
		}
		if n > 0 && n+1+len(r) > width {
			out, line, n = append(out, line), "", 0
		}
		if n > 0 {
			line, n = line+" ", n+1
		}
		line, n = line+string(r), n+len(r)
	}
	if n > 0 || len(out) == 0 {
		out = append(out, line)
	}
	return out
}

package report

import (
	"bytes"
	"io"
	"testing"
	"unicode"
	"unicode/utf8"

	"evenfoot/report/words"
)

func BenchmarkHTML(b *testing.B) {
	r := fixture()
	var buf bytes.Buffer
	for b.Loop() {
		buf.Reset()
		if err := HTML(&buf, r, Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(buf.Len()), "bytes/page")
}

func BenchmarkText(b *testing.B) {
	r := fixture()
	for b.Loop() {
		if err := Text(io.Discard, r, TextOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

// FuzzClean: whatever a name holds, what is shown is short, valid and has no
// control or direction mark.
func FuzzClean(f *testing.F) {
	for _, s := range []string{"", "Lagoon", "\u202eevil", "a\x00b\x1b[2J", "\xff\xff", "é\u0301\u0301\u0301"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c := words.Clean(s)
		if !utf8.ValidString(c) || utf8.RuneCountInString(c) > words.NameLimit {
			t.Fatalf("clean(%q) = %q", s, c)
		}
		for _, r := range c {
			if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
				t.Fatalf("clean(%q) keeps %U", s, r)
			}
		}
	})
}

// Package report turns an analysis.Result into one self-contained page and
// into the few lines that a terminal shows. The command and the local server
// use the same generator.
//
// It imports analysis and what lies below it, report/chart, and the standard
// library's templates. It reads no files and opens no connections; the page it
// writes needs none either.
package report

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"time"

	"evenfoot/analysis"
	"evenfoot/report/words"
)

// Options say how a page is written. The zero value is a good default.
type Options struct {
	Units words.Units
	// Coordinates puts latitude and longitude on the page. By default there
	// are none: the track is drawn in metres from where it starts.
	Coordinates bool
	Version     string    // of the program, for the page's foot
	Now         time.Time // the day the page was made; zero leaves it out
	// Sheets are where the sheet of each session of a comparison lies, "" for none.
	Sheets []string
}

//go:embed templates
var files embed.FS

// asset reads an embedded file; a missing one is found by every test.
func asset(name string) string {
	b, err := files.ReadFile("templates/" + name)
	if err != nil {
		return ""
	}
	return string(b)
}

var (
	styleSheet = asset("style.css")
	script     = asset("script.js")
	pages      = template.Must(template.New("").Funcs(funcs).ParseFS(files, "templates/*.html"))
)

// StyleSheet is the sheet's own style, for the pages around it.
func StyleSheet() string { return styleSheet }

// Policy forbids the page every connection and every script and style but its
// own, so that a hostile name in a log can do nothing even if it got through.
func Policy() string {
	hash := func(s string) string {
		sum := sha256.Sum256([]byte(s))
		return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	return fmt.Sprintf("default-src 'none'; script-src %s; style-src %s; base-uri 'none'; form-action 'none'", hash(script), hash(styleSheet))
}

var funcs = template.FuncMap{
	"policy":   Policy,
	"cellKind": cellKind,
	"fileName": words.FileName,
	"clean":    words.Clean,
	"sentence": words.Sentence,
	"style":    func() template.CSS { return template.CSS(styleSheet) },
	"script":   func() template.JS { return template.JS(script) },
	// json is a JSON text that report made itself; < is escaped by encoding/json.
	"json": func(s string) template.JS { return template.JS(s) },
}

// HTML writes the page of one session. The page is made whole before the
// first byte is written.
func HTML(w io.Writer, r *analysis.Result, o Options) error {
	return render(w, "page.html", newPage(r, o))
}

func render(w io.Writer, name string, data any) error {
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, name, data); err != nil {
		return fmt.Errorf("making the page: %w", err)
	}
	_, err := w.Write(b.Bytes())
	return err
}

package report

import (
	"errors"
	"io"

	"evenfoot/analysis"
)

// CompareHTML writes a page that sets several sessions side by side.
func CompareHTML(w io.Writer, rs []*analysis.Result, o Options) error {
	if len(rs) < 2 {
		return errTooFew
	}
	return render(w, "compare.html", newComparePage(rs, o))
}

var errTooFew = errors.New("comparing needs at least two sessions")

type comparePage struct {
	Version string
	Rows    []words
}

func newComparePage(rs []*analysis.Result, o Options) *comparePage {
	p := &comparePage{Version: clean(o.Version)}
	for _, r := range rs {
		p.Rows = append(p.Rows, wordsFor(r, o.Units.orDefault()))
	}
	return p
}

// CompareText writes the comparison for a terminal.
func CompareText(w io.Writer, rs []*analysis.Result, o TextOptions) error {
	if len(rs) < 2 {
		return errTooFew
	}
	t := newTextPage(o)
	for _, r := range rs {
		x := wordsFor(r, o.Units.orDefault())
		t.row(cleanTo(x.Title, labelWidth-2), x.Today, 2)
	}
	_, err := io.WriteString(w, t.String())
	return err
}

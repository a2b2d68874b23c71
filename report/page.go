package report

import "evenfoot/analysis"

// A page is what the template shows.
type page struct {
	Words    words
	Version  string
	Made     string
	Cautions []string
}

func newPage(r *analysis.Result, o Options) *page {
	o.Units = o.Units.orDefault()
	p := &page{Words: wordsFor(r, o.Units), Version: clean(o.Version), Cautions: cautions}
	if !o.Now.IsZero() {
		p.Made = o.Now.Format("2 January 2006")
	}
	return p
}

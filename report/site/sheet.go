package site

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"mime"
	"net/http"
	"os"
	"slices"
	"strconv"
	"time"

	"evenfoot/ingest"
	"evenfoot/report"
)

// patience is how long a request waits for a page before it shows how far the
// work is.
const patience = 1500 * time.Millisecond

// obtain finds a kept page or has it made. When the page is not ready it
// answers itself, with how far the work is or why there is none, and
// returns nil.
func (s *Site) obtain(w http.ResponseWriter, r *http.Request, p *plan, back *session) *kept {
	if page, ok := s.pages.get(p.key); ok {
		return page
	}
	t, err := s.begin(p)
	if err == nil {
		select {
		case <-t.done:
		case <-r.Context().Done():
			return nil
		case <-time.After(patience):
			s.show(w, r, http.StatusAccepted, "wait", &view{Title: p.what, Refresh: 2, Body: t.at(), Link: r.URL.RequestURI()})
			return nil
		}
		if page, ok := s.pages.get(p.key); ok {
			return page
		}
		if _, err = s.begin(p); err == nil { // else the failure, which is fresh
			err = errors.New("the page was made, but is no longer kept; load it again")
		}
	}
	status := statusOf(err)
	if status == http.StatusInternalServerError {
		status = http.StatusUnprocessableEntity
	}
	s.show(w, r, status, "failed", &view{Title: p.what, Error: err.Error(), Session: back})
	return nil
}

// begin puts a plan in the queue.
func (s *Site) begin(p *plan) (*task, error) {
	return s.queue.start(p.key, func(stage func(string)) error {
		page, err := p.make(stage)
		if err != nil {
			return err
		}
		page.ids = p.ids
		return s.keep(p.key, page)
	})
}

// sheetPage is the kept sheet that a request asks for, with its options; a
// nil has been answered.
func (s *Site) sheetPage(w http.ResponseWriter, r *http.Request, ses *session) (*kept, options) {
	o, err := optionsFrom(r.URL.Query(), s.units())
	var p *plan
	if err == nil {
		p, err = s.sheetPlan(ses, o)
	}
	if err != nil {
		s.show(w, r, http.StatusBadRequest, "failed", &view{Title: ses.Title, Error: err.Error(), Session: ses})
		return nil, o
	}
	return s.obtain(w, r, p, ses), o
}

// sheet shows a session: the same page that the command writes, with a few
// links put in.
func (s *Site) sheet(w http.ResponseWriter, r *http.Request, ses *session) error {
	page, o := s.sheetPage(w, r, ses)
	if page == nil {
		return nil
	}
	q := o.query(s.units())
	base := fmt.Sprintf("/session/%d", ses.ID)
	links := []link{{"/", "Library"}, {base + "/more" + q, "Change or save"}, {base + "/setup", "Correct the setup"}}
	if n := s.earlierQuery(ses, o); n != nil {
		links = append(links, link{base + n.query(s.units()), "Add " + count(len(n.With), "earlier session", "earlier sessions") + " as evidence"})
	} else if len(o.With) > 0 {
		n := o
		n.With = nil
		links = append(links, link{base + n.query(s.units()), "Leave out " + count(len(o.With), "earlier session", "earlier sessions")})
	}
	return s.writeSheet(w, page.html, links)
}

// earlierQuery are the options with the rider's earlier sessions on this foil
// as evidence; nil when there are none, or some are in use.
func (s *Site) earlierQuery(ses *session, o options) *options {
	if len(o.With) > 0 || ses.Setup == nil {
		return nil
	}
	for _, c := range s.candidates(ses) {
		if c.ID != ses.ID && c.Rider == ses.Rider && c.when().Before(ses.when()) && len(o.With) < withMost {
			o.With = append(o.With, c.ID)
		}
	}
	if len(o.With) == 0 {
		return nil
	}
	return &o
}

// candidates are the sessions that may be evidence for ses.
func (s *Site) candidates(ses *session) []*session {
	set, _, err := ses.parseSetup()
	all, err2 := s.store.sessions("")
	if err != nil || err2 != nil || set == nil {
		return nil
	}
	var out []*session
	for _, e := range all {
		if evidence(ses, set, e) == nil {
			out = append(out, e)
		}
	}
	return out
}

type link struct{ To, Text string }

// sheetLinks goes into a sheet after <body>. Its class is one that the
// sheet's style sets small and does not print.
var sheetLinks = template.Must(template.New("").Parse(`
<nav class="read" aria-label="Library"><p>{{range $i, $l := .}}{{if $i}} · {{end}}<a href="{{$l.To}}">{{$l.Text}}</a>{{end}}</p></nav>`))

// writeSheet sends a sheet with links; its own policy holds, hashes and all.
func (s *Site) writeSheet(w http.ResponseWriter, html []byte, links []link) error {
	var nav bytes.Buffer
	if err := sheetLinks.Execute(&nav, links); err != nil {
		return err
	}
	head, rest, ok := bytes.Cut(html, []byte("<body>"))
	w.Header().Set("Content-Security-Policy", report.Policy()+"; frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(head)
	if ok {
		w.Write([]byte("<body>"))
		w.Write(nav.Bytes())
		w.Write(rest)
	}
	return nil
}

func attach(w http.ResponseWriter, kind, name string) {
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
}

func (s *Site) saveSheet(w http.ResponseWriter, r *http.Request, ses *session) error {
	if page, _ := s.sheetPage(w, r, ses); page != nil {
		attach(w, "text/html; charset=utf-8", fmt.Sprintf("evenfoot-%d.html", ses.ID))
		w.Write(page.html)
	}
	return nil
}

func (s *Site) saveJSON(w http.ResponseWriter, r *http.Request, ses *session) error {
	page, _ := s.sheetPage(w, r, ses)
	return writeJSON(w, page)
}

// writeJSON sends the result of a page; a nil has been answered.
func writeJSON(w http.ResponseWriter, page *kept) error {
	if page != nil {
		w.Header().Set("Content-Type", "application/json")
		w.Write(page.json)
	}
	return nil
}

// saveFile gives back an uploaded file byte for byte.
func (s *Site) saveFile(w http.ResponseWriter, r *http.Request, ses *session) error {
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil || n < 0 || n >= len(ses.Files) {
		return notFound("this session has no such file")
	}
	f, err := os.Open(s.store.path(ses.Files[n].Hash))
	if err != nil {
		return fmt.Errorf("the file is no longer in the data folder: %w", ingest.Cause(err))
	}
	defer f.Close()
	attach(w, "application/octet-stream", ses.Files[n].Name)
	http.ServeContent(w, r, "", time.Time{}, f)
	return nil
}

// candidate is an earlier session that may be ticked as evidence.
type candidate struct {
	*session
	Ticked bool
}

// more shows what a sheet can be made from, its files, and the way to delete.
func (s *Site) more(w http.ResponseWriter, r *http.Request, ses *session) error {
	o, err := optionsFrom(r.URL.Query(), s.units())
	v := &view{Title: ses.Title, Session: ses, Options: o, Query: o.query(s.units())}
	if err != nil {
		v.Error, v.Query = err.Error(), ""
	}
	for _, c := range s.candidates(ses) {
		v.Candidates = append(v.Candidates, candidate{c, slices.Contains(o.With, c.ID)})
	}
	if low := speedsFrom(ses.Speeds); low != [2]float64{} {
		u := s.units()
		v.Body = fmt.Sprintf("Without other numbers, the speeds that matter are those given with the session: %s to %s.", u.SpeedFine(low[0]), u.SpeedFine(low[1]))
	}
	s.show(w, r, http.StatusOK, "more", v)
	return nil
}

func (s *Site) deleteForm(w http.ResponseWriter, r *http.Request, ses *session) error {
	s.show(w, r, http.StatusOK, "delete", &view{Title: "Delete a session", Session: ses})
	return nil
}

func (s *Site) delete(w http.ResponseWriter, r *http.Request, ses *session) error {
	if err := s.form(w, r); err != nil {
		return err
	}
	if err := s.store.delete(ses.ID); err != nil {
		return err
	}
	s.forgetPages(ses.ID)
	http.Redirect(w, r, "/?done=deleted", http.StatusSeeOther)
	return nil
}

// compareMost is how many sessions stay readable side by side.
const compareMost = 40

// comparePage is the kept comparison that a request asks for; a nil has been
// answered.
func (s *Site) comparePage(w http.ResponseWriter, r *http.Request) (*kept, error) {
	ids, err := idList(r.URL.Query()["id"])
	if err == nil && (len(ids) < 2 || len(ids) > compareMost) {
		err = fmt.Errorf("%s ticked; tick 2 to %d sessions in the library to set them side by side", count(len(ids), "session is", "sessions are"), compareMost)
	}
	var o options
	if err == nil {
		o, err = optionsFrom(r.URL.Query(), s.units())
	}
	if err != nil {
		return nil, badRequest(err)
	}
	var all []*session
	for _, id := range ids {
		ses, err := s.store.session(id)
		if err != nil {
			return nil, fmt.Errorf("session %d: %w", id, err)
		}
		all = append(all, ses)
	}
	return s.obtain(w, r, s.comparePlan(all, options{Speed: o.Speed, Length: o.Length, Mass: o.Mass}), nil), nil
}

func (s *Site) compare(w http.ResponseWriter, r *http.Request) error {
	page, err := s.comparePage(w, r)
	if page == nil {
		return err
	}
	return s.writeSheet(w, page.html, []link{{"/", "Library"}, {"/compare.json?" + r.URL.RawQuery, "The numbers as JSON"}})
}

func (s *Site) compareJSON(w http.ResponseWriter, r *http.Request) error {
	page, err := s.comparePage(w, r)
	if err != nil {
		return err
	}
	return writeJSON(w, page)
}

package site

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"mime"
	"net/http"
	"os"
	"path"
	"slices"
	"strconv"
	"time"

	"evenfoot/analysis"
	"evenfoot/ingest"
	"evenfoot/report"
	"evenfoot/report/words"
)

// patience is how long a request waits for a page before it shows how far the
// work is.
const patience = 1500 * time.Millisecond

// obtain finds a kept page or has it made. When the page is not ready it
// answers itself, with how far the work is or why there is none, and returns
// errAnswered.
func (s *Site) obtain(w http.ResponseWriter, r *http.Request, p *plan, back *session) (*kept, error) {
	if page, ok := s.pages.get(p.key); ok {
		return page, nil
	}
	t, err := s.begin(p)
	if err == nil {
		select {
		case <-t.done:
		case <-r.Context().Done():
			return nil, errAnswered
		case <-time.After(patience):
			return nil, s.show(w, r, http.StatusAccepted, "wait", &view{Title: p.what, Refresh: 2, Body: t.at(), Link: r.URL.RequestURI()})
		}
		if page, ok := s.pages.get(p.key); ok {
			return page, nil
		}
		if _, err = s.begin(p); err == nil { // else the failure, which is fresh
			err = errors.New("the page was made, but is no longer kept; load it again")
		}
	}
	status := statusOf(err)
	if status == http.StatusInternalServerError {
		status = http.StatusUnprocessableEntity
	}
	return nil, s.show(w, r, status, "failed", &view{Title: p.what, Error: err.Error(), Session: back})
}

// begin puts a plan in the queue.
func (s *Site) begin(p *plan) (*task, error) {
	return s.queue.start(p.key, func(stage func(string)) error {
		began := time.Now()
		page, err := p.make(stage)
		s.cfg.Log.Info("page made", "sessions", p.ids, "took", time.Since(began).Round(time.Millisecond), "error", err)
		if err != nil {
			return err
		}
		page.ids = p.ids
		return s.keep(p.key, page)
	})
}

// sheet shows a session: the same page that the command writes, with a few
// links put in; or that page to keep, or its result as JSON.
func (s *Site) sheet(w http.ResponseWriter, r *http.Request, ses *session) error {
	o, err := optionsFrom(r.URL.Query(), s.units())
	var p *plan
	if err == nil {
		p, err = s.sheetPlan(ses, o)
	}
	if err != nil {
		return s.show(w, r, http.StatusBadRequest, "failed", &view{Title: ses.Title, Error: err.Error(), Session: ses})
	}
	page, err := s.obtain(w, r, p, ses)
	if err != nil {
		return err
	}
	base := fmt.Sprintf("/session/%d", ses.ID)
	links := []link{{"/", "Library"}, {base + "/more" + o.query(s.units()), "Change or save"}, {base + "/setup", "Correct the setup"}}
	// The other way with the earlier sessions: without them, or with the usual ones.
	other, n, way := o, len(p.ids)-1, "Leave out "
	other.With, other.Alone = nil, true
	if n == 0 {
		other.Alone = false
		n, way = len(s.usualEvidence(ses)), "Count in "
	}
	if n > 0 {
		links = append(links, link{base + other.query(s.units()), way + words.Counted(n, "earlier session")})
	}
	return s.send(w, r, page, links)
}

// usualEvidence are the sessions that count as evidence by themselves: the
// latest that began before ses, by the same rider on the same foil.
func (s *Site) usualEvidence(ses *session) (out []*session) {
	if ses.known == nil || ses.Start.IsZero() {
		return nil
	}
	for _, e := range s.store.sessionsOf(ses.Rider) {
		if len(out) < withMost && !e.Start.IsZero() && e.Start.Before(ses.Start) && e.known != nil && analysis.SameRider(e.known, ses.known) && counts(ses, e) {
			out = append(out, e)
		}
	}
	return out
}

// candidatesMost is how many sessions can be chosen from as evidence: the latest.
const candidatesMost = 200

// candidates are the sessions that may be evidence for ses, those that are
// among them.
func (s *Site) candidates(ses *session, are []int64) (out []candidate) {
	for _, e := range s.store.sessions() {
		if ticked := slices.Contains(are, e.ID); (ticked || len(out) < candidatesMost) && counts(ses, e) {
			out = append(out, candidate{e, ticked})
		}
	}
	return out
}

type link struct{ To, Text string }

// sheetLinks goes into a sheet after <body>. Its class is one that the
// sheet's style sets small and does not print.
var sheetLinks = template.Must(template.New("").Parse(`
<nav class="read" aria-label="Library"><p>{{range $i, $l := .}}{{if $i}} · {{end}}<a href="{{$l.To}}">{{$l.Text}}</a>{{end}}</p></nav>`))

// send answers with a page in the form that the ending of the address asks
// for: the JSON of its result, the page to keep, or the page with links; its
// own policy holds, hashes and all.
func (s *Site) send(w http.ResponseWriter, r *http.Request, page *kept, links []link) error {
	switch path.Ext(r.URL.Path) {
	case ".json":
		w.Header().Set("Content-Type", "application/json")
		w.Write(page.json)
		return nil
	case ".html":
		attach(w, "text/html; charset=utf-8", "evenfoot-"+r.PathValue("id")+".html")
		w.Write(page.html)
		return nil
	}
	var nav bytes.Buffer
	if err := sheetLinks.Execute(&nav, links); err != nil {
		return err
	}
	const body = "<body>"
	w.Header().Set("Content-Security-Policy", report.Policy()+"; frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(bytes.Replace(page.html, []byte(body), append([]byte(body), nav.Bytes()...), 1))
	return nil
}

// attach says that what follows is to be saved under a name.
func attach(w http.ResponseWriter, kind, name string) {
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
}

// saveFile gives back an uploaded file byte for byte.
func (s *Site) saveFile(w http.ResponseWriter, r *http.Request, ses *session) error {
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil || n < 0 || n >= len(ses.Files) {
		return notFound("this session has no such file")
	}
	f, err := os.Open(ses.at(ses.Files[n]))
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
	if err == nil && len(o.With) == 0 && !o.Alone {
		for _, e := range s.usualEvidence(ses) {
			o.With = append(o.With, e.ID)
		}
	}
	v.Candidates = s.candidates(ses, o.With)
	if low := speedsFrom(ses.Speeds); low != [2]float64{} {
		u := s.units()
		v.Body = fmt.Sprintf("Without other numbers, the speeds that matter are those given with the session: %s to %s.", u.SpeedFine(low[0]), u.SpeedFine(low[1]))
	}
	return s.show(w, r, http.StatusOK, "more", v)
}

func (s *Site) deleteForm(w http.ResponseWriter, r *http.Request, ses *session) error {
	return s.show(w, r, http.StatusOK, "delete", &view{Title: "Delete a session", Session: ses})
}

func (s *Site) delete(w http.ResponseWriter, r *http.Request, ses *session) error {
	if err := s.store.delete(ses.ID); err != nil {
		return err
	}
	s.forgetPages(ses.ID)
	s.changed()
	return see(w, r, "/?done=deleted")
}

// compareMost is how many sessions stay readable side by side.
const compareMost = 40

// compare sets sessions side by side, as a page or as JSON.
func (s *Site) compare(w http.ResponseWriter, r *http.Request, _ *session) error {
	ids, err := idList(r.URL.Query()["id"])
	if err == nil && (len(ids) < 2 || len(ids) > compareMost) {
		err = fmt.Errorf("%s ticked; tick 2 to %d sessions in the library to set them side by side", words.Counted(len(ids), "session")+words.Choose(len(ids) == 1, " is", " are"), compareMost)
	}
	var o options
	if err == nil {
		o, err = optionsFrom(r.URL.Query(), s.units())
	}
	if err != nil {
		return badRequest(err)
	}
	var all []*session
	for _, id := range ids {
		ses, err := s.store.session(id)
		if err != nil {
			return fmt.Errorf("session %d: %w", id, err)
		}
		all = append(all, ses)
	}
	if _, err := apart(all, true); err != nil {
		return badRequest(err)
	}
	page, err := s.obtain(w, r, s.comparePlan(all, options{Speed: o.Speed, Length: o.Length, Mass: o.Mass}), nil)
	if err != nil {
		return err
	}
	return s.send(w, r, page, []link{{"/", "Library"}, {"/compare.json?" + r.URL.RawQuery, "The numbers as JSON"}})
}

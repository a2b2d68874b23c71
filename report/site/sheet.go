package site

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"os"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/report"
	"evenfoot/report/form"
	"evenfoot/report/words"
)

// patience is how long a request waits for a page before it shows how far the
// work is.
const patience = 1500 * time.Millisecond

// obtain finds a kept page or has it made. When the page is not ready it
// answers itself, with how far the work is or why there is none, and returns
// errAnswered.
func (s *Site) obtain(w http.ResponseWriter, r *http.Request, p *plan, back *session) (*kept, error) {
	page, ok := s.pages.get(p.key)
	listens := r.Header.Get("Accept") == "text/event-stream"
	if ok && !listens {
		return page, nil
	}
	t, err := atEnd, error(nil)
	if !ok {
		t, err = s.begin(p)
	}
	if err == nil && listens {
		return nil, s.progress(w, r, t)
	}
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

// atEnd is the task of what is there already.
var atEnd = func() *task {
	t := &task{done: make(chan struct{})}
	t.say("done")
	close(t.done)
	return t
}()

// progress tells a waiting page how far the work is, as server-sent events.
func (s *Site) progress(w http.ResponseWriter, r *http.Request, t *task) error {
	w.Header().Set("Content-Type", "text/event-stream")
	rc := http.NewResponseController(w)
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for said := ""; ; {
		if at := t.at(); at != said {
			said = at
			fmt.Fprintf(w, "data: %s\n\n", at)
		}
		if rc.Flush() != nil {
			return errAnswered // nobody listens any more
		}
		select {
		case <-t.done:
			fmt.Fprint(w, "event: done\ndata: done\n\n")
			return errAnswered
		case <-r.Context().Done():
			return errAnswered
		case <-s.queue.ctx.Done():
			return errAnswered
		case <-tick.C:
		}
	}
}

// begin puts a plan in the queue.
func (s *Site) begin(p *plan) (*task, error) {
	return s.queue.start(p.key, func(stage func(string)) (rest func(), err error) {
		began := time.Now()
		page, rest, err := p.make(stage)
		s.cfg.Log.Info("page made", "sessions", p.ids, "took", time.Since(began).Round(time.Millisecond), "error", err)
		if err != nil {
			return nil, err
		}
		page.ids = p.ids
		return rest, s.keep(p.key, page)
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
	return s.send(w, r, page, &beside{Links: links, Session: ses, Query: o.query(s.units()), Units: o.units(), Page: page, Token: s.token, Twins: s.twins(ses)})
}

// twins are the sessions that seem to be of one outing with ses.
func (s *Site) twins(ses *session) (out []*session) {
	for _, e := range s.store.sessions() {
		if ses.seems(e) {
			out = append(out, e)
		}
	}
	return out
}

// areTwo takes the user's word that two sessions are of two outings.
func (s *Site) areTwo(w http.ResponseWriter, r *http.Request, ses *session) error {
	id, _ := strconv.ParseInt(r.PostForm.Get("other"), 10, 64) // 0 is no session
	e, err := s.store.session(id)
	if err == nil {
		err = s.store.tellApart(ses.ID, e)
	}
	if err != nil {
		return err
	}
	s.changed()
	return see(w, r, fmt.Sprintf("/session/%d", ses.ID))
}

// takeNote puts into the setup what is said of the outing beside its sheet: a note
// of feel, what a moment meant, or that a note goes.
func (s *Site) takeNote(w http.ResponseWriter, r *http.Request, ses *session) error {
	q := r.PostForm
	saw := ses.Setup // what the user saw, which a first tap may have changed
	for _, v := range ses.Setups {
		if strconv.Itoa(v.Version) == q.Get("version") {
			if old, err := ses.textOf(v); err == nil {
				saw = old
			}
		}
	}
	var text string
	var err error
	switch {
	case saw == nil:
		err = errors.New("notes need a setup: the foil that was ridden")
	case q.Has("forget"):
		text, err = form.Forget(saw, q.Get("forget"))
	case q.Has("at"):
		text, err = form.Say(saw, q.Get("at"), q.Get("front"))
	default:
		text, err = form.Felt(saw, q.Get("speed"), q.Get("unit"), q.Get("front"))
	}
	kept := func() bool { // by a first tap on the same button, perhaps at this moment
		now, err := s.store.session(ses.ID)
		return err == nil && string(now.Setup) == text
	}
	if err == nil && !kept() {
		if err = s.correct(ses, q.Get("version"), []byte(text)); err != nil && kept() {
			err = nil
		}
	}
	at := fmt.Sprintf("/session/%d", ses.ID)
	if r.URL.RawQuery != "" {
		at += "?" + r.URL.RawQuery
	}
	if err != nil {
		return s.show(w, r, http.StatusUnprocessableEntity, "message", &view{Title: "That did not work", Link: at, LinkText: "Back to the sheet",
			Error: "Nothing was changed. " + words.Sentence(err.Error())})
	}
	return see(w, r, at)
}

// usualEvidence are the sessions that count as evidence by themselves: the
// latest that began before ses, by the same rider on the same foil, each outing once.
func (s *Site) usualEvidence(ses *session) (out []*session) {
	if ses.known == nil || ses.Start.IsZero() {
		return nil
	}
	for _, e := range s.store.sessionsOf(ses.Rider) {
		if len(out) >= withMost && out[withMost-1].when().Sub(e.when()) > beginsWithin {
			break // nothing that follows is of one outing with these
		}
		if !e.Start.IsZero() && e.Start.Before(ses.Start) && e.known != nil && analysis.SameRider(e.known, ses.known) && evidence(ses, e) == nil {
			out = withOnce(out, e)
		}
	}
	return out[:min(len(out), withMost)]
}

// candidatesMost is how many sessions can be chosen from as evidence: the latest.
const candidatesMost = 200

// candidates are the sessions that may be evidence for ses, those that are
// among them.
func (s *Site) candidates(ses *session, are []int64) (out []candidate) {
	for _, e := range s.store.sessions() {
		if ticked := slices.Contains(are, e.ID); (ticked || len(out) < candidatesMost) && evidence(ses, e) == nil {
			out = append(out, candidate{e, ticked})
		}
	}
	return out
}

type link struct{ To, Text string }

// beside is what stands above a sheet, or a comparison, in the library.
type beside struct {
	Links   []link
	Session *session // nil where there is nothing to say of one
	Query   string
	Units   words.Units
	Page    *kept
	Token   string
	Twins   []*session // that seem to be of the same outing
}

// Notes are those of the setup.
func (b *beside) Notes() []form.Note { return form.Notes(b.Session.Setup) }

// Feels are the words for what was felt at a speed, Meanings for a moment.
func (beside) Feels() []string    { return setup.Feels() }
func (beside) Meanings() []string { return form.Meanings() }

// Unasked are the moments of which the setup says nothing yet.
func (b *beside) Unasked() (n int) {
	for _, m := range b.Page.moments {
		if m.Front == "" {
			n++
		}
	}
	return n
}

func (b *beside) Moments() []form.Moment { return b.Page.moments }
func (b *beside) Speeds() []int          { return b.Page.speeds }

// policy of a page with b: what the page brings, and forms and style of ours.
var besidePolicy = strings.NewReplacer("form-action 'none'", "form-action 'self'", "style-src ", "style-src 'self' ").Replace(report.Policy()) + "; frame-ancestors 'none'"

// ownPolicy is a page's own, which a header stands in for.
var ownPolicy = regexp.MustCompile(`<meta http-equiv="Content-Security-Policy"[^>]*>`)

// send answers with a page in the form that the ending of the address asks
// for: the JSON of its result, the page to keep, or the page with b above it.
func (s *Site) send(w http.ResponseWriter, r *http.Request, page *kept, b *beside) error {
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
	var above bytes.Buffer
	if err := pages.ExecuteTemplate(&above, "beside", b); err != nil {
		return err
	}
	w.Header().Set("Content-Security-Policy", besidePolicy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	head, body, _ := bytes.Cut(page.html, []byte("<body>"))
	w.Write(ownPolicy.ReplaceAllLiteral(head, []byte(`<link rel="stylesheet" href="/note.css">`)))
	io.WriteString(w, "<body>")
	w.Write(above.Bytes())
	w.Write(body)
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
	if ses.Speeds != (speeds{}) {
		u := s.units()
		v.Body = fmt.Sprintf("Without other numbers, the speeds that matter are those given with the session: %s to %s.", u.SpeedFine(ses.Speeds[0]), u.SpeedFine(ses.Speeds[1]))
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
	if err := apart(all); err != nil {
		return badRequest(err)
	}
	page, err := s.obtain(w, r, s.comparePlan(all, options{Speed: o.Speed, Length: o.Length, Mass: o.Mass}, path.Ext(r.URL.Path) == ".json"), nil)
	if err != nil {
		return err
	}
	return s.send(w, r, page, &beside{Links: []link{{"/", "Library"}, {"/compare.json?" + r.URL.RawQuery, "The numbers as JSON"}}})
}

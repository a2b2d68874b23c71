package site

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/report/form"
	"evenfoot/report/words"
)

// startsMost is how many sessions' setups are offered as a start, the latest.
const startsMost = 100

// addForm is the form to add outings; ?from=N starts from the setup of an
// earlier one, without what belongs to that outing alone.
func (s *Site) addForm(w http.ResponseWriter, r *http.Request, _ *session) error {
	v := &view{Fields: form.Fields{}}
	if from := r.URL.Query().Get("from"); from != "" {
		f, title, err := s.startFrom(from)
		if err != nil {
			return err
		}
		v.Fields = f
		v.Body = "The fields hold the setup of “" + title + "”, without its notes of feel, marks and changes. Change what was different this time, such as the shim and the place of the foil; then add how it felt."
	}
	return s.showAdd(w, r, http.StatusOK, v, nil)
}

// startFrom is what the setup of a session, by its number, lends to the next.
func (s *Site) startFrom(number string) (f form.Fields, title string, err error) {
	id, _ := strconv.ParseInt(number, 10, 64) // 0 is no session
	ses, err := s.store.session(id)
	if err != nil {
		return nil, "", err
	}
	f, err = form.Read(ses.Setup)
	if err == nil {
		err = form.Lost(ingest.SetupName, ses.Setup)
	}
	if err != nil {
		return nil, "", fmt.Errorf("the setup of %s cannot be taken: %w", ses.Title, err)
	}
	return f.Next(), ses.Title, nil
}

func (s *Site) showAdd(w http.ResponseWriter, r *http.Request, status int, v *view, wrong []form.Problem) error {
	v.Title, v.MaxUpload, v.Sessions = "Add a session", sizeText(s.cfg.MaxUpload), s.starts()
	v.Fill = s.filled(v.Fields, wrong)
	return s.show(w, r, status, "add", v)
}

// starts are the latest sessions with a setup.
func (s *Site) starts() (out []*session) {
	for _, ses := range s.store.sessions() {
		if ses.Setup != nil && len(out) < startsMost {
			out = append(out, ses)
		}
	}
	return out
}

// A filling is a setup's form as a page shows it.
type filling struct {
	HTML  template.HTML
	Wrong []form.Problem
}

func (s *Site) filled(f form.Fields, wrong []form.Problem) filling {
	return filling{template.HTML(f.HTML(form.Look{Units: s.units(), Wrong: wrong})), wrong}
}

// unfit says that what a form's fields hold is no setup.
type unfit []form.Problem

func (u unfit) Error() string {
	if u[0].Field == "" {
		return "the setup cannot be used: " + u[0].Text
	}
	return "the setup cannot be used yet: " + words.Choose(len(u) == 1, "one field needs", fmt.Sprintf("%d fields need", len(u))) + " another look"
}

// given is the setup that a form brings, nil for none: a file or a text takes the
// place of the fields.
func (up *upload) given() (text []byte, name string, err error) {
	if text := pasted(up.fields["setup"]); strings.TrimSpace(text) != "" {
		if up.setup != nil && string(up.setup) != text {
			return nil, "", refused("there are two setups, the file %s and the text in the form; empty the text, or choose no file", up.setupName)
		}
		up.setup, up.setupName = []byte(text), ingest.SetupName
	}
	if up.setup != nil {
		return up.setup, up.setupName, nil
	}
	filled, wrong, _ := up.fields.Check()
	switch {
	case filled == "" && (len(wrong) == 0 || wrong[0].Field != ""):
		return nil, "", nil
	case len(wrong) > 0:
		return nil, "", statusError{http.StatusUnprocessableEntity, unfit(wrong)}
	}
	return []byte(filled), ingest.SetupName, nil
}

// fill takes the setup that came as file or text. The text stays where the fields
// cannot hold all of it: what they leave out must not go in silence.
func (up *upload) fill() error {
	if text := pasted(up.fields["setup"]); up.setup == nil && strings.TrimSpace(text) != "" {
		up.setup, up.setupName = []byte(text), ingest.SetupName
	}
	text := up.setup
	if text == nil {
		return refused("choose a file or give a text to put into the fields")
	}
	if err := up.take(); err != nil {
		return err
	}
	if err := form.Lost(up.setupName, text); err != nil {
		up.setup = text
		return refused("the fields cannot hold all of the setup: %w", err)
	}
	return nil
}

// take puts the setup that came into the fields.
func (up *upload) take() error {
	f, err := form.Read(up.setup)
	if err != nil {
		if _, _, at := setup.Parse("", up.setup); at != nil { // which says where
			err = at
		}
		up.fields["setup"] = string(up.setup)
		return refused("the setup cannot be put into the form: %w", err)
	}
	for _, name := range []string{"low", "high", "in", "map", "version"} {
		f[name] = up.fields[name]
	}
	up.fields, up.setup = f, nil
	return nil
}

// again is the form as it was sent, with what is wrong.
func (s *Site) again(up *upload, err error) (v *view, wrong []form.Problem) {
	v = &view{Propose: up.propose}
	if err != nil {
		v.Error = words.UpperFirst(err.Error())
	}
	var bad unfit
	if errors.As(err, &bad) {
		wrong = bad
	}
	if up.setup != nil { // it is shown, to be mended
		text := string(up.setup)
		if up.take() != nil {
			up.fields["setup"] = text
		} else if err != nil {
			up.fields["setup"] = text
			_, wrong, _ = up.fields.Check()
		}
	}
	v.Fields = up.fields
	return v, wrong
}

// add takes an upload: it is kept whole, shown as the outings that it seems to
// hold, or refused with the reason.
func (s *Site) add(w http.ResponseWriter, r *http.Request, _ *session) error {
	select {
	case s.uploads <- struct{}{}:
		defer func() { <-s.uploads }()
	default:
		return statusError{http.StatusServiceUnavailable, fmt.Errorf("%d uploads are coming in already; nothing of this one was kept, try again in a minute", uploadsMost)}
	}
	up := &upload{fields: form.Fields{}}
	defer func() { s.store.discard(up.files) }()
	began := time.Now()
	err := s.receive(w, r, up)
	if !errors.Is(err, errToken) && r.Context().Err() == nil { // what was sent before waits on, whatever is wrong now
		resumed := s.resume(up)
		up.mendable = err != nil && resumed == nil && up.fields["held"] != ""
		err = cmp.Or(err, resumed)
	}
	if err == nil && up.fields["take"] != "" {
		err = up.fill()
		up.mendable = true
		if err == nil {
			v, _ := s.again(up, nil)
			v.Body, v.Held, v.HeldNames = "The setup is in the fields.", s.hold(up), up.names
			return s.showAdd(w, r, http.StatusOK, v, nil)
		}
	}
	var id int64
	var again bool
	if err == nil {
		id, again, err = s.admit(r.Context(), up)
	}
	if err == nil {
		s.cfg.Log.Info("upload", "session", id, "again", again, "files", len(up.files), "took", time.Since(began).Round(time.Millisecond))
	}
	at := fmt.Sprintf("/session/%d", id)
	switch {
	case errors.Is(err, errToken):
		return err // not an upload of the user's
	case errors.Is(err, errSeveral):
		return s.askOutings(w, r, up, nil)
	case again:
		return s.show(w, r, http.StatusOK, "message", &view{Title: "Already in the library", Passed: up.over(), Body: "The logs of this outing are in the library already, whatever their names. Nothing was added: an outing counts once. What its setup should say otherwise, correct there.", Link: at, LinkText: "Open that session"})
	case err == nil:
		if ses, gone := s.store.session(id); gone == nil {
			if twins := s.twins(ses); len(twins)+up.passedAll > 0 {
				return s.show(w, r, http.StatusOK, "message", &view{Title: "Added", Session: ses, Passed: up.over(), Twins: twins, Link: at, LinkText: "Open its sheet"})
			}
		}
		return see(w, r, at)
	}
	v, wrong := s.again(up, err)
	if slices.ContainsFunc(up.names, func(n string) bool { return strings.HasPrefix(err.Error(), n) }) {
		v.Error = err.Error() // it begins with the name of a file
	}
	if up.mendable && len(up.files) > 0 {
		v.Held, v.HeldNames = s.hold(up), up.names
	} else if err := s.store.refuse(up.names, v.Error); err != nil {
		s.cfg.Warn("a refused upload could not be listed: %v", err)
	}
	return s.showAdd(w, r, statusOf(err), v, wrong)
}

// admit checks that all of an upload can be read, keeps it, and begins its
// analysis.
func (s *Site) admit(ctx context.Context, up *upload) (id int64, again bool, err error) {
	ses := &session{Added: time.Now().UTC()}
	up.mendable = true // what is wrong until the logs are read is wrong with the form
	if ses.Setup, ses.Name, err = up.given(); err != nil {
		return 0, false, err
	}
	if ses.Speeds, err = speedRange(up.fields["low"], up.fields["high"], up.fields["in"]); err != nil {
		return 0, false, refused("%w", err)
	}
	set, err := ses.usable()
	if err != nil {
		return 0, false, err
	}
	if text := pasted(up.fields["map"]); strings.TrimSpace(text) != "" {
		up.files = slices.DeleteFunc(up.files, func(f *incoming) bool { return f.Name == pastedMap }) // of the try before
		if err := s.takeFile(up, pastedMap, true, strings.NewReader(text)); err != nil {
			return 0, false, err
		}
	}
	log, err := s.look(ctx, up)
	for _, f := range up.files {
		ses.Files = append(ses.Files, f.stored)
	}
	up.mendable = up.propose != ""
	switch {
	case errors.Is(err, errSeveral):
		up.setup, up.setupName = ses.Setup, ses.Name
		return 0, false, err
	case err != nil:
		return 0, false, refused("%w", err)
	case log == nil && set == nil:
		return 0, false, refused("There is nothing to analyse: choose at least one log, or give a setup with the speeds that matter")
	case log == nil && ses.Speeds == speeds{}:
		return 0, false, refused("without a log, the speeds that matter must be given with the setup")
	}
	ses.describe(set, log)
	return s.enter(ses, up.files)
}

// usable is a session's setup, or an error for who sent it.
func (s *session) usable() (*setup.Setup, error) {
	set, _, err := s.parseSetup()
	if err != nil {
		err = refused("the setup cannot be used: %w", err)
	}
	return set, err
}

// enter puts a session into the library, unless its outing is there already, and
// begins its analysis.
func (s *Site) enter(ses *session, in []*incoming) (id int64, again bool, err error) {
	if id, again, err = s.store.add(ses, in); err == nil && !again {
		s.beginUsual(id)
		s.changed()
	}
	return id, again, err
}

// beginUsual begins a session's usual sheet, so that the list has its line.
// Should the queue be full, it begins when the session is opened.
func (s *Site) beginUsual(id int64) *task {
	ses, err := s.store.session(id)
	if err != nil {
		return nil
	}
	if o, err := optionsFrom(nil, s.units()); err == nil {
		if p, err := s.sheetPlan(ses, o); err == nil {
			t, _ := s.begin(p)
			return t
		}
	}
	return nil
}

// saveSetup corrects a session's setup and has it analysed anew.
func (s *Site) saveSetup(w http.ResponseWriter, r *http.Request, ses *session) error {
	up := &upload{fields: form.Fields{}}
	defer func() { s.store.discard(up.files) }()
	err := s.receive(w, r, up)
	if err == nil && len(up.files) > 0 {
		err = refused("%s is no setup; choose a file that ends in .toml", up.files[0].Name)
	}
	if errors.Is(err, errToken) {
		return err
	}
	if err == nil && up.fields["take"] != "" {
		if err = up.fill(); err == nil {
			return s.showSetup(w, r, http.StatusOK, ses, &view{Fields: up.fields, Body: "The setup is in the fields. Nothing is changed yet."}, nil)
		}
	}
	var text []byte
	if err == nil && up.fields["none"] == "" {
		text, _, err = up.given()
		if err == nil && text == nil && ses.Setup != nil {
			err = refused("the form is empty; fill it in, or choose to do without a setup")
		}
	}
	if err == nil {
		err = s.correct(ses, up.fields["version"], text)
	}
	if err != nil {
		v, wrong := s.again(up, err)
		v.Error = "Nothing was changed. " + v.Error
		return s.showSetup(w, r, http.StatusUnprocessableEntity, ses, v, wrong)
	}
	return see(w, r, fmt.Sprintf("/session/%d", ses.ID))
}

// correct gives a session another setup, nil for none. version is that which the
// user saw.
func (s *Site) correct(was *session, version string, text []byte) error {
	base, err := strconv.Atoi(version)
	if err != nil {
		return badRequest(errors.New("the form is incomplete; load the page again"))
	}
	ses := *was
	ses.Setup, ses.Name = text, ingest.SetupName
	set, err := ses.usable()
	if err == nil && set == nil && len(ses.Files) == 0 {
		err = analysis.ErrNothing
	}
	if err != nil {
		return err
	}
	ses.describe(set, nil)
	if err := s.store.correct(&ses, base); err != nil {
		return err
	}
	s.beginUsual(ses.ID)
	s.changed()
	return nil
}

func (s *Site) setupForm(w http.ResponseWriter, r *http.Request, ses *session) error {
	f, err := form.Read(ses.Setup)
	v := &view{Fields: f}
	var wrong []form.Problem
	if err != nil {
		v.Fields = form.Fields{}
	} else if ses.Setup != nil {
		if _, _, err = ses.parseSetup(); err != nil {
			_, wrong, _ = f.Check()
		}
	}
	if err != nil { // a text of another version, or written by hand
		v.Fields["setup"], v.Error = string(ses.Setup), "The setup that is kept cannot be used: "+err.Error()
	}
	if from := r.URL.Query().Get("from"); from != "" {
		next, title, err := s.startFrom(from)
		if err != nil {
			return err
		}
		for k, x := range f { // what was felt on this outing stays
			if _, isNext := f.Next()[k]; !isNext {
				next[k] = x
			}
		}
		wrong, v.Fields, v.Body = nil, next, "The fields hold the board and rider of “"+title+"”. Nothing is changed yet."
	}
	return s.showSetup(w, r, http.StatusOK, ses, v, wrong)
}

func (s *Site) showSetup(w http.ResponseWriter, r *http.Request, status int, ses *session, v *view, wrong []form.Problem) error {
	if v.Fields["version"] == "" {
		v.Fields["version"] = strconv.Itoa(ses.Version)
	}
	v.Title, v.Session, v.Sessions, v.Fill = ses.Title, ses, s.starts(), s.filled(v.Fields, wrong)
	_, v.Notes, _ = ses.parseSetup() // an error is shown as problem, or was before it was kept
	return s.show(w, r, status, "setup", v)
}

// checkSetup answers, while one types, what is wrong with the fields.
func (s *Site) checkSetup(w http.ResponseWriter, r *http.Request, _ *session) error {
	_, wrong, _ := posted(r).Check()
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(wrong)
}

// tomlOf gives what the fields hold as setup.toml.
func (s *Site) tomlOf(w http.ResponseWriter, r *http.Request, _ *session) error {
	text, err := posted(r).TOML()
	if err != nil {
		return badRequest(err)
	}
	attach(w, plainText, ingest.SetupName)
	_, err = io.WriteString(w, text)
	return err
}

func posted(r *http.Request) form.Fields {
	f := form.Fields{}
	for k, v := range r.PostForm {
		f[k] = v[0]
	}
	return f
}

// oldSetup gives back one version of a setup as it came.
func (s *Site) oldSetup(w http.ResponseWriter, r *http.Request, ses *session) error {
	for _, v := range ses.Setups {
		if strconv.Itoa(v.Version) == r.PathValue("version") {
			text, err := ses.textOf(v)
			if err != nil {
				return fmt.Errorf("this setup is no longer in the data folder: %w", ingest.Cause(err))
			}
			attach(w, plainText, ingest.SetupName)
			_, err = w.Write(text)
			return err
		}
	}
	return notFound("this session has no such setup")
}

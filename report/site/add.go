package site

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/report/words"
)

// Bounds of an upload, beside its bytes.
const (
	filesMost  = 60
	fieldsMost = 200
	textBytes  = 1 << 20 // of a setup or a column map
	// idleUpload is how long an upload may stand still.
	idleUpload = time.Minute
)

// An upload is what a form brought, as far as it was read.
type upload struct {
	files     []*incoming
	names     []string // of all that came, for the list of refusals
	fields    map[string]string
	setup     []byte
	setupName string
}

// A refused upload: the status and the reason.
type refusedError struct {
	status  int
	err     error
	propose string // a column map that may help
}

func (e *refusedError) Error() string { return e.err.Error() }

func refused(format string, args ...any) error {
	return &refusedError{status: http.StatusUnprocessableEntity, err: fmt.Errorf(format, args...)}
}

// addForm is the form to add a session; ?from=N starts from the setup of an
// earlier one, without its notes of feel.
func (s *Site) addForm(w http.ResponseWriter, r *http.Request) error {
	v := &view{Title: "Add a session", Fields: map[string]string{}}
	if from := r.URL.Query().Get("from"); from != "" {
		id, _ := strconv.ParseInt(from, 10, 64) // 0 is no session
		ses, err := s.store.session(id)
		if err != nil {
			return err
		}
		if ses.Setup != nil {
			v.Fields["setup"] = stripFeel(pasted(string(ses.Setup)))
			v.Body = "The setup below is that of “" + ses.Title + "”, without its notes of feel. Change what was different in this session: the title, the shim, the place of the foil. Then add notes of feel."
		}
	}
	return s.showAdd(w, r, http.StatusOK, v)
}

func (s *Site) showAdd(w http.ResponseWriter, r *http.Request, status int, v *view) error {
	all, err := s.store.sessions("")
	if err != nil {
		return err
	}
	for _, ses := range all {
		if ses.Setup != nil {
			v.Sessions = append(v.Sessions, ses)
		}
	}
	v.MaxUpload = sizeText(s.cfg.MaxUpload)
	s.show(w, r, status, "add", v)
	return nil
}

// add takes an upload: it is kept whole, or refused with the reason and
// listed.
func (s *Site) add(w http.ResponseWriter, r *http.Request) error {
	up, err := s.receive(w, r)
	defer func() { s.store.discard(up.files) }()
	var id int64
	var again bool
	if err == nil {
		id, again, err = s.admit(r.Context(), up)
	}
	if again {
		s.show(w, r, http.StatusOK, "message", &view{Title: "Already in the library", Body: "These very files, with the same setup, are in the library already. Nothing was added.", Link: fmt.Sprintf("/session/%d", id), LinkText: "Open that session"})
		return nil
	}
	if err == nil {
		http.Redirect(w, r, fmt.Sprintf("/session/%d", id), http.StatusSeeOther)
		return nil
	}
	if errors.Is(err, errToken) {
		return err // not an upload of the user's
	}
	reason := err.Error()
	if !slices.ContainsFunc(up.names, func(n string) bool { return strings.HasPrefix(reason, n) }) {
		reason = words.UpperFirst(reason)
	}
	if lerr := s.store.refuse(up.names, reason); lerr != nil {
		s.cfg.Warn("a refused upload could not be listed: %v", lerr)
	}
	v := &view{Title: "Add a session", Error: reason, Fields: up.fields}
	status := http.StatusUnprocessableEntity
	var ref *refusedError
	var disk diskError
	switch {
	case errors.As(err, &disk):
		status = http.StatusInternalServerError
	case errors.As(err, &ref):
		status, v.Propose = ref.status, ref.propose
	}
	return s.showAdd(w, r, status, v)
}

// receive reads the form, files straight to disk.
func (s *Site) receive(w http.ResponseWriter, r *http.Request) (up *upload, err error) {
	up = &upload{fields: map[string]string{}}
	// The inner bound gives the message; the outer one cuts off who goes on.
	outer := http.MaxBytesReader(w, r.Body, 4*s.cfg.MaxUpload+formBytes)
	rc := http.NewResponseController(w)
	body := &patient{r: outer, left: s.cfg.MaxUpload + formBytes, rc: rc}
	defer func() {
		if err != nil {
			// A browser shows the answer only once it has sent everything.
			_, _ = io.Copy(io.Discard, outer)
		}
		_ = rc.SetReadDeadline(time.Time{}) // reading the logs has its own time
	}()
	r.Body = struct {
		io.Reader
		io.Closer
	}{body, outer}
	parts, err := r.MultipartReader()
	if err != nil {
		return up, refused("this is not the form of the page: %v", err)
	}
	authentic := false
	for n := 0; ; n++ {
		part, err := parts.NextPart()
		if err == io.EOF {
			break
		}
		if err == nil && n >= fieldsMost {
			err = refused("the form has too many parts")
		}
		if err == nil && !authentic {
			// The token comes first: nothing is written for a form of another site.
			if authentic = part.FormName() == "token" && s.goodToken(s.field(part)); !authentic {
				return up, errToken
			}
			continue
		}
		if err == nil {
			err = s.takePart(up, part)
		}
		if err != nil {
			return up, s.broken(err)
		}
	}
	if !authentic {
		return up, errToken
	}
	return up, nil
}

// field reads a short field; what is too long is cut, and will not match.
func (s *Site) field(part *multipart.Part) string {
	b, err := io.ReadAll(io.LimitReader(part, 1024))
	if err != nil {
		return ""
	}
	return string(b)
}

// broken says why an upload ended before its end.
func (s *Site) broken(err error) error {
	var ref *refusedError
	var disk diskError
	var most *http.MaxBytesError
	switch {
	case errors.Is(err, errTooLarge), errors.As(err, &most):
		err = &refusedError{status: http.StatusRequestEntityTooLarge, err: fmt.Errorf("the upload is larger than %s, the bound for one session; add the files of one outing only, or pack them with gzip", sizeText(s.cfg.MaxUpload))}
	case errors.As(err, &ref), errors.As(err, &disk):
	default:
		err = refused("the upload broke off: %v; nothing of it was kept", err)
	}
	return err
}

// takePart takes one field or file of the form.
func (s *Site) takePart(up *upload, part *multipart.Part) error {
	if part.FileName() == "" {
		if part.FormName() == "logs" || part.FormName() == "setup_file" {
			return nil // no file was chosen
		}
		b, err := io.ReadAll(io.LimitReader(part, textBytes+1))
		if err != nil {
			return err
		}
		if len(b) > textBytes {
			return refused("the text in the form is longer than %s", sizeText(textBytes))
		}
		up.fields[part.FormName()] = string(b)
		return nil
	}
	name := fileLabel(part.FileName())
	up.names = append(up.names, name)
	low := strings.ToLower(name)
	switch {
	case part.FormName() == "setup_file", strings.HasSuffix(low, ".toml") && !strings.HasSuffix(low, mapEnding):
		return s.takeSetup(up, name, part)
	case len(up.files) >= filesMost:
		return refused("more than %d files are not of one session", filesMost)
	}
	kind := kindLog
	if strings.HasSuffix(low, mapEnding) {
		kind = kindMap
	}
	in, err := s.store.receive(name, kind, part)
	if err != nil {
		return err
	}
	up.files = append(up.files, in)
	for _, f := range up.files[:len(up.files)-1] {
		if f.Hash == in.Hash {
			return refused("%s and %s hold the very same bytes; add the log once", f.Name, in.Name)
		}
	}
	return nil
}

func (s *Site) takeSetup(up *upload, name string, part io.Reader) error {
	b, err := io.ReadAll(io.LimitReader(part, textBytes+1))
	switch {
	case err != nil:
		return err
	case len(b) > textBytes:
		return refused("%s is longer than %s; that is no setup", name, sizeText(textBytes))
	case up.setup != nil:
		return refused("there are two setups, %s and %s; a session has one", up.setupName, name)
	}
	up.setup, up.setupName = b, name
	return nil
}

// admit checks that all of an upload can be read, keeps it, and begins its
// analysis.
func (s *Site) admit(ctx context.Context, up *upload) (id int64, again bool, err error) {
	ses := &session{Added: time.Now().UTC(), Name: up.setupName, Setup: up.setup}
	if text := pasted(up.fields["setup"]); strings.TrimSpace(text) != "" {
		if up.setup != nil && string(up.setup) != text {
			return 0, false, refused("there are two setups, the file %s and the text in the form; empty the text, or choose no file", up.setupName)
		}
		ses.Setup, ses.Name = []byte(text), ingest.SetupName
	}
	speeds, err := speedRange(up.fields["low"], up.fields["high"], up.fields["in"])
	if err != nil {
		return 0, false, refused("%w", err)
	}
	ses.Speeds = speedsText(speeds)
	set, _, err := ses.parseSetup()
	if err != nil {
		return 0, false, refused("the setup cannot be used: %w", err)
	}
	if text := pasted(up.fields["map"]); strings.TrimSpace(text) != "" {
		in, err := s.store.receive(pastedMap, kindMap, strings.NewReader(text))
		if err != nil {
			return 0, false, err
		}
		up.files = append(up.files, in)
	}
	for _, f := range up.files {
		ses.Files = append(ses.Files, f.stored)
	}
	log, err := s.tryLogs(ctx, sourcesOf(up.files))
	if err != nil {
		return 0, false, err
	}
	switch {
	case log == nil && set == nil:
		return 0, false, refused("There is nothing to analyse: choose at least one log, or give a setup with the speeds that matter")
	case log == nil && speeds == [2]float64{}:
		return 0, false, refused("without a log, the speeds that matter must be given with the setup")
	}
	ses.describe(set, log)
	if id, again, err = s.store.add(ses, up.files); err != nil || again {
		return id, again, err
	}
	s.beginUsual(id)
	return id, false, nil
}

// beginUsual begins a session's usual sheet, so that the list has its line.
// Should the queue be full, it begins when the session is opened.
func (s *Site) beginUsual(id int64) {
	ses, err := s.store.session(id)
	if err != nil {
		return
	}
	if o, err := optionsFrom(nil, s.units()); err == nil {
		if p, err := s.sheetPlan(ses, o); err == nil {
			_, _ = s.begin(p)
		}
	}
}

// tryLogs reads the logs once, so that an upload which cannot be read is
// refused while its sender is there to mend it.
func (s *Site) tryLogs(ctx context.Context, files []source) (log *ingest.Log, err error) {
	release, err := s.queue.slot(ctx)
	if err != nil {
		return nil, refused("the upload was given up before it was read")
	}
	defer release()
	err = guarded(func() error {
		log, err = readLogs(files, nil)
		return err
	})
	if err == nil {
		return log, nil
	}
	ref := &refusedError{status: http.StatusUnprocessableEntity, err: err}
	var unread *readError
	if errors.As(err, &unread) && !slices.ContainsFunc(files, func(f source) bool { return f.Kind == kindMap }) {
		if text, ok := ingest.ProposeMap(unread.src.at); ok {
			ref.propose = strings.ReplaceAll(text, unread.src.at, unread.src.Name)
		}
	}
	return nil, ref
}

// patient is a body that may take its time as long as bytes keep coming, and
// that ends with a clear error at its bound.
type patient struct {
	r    io.Reader
	left int64
	rc   *http.ResponseController
}

var errTooLarge = errors.New("too large")

func (p *patient) Read(b []byte) (int, error) {
	if p.left <= 0 {
		return 0, errTooLarge
	}
	// Not every transport has deadlines; a test's has none.
	now := time.Now()
	_, _ = p.rc.SetReadDeadline(now.Add(idleUpload)), p.rc.SetWriteDeadline(now.Add(writePatience))
	n, err := p.r.Read(b[:min(int64(len(b)), p.left)])
	p.left -= int64(n)
	return n, err
}

// saveSetup corrects a session's setup and has it analysed anew.
func (s *Site) saveSetup(w http.ResponseWriter, r *http.Request, ses *session) error {
	if err := s.form(w, r); err != nil {
		return err
	}
	text := pasted(r.PostForm.Get("setup"))
	base, err := strconv.Atoi(r.PostForm.Get("version"))
	if err != nil {
		return badRequest(errors.New("the form is incomplete; load the page again"))
	}
	was := *ses
	ses.Setup, ses.Name = []byte(text), ingest.SetupName
	if strings.TrimSpace(text) == "" {
		ses.Setup = nil
	}
	var set *setup.Setup
	if set, _, err = ses.parseSetup(); err == nil && set == nil && len(ses.Files) == 0 {
		err = analysis.ErrNothing
	}
	if err == nil {
		ses.describe(set, nil)
		err = s.store.correct(ses, base)
	}
	if err != nil {
		return s.showSetup(w, r, http.StatusUnprocessableEntity, &was, text, base, "Nothing was changed. "+err.Error())
	}
	s.beginUsual(ses.ID)
	http.Redirect(w, r, fmt.Sprintf("/session/%d", ses.ID), http.StatusSeeOther)
	return nil
}

func (s *Site) setupForm(w http.ResponseWriter, r *http.Request, ses *session) error {
	text := pasted(string(ses.Setup))
	if rig := r.URL.Query().Get("rig"); rig != "" {
		var err error
		if text, err = setup.Template(rig); err != nil {
			return badRequest(err)
		}
	}
	return s.showSetup(w, r, http.StatusOK, ses, text, ses.Version, "")
}

func (s *Site) showSetup(w http.ResponseWriter, r *http.Request, status int, ses *session, text string, base int, problem string) error {
	old, err := s.store.setups(ses.ID)
	if err != nil {
		return err
	}
	v := &view{Title: ses.Title, Session: ses, Error: problem, Old: old, Rigs: setup.Rigs(), Fields: map[string]string{"setup": text, "version": strconv.Itoa(base)}}
	_, v.Notes, _ = ses.parseSetup() // an error is shown as problem, or was before it was kept
	s.show(w, r, status, "setup", v)
	return nil
}

// oldSetup gives back one version of a setup as it came.
func (s *Site) oldSetup(w http.ResponseWriter, r *http.Request, ses *session) error {
	all, err := s.store.setups(ses.ID)
	if err != nil {
		return err
	}
	for _, v := range all {
		if strconv.Itoa(v.Version) == r.PathValue("version") {
			attach(w, "text/plain; charset=utf-8", ingest.SetupName)
			w.Write(v.Body)
			return nil
		}
	}
	return notFound("this session has no such setup")
}

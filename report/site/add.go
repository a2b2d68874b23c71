package site

import (
	"cmp"
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
	startsMost = 100     // sessions whose setups are offered as a start, the latest
	// uploadsMost is how many uploads are taken at a time.
	uploadsMost = 16
	// wholeUpload is how long one upload may take in all.
	wholeUpload = time.Hour
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
	propose   string // a column map that may help where it was refused
}

// addForm is the form to add a session; ?from=N starts from the setup of an
// earlier one, without its notes of feel.
func (s *Site) addForm(w http.ResponseWriter, r *http.Request, _ *session) error {
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
	for _, ses := range s.store.sessions() {
		if ses.Setup != nil && len(v.Sessions) < startsMost {
			v.Sessions = append(v.Sessions, ses)
		}
	}
	v.MaxUpload = sizeText(s.cfg.MaxUpload)
	return s.show(w, r, status, "add", v)
}

// add takes an upload: it is kept whole, or refused with the reason and
// listed.
func (s *Site) add(w http.ResponseWriter, r *http.Request, _ *session) error {
	select {
	case s.uploads <- struct{}{}:
		defer func() { <-s.uploads }()
	default:
		return statusError{http.StatusServiceUnavailable, fmt.Errorf("%d uploads are coming in already; nothing of this one was kept, try again in a minute", uploadsMost)}
	}
	up := &upload{fields: map[string]string{}}
	defer func() { s.store.discard(up.files) }()
	began := time.Now()
	err := s.receive(w, r, up)
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
	case again:
		return s.show(w, r, http.StatusOK, "message", &view{Title: "Already in the library", Body: "The logs of this outing are in the library already, whatever their names. Nothing was added: an outing counts once. What its setup should say otherwise, correct there.", Link: at, LinkText: "Open that session"})
	case err == nil:
		return see(w, r, at)
	}
	reason := err.Error()
	if !slices.ContainsFunc(up.names, func(n string) bool { return strings.HasPrefix(reason, n) }) {
		reason = words.UpperFirst(reason)
	}
	if err := s.store.refuse(up.names, reason); err != nil {
		s.cfg.Warn("a refused upload could not be listed: %v", err)
	}
	return s.showAdd(w, r, statusOf(err), &view{Title: "Add a session", Error: reason, Fields: up.fields, Propose: up.propose})
}

// receive reads the form, files straight to disk.
func (s *Site) receive(w http.ResponseWriter, r *http.Request, up *upload) (err error) {
	// The inner bound gives the message; the outer one cuts off who goes on.
	outer := http.MaxBytesReader(w, r.Body, 4*s.cfg.MaxUpload+formBytes)
	rc := http.NewResponseController(w)
	r.Body = http.MaxBytesReader(nil, patient{outer, rc, time.Now().Add(wholeUpload)}, s.cfg.MaxUpload+formBytes)
	defer func() {
		if err != nil {
			// A browser shows the answer only once it has sent everything.
			_, _ = io.Copy(io.Discard, outer)
		}
		_ = rc.SetReadDeadline(time.Time{}) // reading the logs has its own time
	}()
	parts, err := r.MultipartReader()
	if err != nil {
		return refused("this is not the form of the page: %w", err)
	}
	for n := 0; ; n++ {
		part, err := parts.NextPart()
		switch {
		case err == io.EOF && n > 0:
			return nil
		case err == io.EOF:
			return errToken
		case err == nil && n >= fieldsMost:
			return refused("the form has too many parts")
		case err == nil && n == 0:
			// The token comes first: nothing is written for a form of another site.
			if token, err := text(part); err != nil || part.FormName() != "token" || !s.goodToken(string(token)) {
				return errToken
			}
		case err == nil:
			err = s.takePart(up, part)
		}
		var told statusError
		var most *http.MaxBytesError
		switch {
		case errors.As(err, &most):
			return statusError{http.StatusRequestEntityTooLarge, fmt.Errorf("the upload is larger than %s, the bound for one session; add the files of one outing only, or pack them with gzip", sizeText(s.cfg.MaxUpload))}
		case errors.As(err, &told):
			return err
		case err != nil:
			return refused("the upload broke off: %w; nothing of it was kept", err)
		}
	}
}

// patient is a body that may take its time as long as bytes keep coming.
type patient struct {
	io.ReadCloser
	rc  *http.ResponseController
	end time.Time
}

func (p patient) Read(b []byte) (int, error) {
	// Not every transport has deadlines; a test's has none.
	now := time.Now()
	if now.After(p.end) {
		return 0, fmt.Errorf("it took more than %.0f minutes", wholeUpload.Minutes())
	}
	_, _ = p.rc.SetReadDeadline(now.Add(idleUpload)), p.rc.SetWriteDeadline(now.Add(writePatience))
	return p.ReadCloser.Read(b)
}

// takePart takes one field or file of the form.
func (s *Site) takePart(up *upload, part *multipart.Part) (err error) {
	field := part.FormName()
	if part.FileName() == "" {
		if field == "logs" || field == "setup_file" {
			return nil // no file was chosen
		}
		b, err := text(part)
		up.fields[field] = string(b)
		return err
	}
	name := fileLabel(part.FileName())
	up.names = append(up.names, name)
	low := strings.ToLower(name)
	isMap := strings.HasSuffix(low, mapEnding)
	switch {
	case field != "setup_file" && (isMap || !strings.HasSuffix(low, ".toml")):
		return s.takeFile(up, name, isMap, part)
	case up.setup != nil:
		return refused("there are two setups, %s and %s; a session has one", up.setupName, name)
	}
	up.setupName = name
	up.setup, err = text(part)
	return err
}

// text reads a field, or a file that is a short text.
func text(part *multipart.Part) ([]byte, error) {
	b, err := io.ReadAll(io.LimitReader(part, textBytes+1))
	if err == nil && len(b) > textBytes {
		err = refused("%s is longer than %s; that is no setup and no column map", cmp.Or(fileLabel(part.FileName()), part.FormName()), sizeText(textBytes))
	}
	return b, err
}

// takeFile takes a log or a column map.
func (s *Site) takeFile(up *upload, name string, isMap bool, r io.Reader) error {
	if len(up.files) >= filesMost {
		return refused("more than %d files are not of one session", filesMost)
	}
	kind := kindLog
	if isMap {
		kind = kindMap
	}
	in, err := s.store.receive(name, kind, r)
	if err != nil {
		return err
	}
	for _, f := range up.files {
		if f.Hash == in.Hash {
			err = refused("%s and %s hold the very same bytes; add the log once", f.Name, in.Name)
		}
	}
	up.files = append(up.files, in)
	return err
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
		if err := s.takeFile(up, pastedMap, true, strings.NewReader(text)); err != nil {
			return 0, false, err
		}
	}
	for _, f := range up.files {
		ses.Files = append(ses.Files, f.stored)
	}
	log, err := s.tryLogs(ctx, up)
	switch {
	case err != nil:
		return 0, false, refused("%w", err)
	case log == nil && set == nil:
		return 0, false, refused("There is nothing to analyse: choose at least one log, or give a setup with the speeds that matter")
	case log == nil && speeds == [2]float64{}:
		return 0, false, refused("without a log, the speeds that matter must be given with the setup")
	}
	ses.describe(set, log)
	if id, again, err = s.store.add(ses, up.files); err == nil && !again {
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

// tryLogs reads the logs once, so that an upload which cannot be read is
// refused while its sender is there to mend it.
func (s *Site) tryLogs(ctx context.Context, up *upload) (log *ingest.Log, err error) {
	select { // its own turn: an upload never waits for analyses
	case s.reading <- struct{}{}:
		defer func() { <-s.reading }()
	case <-ctx.Done():
		return nil, errors.New("the upload was given up before it was read")
	}
	var files []source
	for _, f := range up.files {
		files = append(files, source{f.stored, f.at})
	}
	err = guarded(func() error {
		log, err = readLogs(files, nil)
		return err
	})
	var unread *readError
	if errors.As(err, &unread) && !slices.ContainsFunc(files, func(f source) bool { return f.Kind == kindMap }) {
		if text, ok := ingest.ProposeMap(unread.src.at); ok {
			up.propose = strings.ReplaceAll(text, unread.src.at, unread.src.Name)
		}
	}
	return log, err
}

// saveSetup corrects a session's setup and has it analysed anew.
func (s *Site) saveSetup(w http.ResponseWriter, r *http.Request, ses *session) error {
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
	set, _, err := ses.parseSetup()
	if err == nil && set == nil && len(ses.Files) == 0 {
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
	s.changed()
	return see(w, r, fmt.Sprintf("/session/%d", ses.ID))
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
	v := &view{Title: ses.Title, Session: ses, Error: problem, Rigs: setup.Rigs(), Fields: map[string]string{"setup": text, "version": strconv.Itoa(base)}}
	_, v.Notes, _ = ses.parseSetup() // an error is shown as problem, or was before it was kept
	return s.show(w, r, status, "setup", v)
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

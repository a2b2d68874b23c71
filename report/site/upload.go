package site

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"

	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/report/form"
	"evenfoot/report/words"
)

// Bounds of an upload, beside its bytes.
const (
	filesMost  = 60
	fieldsMost = 2000
	textBytes  = 1 << 20 // of a setup or a column map
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
	fields    form.Fields
	typed     int // bytes of them, and of the setups
	setup     []byte
	setupName string
	brought   []brought // setups of several folders, each of its outing; none where one was sent
	propose   string    // a column map that may help where it was refused
	mendable  bool      // the form is to be mended; the files wait for it
	outings   []glance  // its logs, once they were looked at
	passed    []string  // the first of what folders and archives hold that is not taken
	passedAll int       // how many these are in all
	since     time.Time
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
	var bad error // with a file: what was typed is still taken, to be mended
	for n := 0; ; n++ {
		part, err := parts.NextPart()
		switch {
		case err == io.EOF && n > 0:
			s.passNotes(up)
			return cmp.Or(bad, up.settle())
		case err == io.EOF:
			return errToken
		case err == nil && n >= fieldsMost:
			return refused("the form has too many parts")
		case err == nil && n == 0:
			// The token comes first: nothing is written for a form of another site.
			if token, err := text(part.FormName(), part); err != nil || part.FormName() != "token" || !s.goodToken(string(token)) {
				return errToken
			}
		case err == nil && (bad == nil || part.FileName() == ""):
			err = s.takePart(up, part)
		}
		var told statusError
		var most *http.MaxBytesError
		switch {
		case errors.As(err, &most):
			return statusError{http.StatusRequestEntityTooLarge, fmt.Errorf("the upload is larger than %s, the bound for one session; add the files of one outing only, or pack them with gzip", sizeText(s.cfg.MaxUpload))}
		case errors.As(err, &told) && part.FileName() != "":
			bad = err
		case errors.As(err, &told), errors.Is(err, errToken):
			return err
		case err != nil:
			return refused("the upload broke off: %w; nothing of it was kept", err)
		}
	}
}

// A brought setup came beside the logs of its folder.
type brought struct {
	Folder, Name string
	text         []byte
}

// passedShown is how many of the files that were passed over are named.
const passedShown = 10

// pass notes a file that is not taken.
func (up *upload) pass(name string) {
	if up.passedAll++; len(up.passed) < passedShown {
		up.passed = append(up.passed, label(name))
	}
}

// over names what was passed over, "" for nothing.
func (up *upload) over() string {
	names := strings.Join(up.passed, ", ")
	if more := up.passedAll - len(up.passed); more > 0 {
		names += " and " + words.Counted(more, "other")
	}
	return names
}

// passNotes passes over what is no log by what it holds, such as a note, where there
// are logs and its name is one's: alone it is read, to be refused with what is wrong. A column map that is
// typed in may be for any of them.
func (s *Site) passNotes(up *upload) {
	if strings.TrimSpace(up.fields["map"]) != "" {
		return
	}
	logs := 0
	var notes []*incoming
	names := make([]stored, len(up.files))
	for i, f := range up.files {
		names[i] = f.stored
	}
	for _, f := range up.files {
		if f.Kind != kindLog {
			continue
		}
		logs++
		if slices.Contains(ingest.LogEndings, strings.ToLower(path.Ext(f.Name))) && mapFor(f.Name, names) < 0 && ingest.NoLog(f.at) != "" {
			notes = append(notes, f)
		}
	}
	if len(notes) == logs {
		return
	}
	for _, f := range notes {
		up.pass(path.Join(f.folder, f.Name))
	}
	up.files = slices.DeleteFunc(up.files, func(f *incoming) bool { return slices.Contains(notes, f) })
	s.store.discard(notes)
}

// settle takes the only setup for that of all.
func (up *upload) settle() error {
	if up.passedAll > 0 && !slices.ContainsFunc(up.files, func(f *incoming) bool { return f.Kind == kindLog }) {
		return refused("none of the files is a log by its name: %s. Logs end in %s", up.over(), strings.Join(ingest.LogEndings, ", "))
	}
	if len(up.brought) == 1 {
		up.setup, up.setupName, up.brought = up.brought[0].text, up.brought[0].Name, nil
	}
	for _, b := range up.brought {
		if _, _, err := setup.Parse(path.Join(b.Folder, b.Name), b.text); err != nil {
			return refused("the setup cannot be used: %w", err)
		}
	}
	return nil
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
		b, err := text(part.FormName(), part)
		up.fields[field] = string(b)
		return cmp.Or(err, up.count(b))
	}
	sent := part.FileName() // without its folder
	if _, says, err := mime.ParseMediaType(part.Header.Get("Content-Disposition")); err == nil && says["filename"] != "" {
		sent = says["filename"]
	}
	if field == "setup_file" {
		up.names = append(up.names, fileLabel(sent))
		return up.takeSetup(brought{Name: fileLabel(sent)}, part)
	}
	return s.takeNamed(up, sent, part)
}

// count bounds what an upload keeps in memory.
func (up *upload) count(text []byte) error {
	if up.typed += len(text); up.typed > formBytes {
		return refused("the form and its setups hold more than %s of text", sizeText(formBytes))
	}
	return nil
}

// pictures end the names of what is passed over in a folder without a word.
var pictures = []string{".jpg", ".jpeg", ".png", ".gif", ".heic", ".webp"}

// takeNamed takes a log, a column map, a setup, or an archive of them, under a name
// that may carry folders.
func (s *Site) takeNamed(up *upload, sent string, r io.Reader) error {
	sent = path.Join("/", strings.ReplaceAll(sent, `\`, "/"))[1:]
	folder, name, low := path.Dir(sent), fileLabel(sent), strings.ToLower(sent)
	if folder != "." {
		if slices.ContainsFunc(strings.Split(sent, "/"), func(p string) bool { return strings.HasPrefix(p, ".") || p == "__MACOSX" }) {
			return nil
		}
		if ext := path.Ext(low); ext != ".toml" && !slices.Contains(ingest.LogEndings, ext) {
			if !slices.Contains(pictures, ext) {
				up.pass(sent)
			}
			return nil
		}
	}
	up.names = append(up.names, name)
	isMap := strings.HasSuffix(low, mapEnding)
	switch {
	case path.Ext(low) == ".zip":
		return s.takeZip(up, name, r)
	case isMap || path.Ext(low) != ".toml":
		n := len(up.files)
		err := s.takeFile(up, name, isMap, r)
		for _, f := range up.files[n:] {
			f.folder = folder
		}
		return err
	}
	return up.takeSetup(brought{Folder: folder, Name: name}, r)
}

// takeSetup takes the setup of all outings, or of those of a folder.
func (up *upload) takeSetup(b brought, r io.Reader) (err error) {
	if len(up.brought) >= filesMost {
		return refused("more than %d setups are not of one upload", filesMost)
	}
	if b.text, err = text(b.Name, r); err != nil {
		return err
	}
	if err = up.count(b.text); err != nil {
		return err
	}
	was, all := up.setupName, up.setup != nil
	for _, e := range up.brought {
		if b.Folder == "" || e.Folder == b.Folder {
			was, all = e.Name, true
		}
	}
	switch {
	case all:
		return refused("there are two setups, %s and %s; an outing has one. Send the logs with one of them or none, or each setup in a folder with the logs of its outing; or give each its own on its page then, under “Correct the setup”", was, b.Name)
	case b.Folder == "":
		up.setup, up.setupName = b.text, b.Name
	default:
		up.brought = append(up.brought, b)
	}
	return nil
}

// takeZip takes what an archive holds as if it were sent by itself.
func (s *Site) takeZip(up *upload, name string, r io.Reader) error {
	in, err := s.store.receive(name, kindLog, r)
	if err != nil {
		return err
	}
	defer s.store.discard([]*incoming{in})
	// All of an archive is in a folder, at least its own, which is never a hidden one.
	own := cmp.Or(strings.TrimLeft(strings.TrimSuffix(name, path.Ext(name)), "."), "archive")
	taken, passed := len(up.names), up.passedAll
	failed, err := unzip(in.at, min(ingest.ExpandsMost(in.Size), s.cfg.MaxUpload), func(file string, r io.Reader) error {
		return s.takeNamed(up, own+path.Join("/", strings.ReplaceAll(file, `\`, "/")), r)
	})
	var told statusError
	switch {
	case errors.Is(err, errExpands):
		return refused("%s expands to more than may be sent at once; send its outings one by one", name)
	case errors.As(err, &told):
		return err
	case err != nil && failed == "":
		return refused("%s cannot be unpacked: %w", name, ingest.Cause(err))
	case err != nil:
		return refused("%s: %s cannot be unpacked: %w", name, label(failed), ingest.Cause(err))
	}
	if len(up.names) == taken && up.passedAll == passed {
		return refused("%s holds no log and no setup", name)
	}
	return nil
}

// text reads a field, or a file that is a short text.
func text(name string, r io.Reader) ([]byte, error) {
	b, err := io.ReadAll(io.LimitReader(r, textBytes+1))
	if err == nil && len(b) > textBytes {
		err = refused("%s is longer than %s; that is no setup and no column map", name, sizeText(textBytes))
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
		if f.Hash == in.Hash && isMap && f.Kind == kindMap {
			s.store.discard([]*incoming{in}) // of two folders
			return nil
		}
		if f.Hash == in.Hash && in.Size > 0 { // a phone's export may hold several empty ones
			err = refused("%s and %s hold the very same bytes; add the log once", f.Name, in.Name)
		}
	}
	up.files = append(up.files, in)
	return err
}

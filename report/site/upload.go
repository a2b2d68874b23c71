package site

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"time"

	"evenfoot/report/form"
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
	typed     int // bytes of them
	setup     []byte
	setupName string
	propose   string   // a column map that may help where it was refused
	mendable  bool     // the form is to be mended; the files wait for it
	outings   []glance // its logs, once they were looked at
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
			return bad
		case err == io.EOF:
			return errToken
		case err == nil && n >= fieldsMost:
			return refused("the form has too many parts")
		case err == nil && n == 0:
			// The token comes first: nothing is written for a form of another site.
			if token, err := text(part); err != nil || part.FormName() != "token" || !s.goodToken(string(token)) {
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
		if up.typed += len(b); up.typed > formBytes {
			err = refused("the form holds more than %s of text", sizeText(formBytes))
		}
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
		return refused("there are two setups, %s and %s; a session has one. Send the logs with one of them or none; where they are of several outings, give each its own on its page then, under “Correct the setup”", up.setupName, name)
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

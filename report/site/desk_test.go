package site

import (
	"bytes"
	"context"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"evenfoot/analysis/simulate"
	"evenfoot/ingest/write"
)

// An outing is the files of one simulated session.
type outing struct {
	gpx, csv []byte
	setup    string
}

// outings are the demo's two sessions, cut short.
var outings = sync.OnceValue(func() (out [2]outing) {
	for i, sc := range simulate.Demo() {
		sc.Duration, sc.GPSRate, sc.IMURate = 900, 1, 50
		s := simulate.Run(sc)
		var gpx, csv bytes.Buffer
		if err := write.GPX(&gpx, s.GPSLog); err != nil {
			panic(err)
		}
		if err := write.CSV(&csv, s.IMULog); err != nil {
			panic(err)
		}
		out[i] = outing{gpx.Bytes(), csv.Bytes(), s.SetupTOML(s.FeelNotes([]float64{6.5, 8.5, 10.5}, 0.04))}
	}
	return out
})

// A desk is a site with a browser of sorts before it.
type desk struct {
	t    testing.TB
	site *Site
	url  string
}

func open(t testing.TB, cfg Config) *desk {
	t.Helper()
	if cfg.Dir == "" {
		cfg.Dir = t.TempDir()
	}
	cfg.Version, cfg.Workers = "test", 2
	s, err := Open(cfg)
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(s.Handler())
	d := &desk{t, s, srv.URL}
	t.Cleanup(func() {
		srv.Close()
		s.Close(context.Background())
	})
	return d
}

var once = &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}

func (d *desk) do(req *http.Request) (int, string, http.Header) {
	d.t.Helper()
	res, err := once.Do(req)
	if err != nil {
		d.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		d.t.Fatal(err)
	}
	return res.StatusCode, string(b), res.Header
}

func (d *desk) request(method, path string, body io.Reader) *http.Request {
	d.t.Helper()
	req, err := http.NewRequest(method, d.url+path, body)
	if err != nil {
		d.t.Fatal(err)
	}
	return req
}

// waits is how often a tenth of a second is waited for work that is in hand: the race
// detector on a busy machine takes its time.
const waits = 1200

// get loads a page, waiting while it is being made.
func (d *desk) get(path string) (int, string) {
	d.t.Helper()
	for range waits {
		status, body, _ := d.do(d.request("GET", path, nil))
		if status != http.StatusAccepted {
			return status, body
		}
		time.Sleep(100 * time.Millisecond)
	}
	d.t.Fatalf("%s is never ready", path)
	return 0, ""
}

// must loads a page that has to be there and hold some words.
func (d *desk) must(path string, words ...string) string {
	d.t.Helper()
	status, body := d.get(path)
	if status != http.StatusOK {
		d.t.Fatalf("%s: status %d\n%s", path, status, body)
	}
	for _, w := range words {
		if !strings.Contains(body, w) {
			d.t.Errorf("%s does not say %q\n%.3000s", path, w, body)
		}
	}
	return body
}

// settled waits until the list has all its lines.
func (d *desk) settled() {
	d.t.Helper()
	for range waits {
		if s := d.must("/"); !strings.Contains(s, "made anew soon") && !strings.Contains(s, "Not analysed yet") && !strings.Contains(s, "being analysed") {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	d.t.Fatal("the list's lines are never made")
}

var tokenField = regexp.MustCompile(`name="token" value="([0-9a-f]{64})"`)

// token is what the form on a page holds.
func (d *desk) token(path string) string {
	d.t.Helper()
	m := tokenField.FindStringSubmatch(d.must(path))
	if m == nil {
		d.t.Fatalf("%s has no token", path)
	}
	return m[1]
}

func (d *desk) post(path string, form url.Values) (int, string, http.Header) {
	d.t.Helper()
	req := d.request("POST", path, strings.NewReader(form.Encode()))
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return d.do(req)
}

// A piece is a field of the upload form, or a file.
type piece struct{ field, file, body string }

func formOf(token string, pieces ...piece) (body *bytes.Buffer, kind string) {
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	if token != "" {
		w.WriteField("token", token)
	}
	for _, p := range pieces {
		if p.file == "" {
			w.WriteField(p.field, p.body)
			continue
		}
		f, _ := w.CreateFormFile(p.field, p.file) // a bytes.Buffer takes everything
		io.WriteString(f, p.body)
	}
	w.Close()
	return &b, w.FormDataContentType()
}

func (d *desk) upload(pieces ...piece) (int, string, http.Header) {
	d.t.Helper()
	return d.send("/add", pieces...)
}

// send sends a form with files.
func (d *desk) send(path string, pieces ...piece) (int, string, http.Header) {
	d.t.Helper()
	body, kind := formOf(d.site.token, pieces...)
	req := d.request("POST", path, body)
	req.Header.Set("Content-Type", kind)
	return d.do(req)
}

// added uploads what has to be taken, and returns where it is.
func (d *desk) added(pieces ...piece) string {
	d.t.Helper()
	status, body, h := d.upload(pieces...)
	if _, rest, twin := strings.Cut(body, `<a class="do-it" href="/session/`); status == http.StatusOK && twin {
		id, _, _ := strings.Cut(rest, `"`)
		return "/session/" + id // it seems to be an outing that was added before
	}
	if status != http.StatusSeeOther {
		d.t.Fatalf("upload: status %d\n%s", status, body)
	}
	return h.Get("Location")
}

func (o outing) pieces() []piece {
	return []piece{{"logs", "watch.gpx", string(o.gpx)}, {"logs", "logger.csv", string(o.csv)}, {"setup_file", "setup.toml", o.setup}}
}

// watched are the outing's pieces without the board's logger, whose samples are most
// of an analysis' time.
func (o outing) watched() []piece {
	return []piece{{"logs", "watch.gpx", string(o.gpx)}, {"setup_file", "setup.toml", o.setup}}
}

// alone skips under the race detector what shows it nothing that it does not see elsewhere.
func alone(t *testing.T) {
	t.Helper()
	if raced {
		t.Skip("nothing meets here that the race detector does not see elsewhere")
	}
}

// idle lets nothing be analysed until it is woken: for what is seen without an answer.
func (d *desk) idle() (wake func()) {
	d.t.Helper()
	var all []func()
	for range cap(d.site.queue.slots) {
		release, err := d.site.queue.slot(context.Background())
		if err != nil {
			d.t.Fatal(err)
		}
		all = append(all, release)
	}
	return func() {
		for _, release := range all {
			release()
		}
	}
}

func fileCount(t *testing.T, dir string) (n int) {
	t.Helper()
	err := filepath.WalkDir(dir, func(_ string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			n++
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

package site

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/ingest/write"
)

// TestFromUploadToDeletion goes the way of a user.
func TestFromUploadToDeletion(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	d.must("/", "The library is empty")
	if strings.Contains(d.must("/"), "<code>evenfoot") {
		t.Error("a page sends its reader to the terminal")
	}
	if d.token("/add") != d.site.token {
		t.Fatal("the form's token is another")
	}
	outs := outings()
	first := d.added(outs[0].pieces()...)
	second := d.added(piece{"logs", "watch.gpx", string(outs[1].gpx)}, piece{"setup", "", outs[1].setup})

	sheet := d.must(first, "What to do next", `href="/">Library</a>`, first+"/setup")
	if strings.Contains(sheet, d.site.store.dir) {
		t.Error("the sheet tells where the library lies")
	}
	if n := strings.Count(sheet, "<body>"); n != 1 {
		t.Errorf("the sheet has %d bodies", n)
	}
	_, _, h := d.do(d.request("GET", first, nil))
	if p := h.Get("Content-Security-Policy"); !strings.Contains(p, "script-src 'sha256-") || !strings.Contains(p, "frame-ancestors 'none'") {
		t.Errorf("the sheet's policy is %q", p)
	}
	var result struct {
		Schema string
		Advice struct{ Verdict string }
	}
	if err := json.Unmarshal([]byte(d.must(first+"/result.json")), &result); err != nil || result.Schema != "evenfoot/2" || result.Advice.Verdict == "" {
		t.Errorf("the JSON holds %+v, %v", result, err)
	}
	if s := d.must(first + "/sheet.html"); strings.Contains(s, `href="/"`) || !strings.Contains(s, "What to do next") {
		t.Error("the saved sheet is not the command's own page")
	}

	// Newest first; one line of advice, and the speeds.
	d.must(second)
	list := d.must("/", "2 sessions", "Odalys", "best 10 s")
	if i, j := strings.Index(list, `href="`+second+`"`), strings.Index(list, `href="`+first+`"`); i < 0 || j < i {
		t.Error("the newer session is not the first in the list")
	}
	if strings.Contains(list, "Not analysed yet") {
		t.Error("the list lacks the analysis")
	}
	d.must("/riders", "Odalys", "1 nmi", "The season: every session and every change", `href="`+second+`"`)
	if s := d.must("/?rider=nobody", "0 sessions"); strings.Contains(s, first) {
		t.Error("the list of one rider shows another's sessions")
	}

	// Other views of the session.
	// The earlier one counts by itself, is named, and can be left out.
	whole := d.must(second, "Leave out 1 earlier session", "counts in")
	if own := d.must(second+"?alone=1", "Count in 1 earlier session"); strings.Contains(own, "counts in") || own == whole {
		t.Error("a sheet without the earlier session counts it in")
	}
	d.must(second+"?with=1", "Leave out 1 earlier session")
	d.must(second+"/more", `value="1" checked`)
	if strings.Contains(d.must(second+"/more?alone=1"), `value="1" checked`) {
		t.Error("what is left out is ticked")
	}
	d.must(second+"?alone=1&speed=kmh&low=22&high=40&in=kmh", "km/h")
	d.must(second+"?alone=1&mass=92&massin=kg&height=190&heightin=cm&level=intermediate&name=Bo%2Cris", "What to do for <bdi>Bo ris", "on the foil of")
	if strings.Contains(d.must(second), "Place of the first fix") || !strings.Contains(d.must(second+"?alone=1&coordinates=1"), "Place of the first fix") {
		t.Error("coordinates are on the sheet unasked, or not when asked")
	}
	d.must(second+"/more?speed=kmh&with=1", "as evidence", "watch.gpx", `value="1" checked`, "kmh\" selected")
	for _, bad := range []string{"?with=99", "?with=2", "?with=x", "?speed=furlongs", "?low=3", "?low=30&high=20&in=kn", "?mass=9999", "?level=expert"} {
		if status, body := d.get(second + bad); status != http.StatusBadRequest || !strings.Contains(body, `role="alert"`) {
			t.Errorf("%s: status %d", bad, status)
		}
	}

	// The files come back byte for byte.
	for i, want := range [][]byte{outs[0].gpx, outs[0].csv} {
		if got := d.must(fmt.Sprintf("%s/file/%d", first, i)); got != string(want) {
			t.Errorf("file %d came back changed", i)
		}
		if _, _, h := d.do(d.request("GET", fmt.Sprintf("%s/file/%d", first, i), nil)); h.Get("Content-Length") != strconv.Itoa(len(want)) || h.Get("Accept-Ranges") != "bytes" {
			t.Errorf("file %d: headers %v", i, h)
		}
	}
	if got := d.must(first + "/setup/1"); got != outs[0].setup {
		t.Error("the setup came back changed")
	}

	// Side by side.
	d.must("/compare?id=2&id=1&", "Two sessions compared", "what the card did", "foretold")
	d.must("/compare.json?id=2&id=1", `"before_after"`)
	for _, bad := range []string{"", "?id=1", "?id=1&id=1", "?id=x&id=2"} {
		if status, _ := d.get("/compare" + bad); status != http.StatusBadRequest {
			t.Errorf("/compare%s: status %d", bad, status)
		}
	}

	// Deleting asks first, and leaves nothing of the session.
	d.must(first+"/delete", "cannot be undone", "watch.gpx")
	status, _, h := d.post(first+"/delete", url.Values{"token": {d.site.token}})
	if status != http.StatusSeeOther {
		t.Fatalf("delete: status %d", status)
	}
	if list := d.must(h.Get("Location"), "is deleted"); strings.Contains(list, first) {
		t.Error("the deleted session is still listed")
	}
	for _, p := range []string{first, first + "/file/0", first + "/setup", "/compare?id=1&id=2", first + "/result.json"} {
		if status, _ := d.get(p); status != http.StatusNotFound {
			t.Errorf("%s after deletion: status %d", p, status)
		}
	}
	pages := 0
	d.site.pages.forget(func(p *kept) bool {
		if slices.Contains(p.ids, 1) {
			pages++
		}
		return false
	})
	if got := fileCount(t, d.site.store.folder()); got != 3 || pages != 0 || fileCount(t, d.site.store.incoming()) != 0 {
		t.Errorf("after deletion %d files and %d kept pages of the session are left, want 3 (a log, a setup, the sidecar) and 0", got, pages)
	}
	d.must(second)
}

// TestRefusals: what cannot be read is refused with the reason, listed, and
// leaves nothing behind.
func TestRefusals(t *testing.T) {
	t.Parallel()
	d := open(t, Config{MaxUpload: 4 << 20})
	o := outings()[0]
	gpx, toml := piece{"logs", "watch.gpx", string(o.gpx)}, piece{"setup_file", "setup.toml", o.setup}
	foreign := "t,accel_x,accel_y,accel_z,gyro_x,gyro_y,gyro_z\n"
	for i := range 300 {
		foreign += fmt.Sprintf("%d,0.1,0.2,%.2f,0.01,0.02,0.03\n", 1758362400000000000+int64(i)*20_000_000, 9.8+0.01*float64(i%3))
	}
	cases := []struct {
		name   string
		pieces []piece
		status int
		says   string
	}{
		{"nothing", nil, 422, "There is nothing to analyse"},
		{"no file chosen", []piece{{"setup", "", "  \r\n"}}, 422, "There is nothing to analyse"},
		{"garbage", []piece{gpx, {"logs", "photo.jpg", "\xff\xd8\xff\xe0 not a log"}, toml}, 422, "photo.jpg"},
		{"empty file", []piece{{"logs", "empty.csv", ""}}, 422, "empty.csv: the file is empty"},
		{"unknown key", []piece{gpx, {"setup", "", strings.Replace(o.setup, "mass_kg", "mas_kg", 1)}}, 422, "mass_kg"},
		{"two setups", []piece{gpx, toml, {"setup", "", o.setup + "#"}}, 422, "two setups"},
		{"two setup files", []piece{gpx, toml, {"logs", "other.toml", o.setup}}, 422, "give each its own on its page"},
		{"twice the same log", []piece{gpx, {"logs", "copy.gpx", string(o.gpx)}}, 422, "the very same bytes"},
		{"setup alone", []piece{toml}, 422, "speeds that matter must be given"},
		{"bad speeds", []piece{gpx, {"low", "", "20"}, {"high", "", "10"}, {"in", "", "kn"}}, 422, "the lower one first"},
		{"foreign columns", []piece{{"logs", "phone.csv", foreign}}, 422, "A column map that may help"},
		{"too large", []piece{{"logs", "huge.csv", strings.Repeat("x", 7<<20)}}, 413, "larger than 4.0 MiB"},
	}
	for _, c := range cases {
		status, body, _ := d.upload(c.pieces...)
		if status != c.status || !strings.Contains(body, c.says) || !strings.Contains(body, `role="alert"`) {
			t.Errorf("%s: status %d, want %d and %q\n%.2500s", c.name, status, c.status, c.says, body)
		}
		if strings.Contains(body, d.site.store.incoming()) {
			t.Errorf("%s: the answer tells a path of this disk", c.name)
		}
	}
	// What is wrong with the form alone is no refusal: the files wait for it.
	list := d.must("/", "Uploads that were refused", "photo.jpg", "huge.csv", "The library is empty")
	if n := strings.Count(list, "<dt>") + len(d.site.held); n != len(cases) || len(d.site.held) != 4 {
		t.Errorf("%d refusals are listed and %d uploads held, want %d together", n-len(d.site.held), len(d.site.held), len(cases))
	}
	for name := range d.site.held {
		d.site.drop(name)
	}
	if n := fileCount(t, d.site.store.folder()) + fileCount(t, d.site.store.incoming()); n != 0 {
		t.Errorf("%d files are left", n)
	}
	// What was typed is not lost.
	_, body, _ := d.upload(piece{"setup", "", "[rider]\nmass_kg = -1\n"}, piece{"low", "", "12,5"})
	if !strings.Contains(body, "mass_kg = -1") || !strings.Contains(body, `value="-1"`) || !strings.Contains(body, `value="12,5"`) {
		t.Error("the refused form lost what was typed")
	}
	_, body, _ = d.upload(gpx, piece{"logs", "copy.gpx", string(o.gpx)}, piece{"low", "", "12,5"}, piece{"rider.mass_kg", "", "81"})
	if !strings.Contains(body, "the very same bytes") || !strings.Contains(body, `value="12,5"`) || !strings.Contains(body, `value="81"`) {
		t.Errorf("a bad file lost what was typed\n%s", body)
	}
	d.post("/refused", url.Values{"token": {d.site.token}})
	if strings.Contains(d.must("/"), "refused") {
		t.Error("the list of refusals is not cleared")
	}

	// An upload that breaks off.
	whole, kind := formOf(d.site.token, gpx)
	req := d.request("POST", "/add", bytes.NewReader(whole.Bytes()[:whole.Len()/2]))
	req.Header.Set("Content-Type", kind)
	if status, body, _ := d.do(req); status != 422 || !strings.Contains(body, "broke off") {
		t.Errorf("cut upload: status %d", status)
	}
	// A column map makes the foreign file readable.
	if text := d.site.proposed(t, foreign); text != "" {
		at := d.added(piece{"logs", "phone.csv", foreign}, piece{"logs", "phone.map.toml", text})
		d.must(at)
		d.added(piece{"logs", "phone2.csv", foreign + "\n"}, piece{"map", "", text})
	} else {
		t.Error("no column map is proposed")
	}
}

var proposal = regexp.MustCompile(`(?s)<pre tabindex="0">(.*?)</pre>`)

// proposed is the map that the page proposes for a foreign CSV.
func (s *Site) proposed(t *testing.T, csv string) string {
	d := &desk{t: t, site: s}
	srv := httptest.NewServer(s.Handler())
	defer srv.Close()
	d.url = srv.URL
	_, body, _ := d.upload(piece{"logs", "phone.csv", csv})
	m := proposal.FindStringSubmatch(body)
	if m == nil {
		return ""
	}
	return strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&lt;", "<", "&gt;", ">", "&#43;", "+", "&amp;", "&").Replace(m[1])
}

// TestNotAsNamed: a text called GPX is no CSV that a column map would help.
func TestNotAsNamed(t *testing.T) {
	d := open(t, Config{})
	for name, text := range map[string]string{"diary.gpx": "Dear diary, today the wind was fine.\n", "junk.fit": "\x8f\x03\xfe,\x01\xab\xcdZ;q\n\x99"} {
		status, body, _ := d.upload(piece{"logs", name, text})
		if status != 422 || !strings.Contains(body, name+": is ") || strings.Contains(body, "olumn map makes") || strings.Contains(body, "Z;q") {
			t.Errorf("%s: status %d\n%s", name, status, body)
		}
	}
}

// TestIdleMap: a column map that maps nothing is told on the sheet.
func TestIdleMap(t *testing.T) {
	d := open(t, Config{})
	at := d.added(piece{"logs", "watch.gpx", string(outings()[0].gpx)}, piece{"logs", "other.map.toml", `t = { column = "t", unit = "s" }`})
	d.must(at, "other.map.toml is of no log")
	ses := session{Files: placed([]stored{{Kind: kindLog, Name: "a.csv"}, {Kind: kindLog, Name: "b.csv"}, {Kind: kindMap, Name: "any.map.toml", Hash: "1"}})}
	if idle := ses.idleMaps(); len(idle) > 0 {
		t.Errorf("a map for two logs is idle: %q", idle)
	}
}

// TestOutingIsItsLogs: the same logs under other names, packed, or with another
// setup are not added again, and sessions that share a log are no evidence for
// each other and no comparison.
func TestOutingIsItsLogs(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	d.idle()
	o := outings()[0]
	at := d.added(o.pieces()...)
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	z.Write(o.csv)
	z.Close()
	heavier := strings.Replace(o.setup, "mass_kg = 72", "mass_kg = 75", 1)
	for _, again := range [][]piece{
		{{"logs", "a.gpx", string(o.gpx)}, {"logs", "b.csv.gz", packed.String()}, {"setup", "", heavier}},
		{{"logs", "watch.gpx", string(o.gpx)}},
	} {
		if status, body, _ := d.upload(again...); status != 200 || !strings.Contains(body, "in the library already") || !strings.Contains(body, at) {
			t.Errorf("the same outing again: status %d", status)
		}
	}
	// One of its logs with one that is new is a session, but no evidence.
	part := d.added(piece{"logs", "watch.gpx", string(o.gpx)}, piece{"logs", "other.csv", string(o.csv) + "# another\n"}, piece{"setup", "", heavier})
	if status, body := d.get(at + "?with=2"); status != 400 || !strings.Contains(body, "counts only once") {
		t.Errorf("evidence of the same log: status %d", status)
	}
	if strings.Contains(d.must(at+"/more"), `name="with"`) {
		t.Errorf("%s is offered as evidence", part)
	}
	if status, body := d.get("/compare?id=1&id=2"); status != 400 || !strings.Contains(body, "the very same log") {
		t.Errorf("a comparison with itself: status %d", status)
	}
	d.must("/health", "ok")
	d.must("/version", "test")
}

// TestUploadBesideAnalyses: an upload is taken while all workers are busy, and
// one more than the bound is told to come again.
func TestUploadBesideAnalyses(t *testing.T) {
	d := open(t, Config{})
	d.idle()
	d.added(piece{"logs", "watch.gpx", string(outings()[0].gpx)})
	for range uploadsMost {
		d.site.uploads <- struct{}{}
	}
	if status, body, _ := d.upload(piece{"logs", "watch.gpx", string(outings()[1].gpx)}); status != 503 || !strings.Contains(body, "try again") {
		t.Errorf("one upload too many: status %d", status)
	}
	for range uploadsMost {
		<-d.site.uploads
	}
}

// TestConcurrentUploads: the same outing from four windows is one session, and
// four others are four.
func TestConcurrentUploads(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	gpx := string(outings()[0].gpx)
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			body := gpx
			if i%2 == 1 {
				body += fmt.Sprintf("<!-- %d -->\n", i)
			}
			b, kind := formOf(d.site.token, piece{"logs", "watch.gpx", body})
			req, err := http.NewRequest("POST", d.url+"/add", b)
			if err != nil {
				t.Error(err)
				return
			}
			req.Header.Set("Content-Type", kind)
			res, err := once.Do(req)
			if err != nil {
				t.Error(err)
				return
			}
			io.Copy(io.Discard, res.Body)
			res.Body.Close()
			if res.StatusCode != 303 && res.StatusCode != 200 {
				t.Errorf("upload %d: status %d", i, res.StatusCode)
			}
			if res, err := once.Get(d.url + "/"); err == nil {
				io.Copy(io.Discard, res.Body)
				res.Body.Close()
			}
		})
	}
	wg.Wait()
	if all := d.site.store.sessions(); len(all) != 5 {
		t.Fatalf("%d sessions, want 5", len(all))
	}
	if n := fileCount(t, d.site.store.folder()); n != 10 {
		t.Errorf("%d files, want 5 logs and 5 sidecars", n)
	}
	d.settled()
	if n := fileCount(t, d.site.store.incoming()); n != 0 {
		t.Errorf("%d files are left in incoming", n)
	}
}

// TestRestart: the library outlives the process; a second process is told no;
// the rest of a broken upload goes; sheets are made anew.
func TestRestart(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "a library?#%20", "of mine")
	d := open(t, Config{Dir: dir})
	at := d.added(piece{"logs", "watch.gpx", string(outings()[0].gpx)})
	d.must(at, "watch")
	if _, err := Open(Config{Dir: dir}); err == nil || !strings.Contains(err.Error(), "in use by another evenfoot") {
		t.Errorf("a second server on the library: %v", err)
	}
	old := d.site.token
	if err := d.site.Close(context.Background()); err != nil {
		t.Fatal(err)
	}
	left := filepath.Join(dir, "incoming", "upload-1")
	if err := os.WriteFile(left, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	stray := filepath.Join(dir, "sessions", "notes", "abcd")
	if err := errors.Join(os.MkdirAll(filepath.Dir(stray), 0o700), os.WriteFile(stray, nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	var said []string
	d = open(t, Config{Dir: dir, Warn: func(f string, a ...any) { said = append(said, fmt.Sprintf(f, a...)) }})
	if _, err := os.Stat(left); err == nil {
		t.Error("the rest of a broken upload is still there")
	}
	if _, err := os.Stat(stray); err != nil || len(said) != 1 {
		t.Errorf("a file without a session must stay and be told of: %v, %q", err, said)
	}
	d.must("/", "1 session,", "watch", "No setup")
	d.must(at, "watch")
	// What another version made is marked, and made anew by itself.
	if err := d.site.Close(context.Background()); err != nil {
		t.Fatal(err)
	}
	side := filepath.Join(dir, "sessions", "1", sidecarName)
	b, err := os.ReadFile(side)
	other := bytes.ReplaceAll(b, []byte(`"made": "test"`), []byte(`"made": "old"`))
	if err != nil || bytes.Equal(b, other) || os.WriteFile(side, other, 0o600) != nil {
		t.Fatal(err, string(b))
	}
	d = open(t, Config{Dir: dir, Warn: func(string, ...any) {}})
	d.settled()
	if status, _, _ := d.post(at+"/delete", url.Values{"token": {old}}); status != 403 {
		t.Errorf("the token of the process before: status %d", status)
	}
	if err := os.Remove(filepath.Join(dir, "sessions", "1", "watch.gpx")); err != nil {
		t.Fatal(err)
	}
	d.must(at) // a kept sheet needs no log
	if status, body := d.get(at + "?speed=mps"); status != 422 || !strings.Contains(body, "no longer in the data folder") {
		t.Errorf("a lost file: status %d\n%.1500s", status, body)
	}
}

// TestHostileNames: markup and direction marks in names do nothing.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	alone(t)
	d := open(t, Config{})
	const name, rider = `<script>alert(1)</script>`, `<img src=x onerror=alert(2)>`
	toml := regexp.MustCompile(`(?m)^title = .*`).ReplaceAllString(outings()[0].setup, `title = "`+name+`\u202e evil"`)
	toml = regexp.MustCompile(`(?m)^name = .*`).ReplaceAllString(toml, `name = "`+rider+`"`)
	at := d.added(piece{"logs", `..\..\etc\<xmp>` + "\u202ewatch.gpx", string(outings()[0].gpx)}, piece{"setup", "", toml})
	d.upload(piece{"logs", name, "no log"})
	for _, p := range []string{"/", "/riders", "/add", at, at + "/more", at + "/delete", at + "/setup", "/?rider=" + url.QueryEscape(rider), at + "?name=" + url.QueryEscape(rider) + "&mass=90"} {
		body := d.must(p)
		for _, bad := range []string{name, rider, "<xmp>", "etc\\"} {
			if strings.Contains(body, bad) {
				t.Errorf("%s holds %q as it came", p, bad)
			}
		}
		if strings.ContainsRune(body, '\u202e') && p != at+"/setup" && p != "/add" {
			t.Errorf("%s holds a mark that turns the reading direction", p)
		}
	}
	_, _, h := d.do(d.request("GET", at+"/file/0", nil))
	if c := h.Get("Content-Disposition"); !strings.HasPrefix(c, "attachment") || strings.ContainsAny(c, "\r\n/\\") {
		t.Errorf("the file is offered as %q", c)
	}
	entries, err := os.ReadDir(d.site.store.dir)
	if err != nil || slices.ContainsFunc(entries, func(e os.DirEntry) bool {
		return !slices.Contains([]string{"sessions", "incoming", "lock", "settings.json"}, e.Name())
	}) {
		t.Errorf("the data folder holds %v, %v", entries, err)
	}
}

// TestNoFlight: a log without a flight is kept, its page says what is missing,
// and the speeds given there make a sheet.
func TestNoFlight(t *testing.T) {
	t.Parallel()
	alone(t)
	sc := simulate.Demo()[0]
	sc.Duration, sc.GPSRate, sc.IMURate, sc.SpeedLow, sc.SpeedHigh = 200, 1, 50, 1, 1.2
	var gpx bytes.Buffer
	if err := write.GPX(&gpx, simulate.Run(sc).GPSLog); err != nil {
		t.Fatal(err)
	}
	d := open(t, Config{})
	at := d.added(piece{"logs", "watch.gpx", gpx.String()}, piece{"setup", "", outings()[0].setup})
	status, body := d.get(at)
	if status != 422 || !strings.Contains(body, "no speed is known") && !strings.Contains(body, "No speed is known") || !strings.Contains(body, at+"/more") {
		t.Errorf("status %d\n%.2000s", status, body)
	}
	d.must("/", "Could not be analysed")
	d.must(at+"?low=12&high=22&in=kn", "What to do next")
}

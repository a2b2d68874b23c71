package site

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// TestPages: a long list is shown a page at a time, and searched, without a script.
func TestPages(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	st := openShelf(t, dir)
	for n := range 2*listed + 5 {
		name := "Odalys"
		if n%10 == 0 {
			name = "Bo & Co"
		}
		if _, err := st.put(track(60*n), strings.Replace(titled(t, n), "[rider]", fmt.Sprintf("[rider]\nname = %q", name), 1)); err != nil {
			t.Fatal(err)
		}
	}
	st.close()
	d := open(t, Config{Dir: dir})
	d.idle()
	titles := regexp.MustCompile(`title \d+</bdi></a><span`)
	follow := func(at, link string) string {
		t.Helper()
		m := regexp.MustCompile(`formaction="/" name="page" value="(\d+)">` + link).FindStringSubmatch(d.must(at))
		if m == nil {
			t.Fatalf("%s has no button %q", at, link)
		}
		_, query, _ := strings.Cut(at, "?")
		form, err := url.ParseQuery(query)
		if err != nil {
			t.Fatal(err)
		}
		form.Set("page", m[1])
		return "/?" + form.Encode()
	}
	seen := map[string]int{}
	at := "/"
	for i := range 3 {
		for _, m := range titles.FindAllString(d.must(at, "105 sessions", fmt.Sprintf("here %d to", i*listed+1)), -1) {
			seen[m]++
		}
		if i < 2 {
			at = follow(at, "Older sessions")
		}
	}
	if len(seen) != 105 || strings.Contains(d.must(at), "Older sessions") || follow(at, "Newer sessions") != "/?page=2" {
		t.Errorf("%d sessions are on three pages, of 105", len(seen))
	}
	for find, want := range map[string]int{
		"title+7": 1, "TITLE+104": 1, "2026-05-02": 24, "2+may": 24 + 1, "odalys": 94, "odalys+title+11": 1, "odalys+title+10": 0, "bo+%26": 11, "nothing": 0,
	} {
		body := d.must("/?q="+find, "Show all")
		if !strings.Contains(body, fmt.Sprintf("%d session", want)) {
			t.Errorf("a search for %s finds %q, want %d", find, regexp.MustCompile(`\d+ sessions?,`).FindString(body), want)
		}
	}
	older := follow("/?q=odalys", "Older sessions")
	if s := d.must(older, "here 51 to 94", `value="odalys"`); strings.Contains(s, "Bo &amp; Co</bdi></td>") {
		t.Error("the second page of a search shows what was not looked for")
	}
	// What is ticked stays so on other pages and in a search, where it can be unticked.
	ids := regexp.MustCompile(`name="id" value="(\d+)">`).FindAllStringSubmatch(d.must("/"), 2)
	for at, ticked := range map[string][2]bool{"/?": {true, true}, "/?page=2&": {}, "/?q=nothing&": {}, "/?q=title+104&": {true}} {
		body := d.must(at + "id=" + ids[0][1] + "&id=" + ids[1][1])
		list, also, _ := strings.Cut(body, "Ticked elsewhere")
		for k, here := range ticked {
			box := `name="id" value="` + ids[k][1] + `" checked`
			if strings.Contains(list, box) != here || strings.Contains(also, box) == here {
				t.Errorf("%s: session %s is not ticked where it is, or is so twice", at, ids[k][1])
			}
		}
		if strings.Contains(at, "q=") && !strings.Contains(list, `formaction="/" name="all" value="1">Show all`) {
			t.Errorf("%s: the way back to all is no button of the form that holds the ticks", at)
		}
	}
	// What else the form holds goes with the list that is left.
	for query, want := range map[string]string{"all=1": "/?id=2&id=7", "of=Bo+%26+Co": "/?id=2&id=7&rider=Bo+%26+Co", "of=": "/?id=2&id=7&rider="} {
		if _, _, h := d.do(d.request("GET", "/?rider=Odalys&q=x&id=2&id=7&"+query, nil)); h.Get("Location") != want {
			t.Errorf("%s leads to %q, want %q", query, h.Get("Location"), want)
		}
	}
	d.must("/?page=99", "here 101 to 105")
	d.must("/?page=-1", "here 1 to 50")
}

// TestUnnamed: those without a rider's name are a list of their own on all its pages,
// and Enter finds within it.
func TestUnnamed(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	st := openShelf(t, dir)
	for n := range 61 {
		text := ""
		if n == 30 {
			text = strings.Replace(titled(t, n), "[rider]", "[rider]\nname = \"Odalys\"", 1)
		}
		if _, err := st.put(track(60*n), text); err != nil {
			t.Fatal(err)
		}
	}
	st.close()
	d := open(t, Config{Dir: dir})
	d.idle()
	body := d.must("/?rider=", "60 sessions", "Older sessions", "<b><bdi>no name</bdi></b>", `name="of" value="Odalys"`)
	form := body[strings.Index(body, `<form action="/compare"`):]
	if !strings.Contains(form, `<input type="hidden" name="rider" value="">`) {
		t.Error("the next page, and what is found, are of everybody")
	}
	if first := form[strings.Index(form, "<button"):]; !strings.HasPrefix(first[strings.Index(first, ">"):], ">Find<") {
		t.Errorf("Enter presses %.200s", first)
	}
	if strings.Contains(d.must("/?q=odalys"), "<b><bdi>no name") || strings.Contains(d.must("/"), `name="rider"`) {
		t.Error("a list of no rider is of those without a name")
	}
}

// TestNothingStale: the line of a session is made anew when the evidence for it,
// or the units of its words, are others than they were.
func TestNothingStale(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	d.added(outings()[1].watched()...)
	d.settled()
	line := func() string {
		ses, err := d.site.store.session(1)
		if err != nil || ses.Summary == nil || d.site.stale(ses) != "" {
			t.Fatalf("the line is not made: %+v, %v", ses, err)
		}
		return ses.Summary.Basis
	}
	alone := line()
	d.added(outings()[0].watched()...) // ridden before
	if ses, err := d.site.store.session(1); err != nil || d.site.stale(ses) == "" {
		t.Errorf("the line is not marked, %v", err)
	}
	d.settled()
	both := line()
	if both == alone {
		t.Error("the line does not rest on the earlier session")
	}
	d.post("/units", url.Values{"token": {d.site.token}, "speed": {"kmh"}, "length": {"in"}, "weight": {"lb"}})
	d.settled()
	if ses, _ := d.site.store.session(1); line() == both || strings.Contains(ses.Summary.Next, " cm") {
		t.Errorf("in other units it says %q", ses.Summary.Next)
	}
	d.post("/units", url.Values{"token": {d.site.token}, "speed": {"kn"}, "length": {"cm"}, "weight": {"kg"}})
	d.post("/session/2/delete", url.Values{"token": {d.site.token}})
	d.settled()
	if line() != alone {
		t.Error("the line rests on what was deleted")
	}
}

// TestLog: the server's log tells of uploads, pages and failures, and of no key and
// no place.
func TestLog(t *testing.T) {
	var log syncBuffer
	d := open(t, Config{Locked: true, Log: slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{ReplaceAttr: func(_ []string, a slog.Attr) slog.Attr {
		if a.Key == slog.TimeKey {
			return slog.Attr{} // its digits may be those of a place
		}
		return a
	}}))})
	key := d.site.Key()
	ask := func(method, path string) {
		req := d.request(method, path, nil)
		req.AddCookie(&http.Cookie{Name: keyCookie(req.Host), Value: key})
		d.do(req)
	}
	ask("GET", "/session/7?key="+key)
	ask("GET", "/key/"+key+"x")
	ask("GET", "/key/"+key)
	d.get("/")
	body, kind := formOf(d.site.token, piece{"logs", "watch.gpx", track(1)})
	req := d.request("POST", "/add", body)
	req.Header.Set("Content-Type", kind)
	req.AddCookie(&http.Cookie{Name: keyCookie(req.Host), Value: key})
	if status, _, _ := d.do(req); status != http.StatusSeeOther {
		t.Fatal(status)
	}
	for i := 0; i < 200 && !strings.Contains(log.String(), "page made"); i++ {
		time.Sleep(20 * time.Millisecond)
	}
	said := log.String()
	for _, want := range []string{"status=404", "status=401", "GET /session/{id}", "There is no such session", "msg=upload session=1", `msg="page made" sessions=[1]`, "took="} {
		if !strings.Contains(said, want) {
			t.Errorf("the log does not say %q:\n%s", want, said)
		}
	}
	for _, bad := range []string{key, d.site.token, "54.0", "8.0", filepath.Base(d.site.store.dir) + "/"} {
		if strings.Contains(said, bad) {
			t.Errorf("the log tells %q:\n%s", bad, said)
		}
	}
}

// A syncBuffer takes what several write at a time.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *syncBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *syncBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

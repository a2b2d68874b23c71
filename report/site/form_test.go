package site

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"net"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"evenfoot/analysis/simulate"
	"evenfoot/ingest/write"
	"evenfoot/report/form"
)

var inputs = regexp.MustCompile(`<input type="text" id="f-[^"]*" name="([^"]*)" value="([^"]*)"|<select id="f-[^"]*" name="([^"]*)"[^>]*>.*?</select>`)
var chosen = regexp.MustCompile(`<option value="([^"]*)" selected`)

// fields are what the setup's form on a page holds.
func fields(page string) form.Fields {
	f := form.Fields{}
	for _, m := range inputs.FindAllStringSubmatch(page, -1) {
		name, value := m[1], m[2]
		if m[3] != "" {
			name = m[3]
			if c := chosen.FindStringSubmatch(m[0]); c != nil {
				value = c[1]
			}
		}
		if value != "" {
			f[name] = html.UnescapeString(value)
		}
	}
	return f
}

func pieces(f form.Fields, more ...piece) []piece {
	for k, v := range f {
		more = append(more, piece{k, "", v})
	}
	return more
}

// TestCorrectSetup: a session without a setup gets one, then a better one; a
// bad one changes nothing; two windows cannot overwrite each other.
func TestCorrectSetup(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	o := outings()[0]
	at := d.added(piece{"logs", "watch.gpx", string(o.gpx)})
	d.must(at)
	d.must("/", "Add a setup", "No setup")
	if s := d.must("/setup.toml?rig=kite"); !strings.Contains(s, `kind = "kite"`) {
		t.Error("the saved template is not that of the rig")
	}
	send := func(text, version string) (int, string) {
		more := []piece{{"setup", "", text}, {"version", "", version}}
		if text == "" {
			more = append(more, piece{"none", "", "1"})
		}
		status, body, _ := d.send(at+"/setup", more...)
		return status, body
	}
	if status, body := send("[rider]\nmass_kg = 80\nwieght = 3\n", "0"); status != 422 || !strings.Contains(body, "wieght") || !strings.Contains(body, "Nothing was changed") {
		t.Errorf("a bad setup: status %d", status)
	}
	if status, body := send(strings.ReplaceAll(o.setup, "\n", "\r\n"), "0"); status != 303 {
		t.Fatalf("a good setup: status %d\n%s", status, body)
	}
	d.must(at, "What to do next")
	if status, body := send(o.setup, "0"); status != 422 || !strings.Contains(body, "changed elsewhere") {
		t.Errorf("a form from before: status %d", status)
	}
	// By the fields, with a decimal comma.
	f := fields(d.must(at + "/setup"))
	if f["rider.mass_kg"] != "72" || f["feel.0.front"] == "" {
		t.Fatalf("the form holds %v", f)
	}
	f["rider.mass_kg"], f["version"] = "101,5", "1"
	if status, body, _ := d.send(at+"/setup", pieces(f)...); status != 303 {
		t.Fatalf("a corrected setup: status %d\n%s", status, body)
	}
	d.must(at, "102")
	if s := d.must(at+"/setup", "Version 2", `value="101.5"`); !strings.Contains(s, "Version 1") || d.must(at+"/setup/1") != o.setup {
		t.Error("the earlier text is lost")
	}
	// The next session begins with this one's setup, without what was felt.
	next := fields(d.must("/add?from=1"))
	if next["rider.mass_kg"] != "101.5" || next["feel.0.front"] != "" || next["title"] != "" {
		t.Errorf("the next begins with %v", next)
	}
	if status, _ := send("", "2"); status != 303 {
		t.Errorf("no setup any more: status %d", status)
	}
	d.must(at)
	for i := 0; !strings.Contains(d.must("/", "Add a setup"), "No setup"); i++ {
		if i == 100 {
			t.Fatal("the list does not say that there is no setup")
		}
		time.Sleep(50 * time.Millisecond)
	}

	if status, _ := send(o.setup, "3"); status != 303 || d.must(at+"/setup/3") != "" || d.must(at+"/setup/4") != o.setup {
		t.Errorf("the version without a setup is another; status %d", status)
	}

	// A setup without a log must keep its setup.
	at = d.added(piece{"setup", "", o.setup}, piece{"low", "", "12"}, piece{"high", "", "22"}, piece{"in", "", "kn"})
	d.must(at, "What to do next")
	if status, _ := send("", "1"); status != 422 {
		t.Errorf("a session of nothing: status %d", status)
	}
}

var heldField = regexp.MustCompile(`name="held" value="([^"]+)"`)

// TestForm: a session is added by the fields; what is wrong stands beside each
// without script, while one types with it; the logs wait meanwhile; and the TOML
// goes in and out.
func TestForm(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	o := outings()[0]
	f, err := form.Read([]byte(o.setup))
	if err != nil {
		t.Fatal(err)
	}
	f["rider.mass_kg"], f["foil.mast_cm"], f["feel.1.front"] = "", "eighty", "sideways"
	status, body, _ := d.upload(pieces(f, piece{"logs", "watch.gpx", string(o.gpx)})...)
	for _, want := range []string{"3 fields need another look", `id="f-rider-mass_kg-e">This is needed`, `“eighty” is no number`, `href="#f-feel-1-front"`, "Here already: watch.gpx"} {
		if !strings.Contains(body, want) {
			t.Errorf("status %d, the form does not say %q", status, want)
		}
	}
	held := heldField.FindStringSubmatch(body)
	if status != 422 || held == nil {
		t.Fatalf("status %d, the logs are not held", status)
	}
	// The same while one types.
	q := url.Values{"token": {d.site.token}}
	for k, v := range f {
		q.Set(k, v)
	}
	_, reply, _ := d.post("/setup/check", q)
	var wrong []form.Problem
	if err := json.Unmarshal([]byte(reply), &wrong); err != nil || len(wrong) != 3 {
		t.Errorf("the check says %s, %v", reply, err)
	}
	// Mended: the logs come from before.
	f = fields(body)
	f["rider.mass_kg"], f["foil.mast_cm"], f["feel.1.front"] = "72,5", "85", "even"
	q = url.Values{"token": {d.site.token}}
	for k, v := range f {
		q.Set(k, v)
	}
	status, toml, h := d.post("/setup.toml", q)
	if status != 200 || !strings.Contains(toml, "mass_kg = 72.5") || !strings.Contains(h.Get("Content-Disposition"), "setup.toml") {
		t.Errorf("the TOML: status %d\n%s", status, toml)
	}
	f["held"] = held[1]
	status, body, h = d.send("/add", pieces(f)...)
	if status != 303 {
		t.Fatalf("the mended form: status %d\n%.3000s", status, body)
	}
	d.must(h.Get("Location"), "What to do next")
	if list := d.must("/"); strings.Contains(list, "refused") {
		t.Error("a form that was mended is listed as refused")
	}
	// TOML into the fields; nothing is kept.
	_, body, _ = d.send("/add", piece{"take", "", "1"}, piece{"setup_file", "setup.toml", toml}, piece{"logs", "watch.gpx", string(outings()[1].gpx)})
	if got := fields(body); got["rider.mass_kg"] != "72.5" || !strings.Contains(body, "Here already: setup.toml, watch.gpx") && !strings.Contains(body, "watch.gpx") {
		t.Errorf("the fields hold %v", got)
	}
	if _, body, _ = d.send("/session/1/setup", piece{"take", "", "1"}, piece{"version", "", "1"}, piece{"setup", "", "title = oops"}); !strings.Contains(body, "cannot be put into the form") || !strings.Contains(body, "title = oops") {
		t.Error("a text that is no TOML is lost, or taken")
	}
	if status, body, _ := d.send("/add", piece{"held", "", "x"}); status != 422 || !strings.Contains(body, "choose them again") {
		t.Errorf("files of no upload: status %d", status)
	}
	if n := len(d.site.store.sessions()); n != 1 {
		t.Errorf("%d sessions", n)
	}
}

// TestEnter: Enter in a field presses the first button of its form: that one keeps.
// The other buttons wipe nothing where they were given nothing.
func TestEnter(t *testing.T) {
	d := open(t, Config{})
	d.idle()
	o := outings()[0]
	at := d.added(o.pieces()...)
	first := regexp.MustCompile(`(?s)enctype="multipart/form-data".*?(<button[^>]*>)`)
	for _, page := range []string{"/add", at + "/setup"} {
		if m := first.FindStringSubmatch(d.must(page)); m == nil || strings.Contains(m[1], "name=") || strings.Contains(m[1], "formaction=") {
			t.Errorf("Enter on %s presses %q", page, m)
		}
	}
	f := fields(d.must(at + "/setup"))
	for _, page := range []string{"/add", at + "/setup"} {
		status, body, _ := d.send(page, pieces(f, piece{"take", "", "1"}, piece{"version", "", "1"})...)
		if got := fields(body); status != 422 || !strings.Contains(body, "hoose a file or give a text") || len(got) < len(f) {
			t.Errorf("%s, nothing to take: status %d, the fields hold %v", page, status, got)
		}
	}
	if status, body, _ := d.send(at+"/setup", piece{"version", "", "1"}); status != 422 || !strings.Contains(body, "The form is empty") {
		t.Errorf("an empty form: status %d", status)
	}
	if ses, err := d.site.store.session(1); err != nil || ses.Version != 1 || string(ses.Setup) != o.setup {
		t.Errorf("version %d, %v", ses.Version, err)
	}
	f["rider.mass_kg"] = "wrong"
	if status, _, _ := d.send(at+"/setup", pieces(f, piece{"none", "", "1"}, piece{"version", "", "1"})...); status != 303 {
		t.Errorf("without a setup, whatever the fields hold: status %d", status)
	}
}

// TestNothingDropped: what the fields cannot hold of a setup is told, and stays as
// text, whether it comes or is kept already.
func TestNothingDropped(t *testing.T) {
	d := open(t, Config{})
	d.idle()
	o := outings()[0]
	at := d.added(o.pieces()...)
	odd := strings.Replace(o.setup, "[rider]", "[rider]\nwieght_kg = 3", 1)
	if odd == o.setup {
		t.Fatal("the setup has no rider")
	}
	keeps := func(page, body string) {
		t.Helper()
		if text := html.UnescapeString(body); !strings.Contains(text, odd) || strings.Count(text, "wieght_kg") < 2 || !strings.Contains(text, "setup.toml:") || fields(body)["rider.mass_kg"] != "72" {
			t.Errorf("%s drops a key, or does not tell\n%.3000s", page, text)
		}
	}
	for _, page := range []string{"/add", at + "/setup"} {
		_, body, _ := d.send(page, piece{"take", "", "1"}, piece{"version", "", "1"}, piece{"setup_file", "setup.toml", odd})
		keeps(page, body)
	}
	ses, err := d.site.store.session(1)
	if err != nil {
		t.Fatal(err)
	}
	own := *ses
	own.Setup = []byte(odd)
	d.site.store.replace(1, &own) // as a folder that was changed by hand is read
	keeps("the kept one", d.must(at+"/setup"))
	if status, body := d.get("/add?from=1"); status < 400 || !strings.Contains(body, "wieght_kg") {
		t.Errorf("as a start: status %d", status)
	}
}

// TestHeld: what waits is bounded, and goes when it is dropped.
func TestHeld(t *testing.T) {
	d := open(t, Config{})
	for i := range heldMost + 3 {
		d.send("/add", piece{"logs", "watch.gpx", string(outings()[0].gpx) + fmt.Sprintf("<!-- %d -->", i)}, piece{"rider.mass_kg", "", "x"})
	}
	if n, files := len(d.site.held), fileCount(t, d.site.store.incoming()); n != heldMost || files != heldMost {
		t.Errorf("%d uploads and %d files wait, want %d", n, files, heldMost)
	}
}

// TestTwoTouches: a word at a speed, and what a moment meant, go into the setup,
// and the sheet is made anew from it.
func TestTwoTouches(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	o := outings()[0]
	o.setup = o.setup[:strings.Index(o.setup, "[[feel]]")]
	at := d.added(o.watched()...)
	sheet := d.must(at, "How did it feel", "What did these moments mean")
	for _, bad := range []string{`<meta http-equiv="Content-Security-Policy"`} {
		if strings.Contains(sheet, bad) {
			t.Errorf("the sheet holds %s", bad)
		}
	}
	note := func(version string, pairs ...string) (int, string) {
		q := url.Values{"token": {d.site.token}, "version": {version}}
		for i := 0; i < len(pairs); i += 2 {
			q.Set(pairs[i], pairs[i+1])
		}
		status, body, _ := d.post(at+"/note?speed=kmh", q)
		return status, body
	}
	if status, body := note("1", "speed", "30", "unit", "kmh", "front", "strong front"); status != 303 {
		t.Fatalf("a note: status %d\n%s", status, body)
	}
	if status, body := note("1", "speed", "30", "unit", "kmh", "front", "strong front"); status != 303 {
		t.Errorf("a double click: status %d\n%s", status, body)
	}
	if s := d.must(at, "30\u00a0km/h: strong front"); s == sheet {
		t.Error("the sheet is the same")
	}
	moment := regexp.MustCompile(`name="at" value="([0-9:]+)"`).FindStringSubmatch(sheet)
	if moment == nil {
		t.Fatal("no moment is asked about")
	}
	if status, _ := note("2", "at", moment[1], "front", "back"); status != 303 {
		t.Errorf("a moment: status %d", status)
	}
	d.must(at, `value="back" aria-pressed="true"`)
	if status, body := note("2", "speed", "30", "unit", "kmh", "front", "even"); status != 422 || !strings.Contains(body, "changed elsewhere") {
		t.Errorf("a second tap on an old page: status %d", status)
	}
	note("3", "speed", "30", "unit", "kmh", "front", "even") // the same speed: put right
	if s := d.must(at, "30\u00a0km/h: even"); strings.Contains(s, "30\u00a0km/h: strong front") {
		t.Error("two notes of one touch")
	}
	if status, _ := note("4", "forget", "0"); status != 303 {
		t.Errorf("taken away: status %d", status)
	}
	if status, body := note("4", "forget", "0"); status != 303 {
		t.Errorf("taken away by a double click: status %d\n%s", status, body)
	}
	if s := d.must(at); strings.Contains(s, "30\u00a0km/h: even") {
		t.Error("the note is still there")
	}
	for _, bad := range [][]string{{"speed", "30", "unit", "kmh", "front", "sideways"}, {"speed", "x", "unit", "kn", "front", "even"}, {"at", "noon", "front", "even"}, {"forget", "x.y"}} {
		if status, _ := note("5", bad...); status != 422 && status != 303 {
			t.Errorf("%q: status %d", bad, status)
		}
	}
	for _, bad := range [][]string{{"speed", "900", "unit", "kn", "front", "even"}, {"speed", "30", "unit", "kmh", "front", "sideways"}, {"speed", "", "unit", "kn", "front", "even"}} {
		_, body := note("5", bad...)
		body, _, _ = strings.Cut(body, "<footer")
		if !strings.Contains(body, `href="`+at+`?speed=kmh">Back to the sheet`) || regexp.MustCompile(`(?i)feel\.\d|number \d|speed_`).MatchString(body) {
			t.Errorf("%q is answered with\n%s", bad, body)
		}
	}
	if ses, err := d.site.store.session(1); err != nil || ses.Version > 6 {
		t.Errorf("version %d, %v", ses.Version, err)
	}
}

// coach's upload: two riders on one morning, one of them with a board logger, and
// the next day of the first; times are those of the simulation.
var morning = sync.OnceValue(func() (all []piece) {
	for i, c := range []struct {
		start time.Time
		lat   float64
		files string
	}{{time.Date(2026, 5, 2, 9, 0, 0, 0, time.UTC), 0, "gc"}, {time.Date(2026, 5, 2, 9, 1, 0, 0, time.UTC), 0.01, "g"}, {time.Date(2026, 5, 3, 9, 0, 0, 0, time.UTC), 0, "g"}} {
		sc := simulate.Demo()[0]
		sc.Seed += uint64(i)
		sc.Duration, sc.GPSRate, sc.IMURate = 900, 1, 50
		s := simulate.Run(sc)
		s.GPSLog.Start, s.IMULog.Start = c.start, c.start
		for k := range s.GPSLog.GPS.Lat {
			s.GPSLog.GPS.Lat[k] += c.lat
		}
		var gpx, csv bytes.Buffer
		if err := write.GPX(&gpx, s.GPSLog); err != nil {
			panic(err)
		}
		all = append(all, piece{"logs", fmt.Sprintf("watch%d.gpx", i+1), gpx.String()})
		if c.files == "gc" {
			if err := write.CSV(&csv, s.IMULog); err != nil {
				panic(err)
			}
			all = append(all, piece{"logs", "board.csv", csv.String()})
		}
	}
	return all
})

// listen asks for a page that is being made as events.
func (d *desk) listen(path string) *http.Response {
	d.t.Helper()
	req := d.request("GET", path, nil)
	req.Header.Set("Accept", "text/event-stream")
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		d.t.Fatal(err)
	}
	d.t.Cleanup(func() { res.Body.Close() })
	return res
}

// TestProgress: a page that is being made tells how far it is as events, and
// that it is done.
func TestProgress(t *testing.T) {
	d := open(t, Config{})
	at := d.added(outings()[0].watched()...)
	for _, when := range []string{"while it is made", "once it is"} {
		res := d.listen(at + "?low=10&high=20&in=kn")
		text, err := io.ReadAll(res.Body)
		if err != nil || res.Header.Get("Content-Type") != "text/event-stream" || !strings.HasPrefix(string(text), "data: ") || !strings.HasSuffix(string(text), "event: done\ndata: done\n\n") {
			t.Errorf("%s: %q, %v", when, text, err)
		}
		d.must(at+"?low=10&high=20&in=kn", "What to do next")
	}
}

// TestStopWhileWaiting: a page that waits does not hold up the end of the server.
func TestStopWhileWaiting(t *testing.T) {
	d := open(t, Config{})
	at := d.added(outings()[0].watched()...)
	d.settled()
	d.idle()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.site.Serve(ctx, ln) }()
	d.url = "http://" + ln.Addr().String()
	d.listen(at + "?low=10&high=20&in=kn")
	stop()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Error("the server goes on")
	}
}

var (
	hidden   = regexp.MustCompile(`(?s)<style.*?</style>|<script.*?</script>|<[^>]*>`)
	terminal = regexp.MustCompile(`evenfoot (report|compare|demo|inspect|setup|plan|export|serve|page|library)|(^|\s)--[a-z]+|[Tt]erminal|run the report|command line`)
)

// TestNoCommands: no page tells its reader to use a command.
func TestNoCommands(t *testing.T) {
	t.Parallel()
	alone(t)
	d := open(t, Config{})
	o := outings()[0]
	look := func(name, page string) {
		t.Helper()
		if m := terminal.FindString(html.UnescapeString(hidden.ReplaceAllString(page, " "))); m != "" {
			t.Errorf("%s says %q", name, m)
		}
	}
	d.added(o.pieces()...)
	d.added(piece{"logs", "watch.gpx", string(outings()[1].gpx)}) // no setup, no motion
	d.added(piece{"setup", "", o.setup}, piece{"low", "", "12"}, piece{"high", "", "22"}, piece{"in", "", "kn"})
	d.added(piece{"logs", "board.csv", string(outings()[1].csv)}, piece{"setup", "", o.setup}) // no speeds
	for _, p := range []string{"/", "/riders", "/add", "/add?from=1", "/session/1", "/session/1/more", "/session/1/setup", "/session/1/delete", "/session/2", "/session/3", "/session/4", "/session/1?low=1&high=2&in=mps", "/session/1?low=3&high=4&in=kn", "/compare?id=1&id=2", "/nothing"} {
		_, body := d.get(p)
		look(p, body)
	}
	for name, sent := range map[string][]piece{
		"nothing": nil, "a foreign table": {{"logs", "a.csv", "t,foo,bar\n1,2,3\n2,3,4\n3,4,5\n"}}, "half a setup": {{"setup", "", "[rider]\nmass_kg = 80\n"}}, "no speeds": {{"setup", "", o.setup}},
	} {
		_, body, _ := d.upload(sent...)
		look(name, body)
	}
	look("the list after that", d.must("/"))
}

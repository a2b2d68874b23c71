package site

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/simulate"
	"evenfoot/ingest/write"
	"evenfoot/report"
	"evenfoot/report/words"
)

func TestQueue(t *testing.T) {
	q := newQueue(2)
	var now, most, runs atomic.Int32
	hold := make(chan struct{})
	work := func(func(string)) (func(), error) {
		n := now.Add(1)
		for m := most.Load(); n > m && !most.CompareAndSwap(m, n); m = most.Load() {
		}
		runs.Add(1)
		<-hold
		now.Add(-1)
		return nil, nil
	}
	var tasks []*task
	for i := range waitingMost {
		task, err := q.start(string(rune('A'+i)), work)
		if err != nil {
			t.Fatal(err)
		}
		tasks = append(tasks, task)
	}
	if same, err := q.start("A", work); err != nil || same != tasks[0] {
		t.Errorf("the same work is queued twice (%v)", err)
	}
	if _, err := q.start("one more", work); !errors.Is(err, errBusy) {
		t.Errorf("a full queue says %v", err)
	}
	close(hold)
	for _, task := range tasks {
		<-task.done
	}
	if most.Load() > 2 || runs.Load() != waitingMost {
		t.Errorf("%d ran at a time, %d in all; want 2 and %d", most.Load(), runs.Load(), waitingMost)
	}

	// A fault in one task is an error of that task.
	task, err := q.start("fault", func(func(string)) (func(), error) { _ = tasks[len(tasks)]; return nil, nil })
	if err != nil {
		t.Fatal(err)
	}
	<-task.done
	if _, err := q.start("fault", work); err == nil || !strings.Contains(err.Error(), "fault") {
		t.Errorf("after a fault: %v", err)
	}

	// Nobody waits for the rest of one, but it has its worker.
	more, ended := make(chan struct{}), make(chan struct{})
	task, err = q.start("rest", func(func(string)) (func(), error) {
		return func() { defer close(ended); <-more; _ = tasks[len(tasks)] }, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	<-task.done
	if q.size() != 0 || len(q.slots) == 0 {
		t.Errorf("beside a rest there are %d tasks and %d workers at work", q.size(), len(q.slots))
	}
	close(more)
	<-ended

	block, begun := make(chan struct{}), make(chan struct{})
	if _, err := q.start("slow", func(func(string)) (func(), error) { close(begun); <-block; return nil, nil }); err != nil {
		t.Fatal(err)
	}
	<-begun
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	if err := q.stop(ctx); err == nil {
		t.Error("stopping did not tell of the work that was cut short")
	}
	if _, err := q.start("late", work); !errors.Is(err, errClosing) {
		t.Errorf("work after the end: %v", err)
	}
	close(block)
}

func TestLabel(t *testing.T) {
	for in, want := range map[string]string{
		`C:\logs\a.gpx`: "a.gpx", "../../etc/passwd": "passwd", "": "unnamed", "\u202e\x00": "unnamed", "é ü.csv": "é ü.csv",
		strings.Repeat("x", 300) + ".gpx": strings.Repeat("x", 100) + "…" + strings.Repeat("x", 15) + ".gpx",
	} {
		if got := fileLabel(in); got != want {
			t.Errorf("%.40q becomes %q, want %q", in, got, want)
		}
	}
}

// TestOptionsRoundTrip: the address of a sheet holds its options and nothing
// that is usual.
func TestOptionsRoundTrip(t *testing.T) {
	usual, err := words.ParseUnits("kmh,in,lb")
	if err != nil {
		t.Fatal(err)
	}
	o, err := optionsFrom(nil, usual)
	if err != nil || o.query(usual) != "" {
		t.Errorf("the usual sheet has the query %q, %v", o.query(usual), err)
	}
	q, err := url.ParseQuery("with=7&with=3&with=7&speed=kn&low=12,5&high=22&in=kn&mass=80&massin=kg&height=70&coordinates=1")
	if err != nil {
		t.Fatal(err)
	}
	o, err = optionsFrom(q, usual)
	if err != nil {
		t.Fatal(err)
	}
	if len(o.With) != 2 || o.With[0] != 3 || o.Other.text() != "mass=80kg,height=70in" || o.Length != "in" {
		t.Errorf("read %+v", o)
	}
	again, err := url.ParseQuery(strings.TrimPrefix(o.query(usual), "?"))
	if err != nil {
		t.Fatal(err)
	}
	p, err := optionsFrom(again, usual)
	if err != nil || p.query(usual) != o.query(usual) {
		t.Errorf("%q becomes %q, %v", o.query(usual), p.query(usual), err)
	}
}

// TestLightComparison: results without their samples compare as whole ones do.
func TestLightComparison(t *testing.T) {
	t.Parallel()
	alone(t)
	d := open(t, Config{})
	d.idle()
	var whole, light []*analysis.Result
	for i, o := range outings() {
		d.added(o.pieces()...)
		ses, err := d.site.store.session(int64(i + 1))
		if err != nil {
			t.Fatal(err)
		}
		set, _, err := ses.parseSetup()
		if err != nil {
			t.Fatal(err)
		}
		r, err := d.site.analyse(ses, set, nil, options{}, nil, func(string) {})
		if err != nil {
			t.Fatal(err)
		}
		whole, light = append(whole, r), append(light, r.Light())
	}
	page := func(rs []*analysis.Result) string {
		c, err := analysis.Compare(rs)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := report.CompareHTML(&b, c, report.Options{}); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	if page(light) != page(whole) {
		t.Error("the page of the light results differs")
	}
}

// TestForeseen: what a rider's two sessions tell beside each other is worked out
// before anybody compares them, by the same logs and never twice, and is what a
// comparison without it shows.
func TestForeseen(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	for _, o := range outings() {
		d.added(o.watched()...)
	}
	count := func() (n int) {
		d.site.laters.forget(func(*analysis.Later) bool { n++; return false })
		return n
	}
	for range 300 {
		if count() > 0 {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	const both = "/compare?id=1&id=2"
	page := d.must(both, "Two sessions compared")
	if n := count(); n != 1 {
		t.Errorf("%d pieces are kept, want the one foreseen", n)
	}
	d.site.pages.forget(func(*kept) bool { return true })
	d.site.laters.forget(func(*analysis.Later) bool { return true })
	d.site.lights.forget(func(*analysis.Result) bool { return true })
	if d.must(both) != page {
		t.Error("the page is another where nothing was foreseen")
	}
}

// TestRecent: the latest stay, and what is forgotten goes.
func TestRecent(t *testing.T) {
	m := newRecent[int](2)
	m.put("a", 1)
	m.put("b", 2)
	m.get("a")
	m.put("c", 3)
	for key, want := range map[string]bool{"a": true, "b": false, "c": true} {
		if _, ok := m.get(key); ok != want {
			t.Errorf("%s is held: %v, want %v", key, ok, want)
		}
	}
	m.forget(func(v int) bool { return v == 3 })
	if _, ok := m.get("c"); ok || len(m.held) != 1 {
		t.Error("what was to be forgotten is held")
	}
}

// TestForgottenWhileAsked: what is forgotten stays so, whoever asks for it meanwhile.
func TestForgottenWhileAsked(t *testing.T) {
	t.Parallel()
	m := newRecent[int](2)
	for range 50 {
		m.put("a", 1)
		var asking sync.WaitGroup
		var enough atomic.Bool
		for range 8 {
			asking.Go(func() {
				for !enough.Load() {
					m.get("a")
				}
			})
		}
		time.Sleep(time.Millisecond)
		m.forget(func(int) bool { return true })
		enough.Store(true)
		asking.Wait()
		if _, ok := m.peek("a"); ok {
			t.Fatal("what was forgotten is held again")
		}
	}
}

// watchFIT is the first outing's watch once more, as FIT.
func watchFIT(t *testing.T) piece {
	sc := simulate.Demo()[0]
	sc.Duration, sc.GPSRate, sc.IMURate = 900, 1, 50
	var fit bytes.Buffer
	if err := write.FIT(&fit, simulate.Run(sc).GPSLog); err != nil {
		t.Fatal(err)
	}
	return piece{"logs", "watch.fit", fit.String()}
}

// TestTwins: an outing that comes once more in another format is kept and said to
// seem one with the first, counts once as evidence, and counts by itself once the
// user says that they are two.
func TestTwins(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	defer d.idle()()
	os := outings()
	first := d.added(os[0].pieces()...)
	status, body, _ := d.upload(watchFIT(t), piece{"setup", "", os[0].setup})
	if status != 200 || !strings.Contains(body, "seems to be one outing with <a href=\""+first) || !strings.Contains(body, `href="/session/2"`) {
		t.Fatalf("status %d\n%s", status, body)
	}
	later := d.added(os[1].pieces()...)
	evidence := func() (ids string) {
		for _, m := range regexp.MustCompile(`name="with" value="(\d+)" checked`).FindAllStringSubmatch(d.must(later+"/more"), -1) {
			ids += m[1] + " "
		}
		return ids
	}
	if ids := evidence(); ids != "1 " {
		t.Errorf("of the two count as evidence %q, want that with both logs", ids)
	}
	for path, want := range map[string]string{first + "?with=2": "seem to be one outing", "/compare?id=1&id=2": "seem to be one outing"} {
		if status, body := d.get(path); status != 400 || !strings.Contains(body, want) {
			t.Errorf("%s: status %d\n%s", path, status, body)
		}
	}
	one, err := d.site.store.session(1)
	if err != nil {
		t.Fatal(err)
	}
	two, err := d.site.store.session(2)
	if err != nil {
		t.Fatal(err)
	}
	d.must("/riders", "3 sessions of 2 outings", `/compare?id=3&amp;id=1&amp;">The season`)
	if all := totalled([]*session{two, one}); len(all) != 1 || len(all[0].Outings) != 1 || all[0].Outings[0] != one {
		t.Errorf("a rider with the two has %+v", all)
	}
	nameless := *two
	nameless.Rider, nameless.known = "", nil
	if team := (view{Riders: totalled([]*session{&nameless, one})}).Team(); len(team) != 1 || team[0] != one {
		t.Errorf("side by side stand %v", team)
	}
	alike := *one
	alike.holds = one.holds[:1]
	if !one.stands(two) || two.stands(one) || !alike.stands(two) || two.stands(&alike) {
		t.Error("what counts is not that with more logs, or with as many not the first")
	}
	for name, change := range map[string]func(e *session){
		"another rider's":    func(e *session) { e.Rider = "Bo" },
		"one begun later":    func(e *session) { e.Files[0].From = e.Files[0].From.Add(2 * twinWithin) },
		"one ended earlier":  func(e *session) { e.Files[0].To = e.Files[0].To.Add(-2 * twinWithin) },
		"one of another bay": func(e *session) { e.Files[0].Spot = &place{e.Files[0].Spot.Lat + 0.3, e.Files[0].Spot.Lon} },
		"one without a date": func(e *session) { e.Start, e.Files[0].span = time.Time{}, span{} },
	} {
		e := *two
		e.Files = slices.Clone(e.Files)
		change(&e)
		if !two.seems(one) || e.seems(one) || one.seems(&e) {
			t.Errorf("%s seems to be the same outing, or the same does not", name)
		}
	}
	e := *two // of a version that noted no end
	f := e.Files[0].span
	e.Files, e.Summary = nil, &summary{Duration: f.To.Sub(f.From).Seconds()}
	if !e.seems(one) {
		t.Error("a twin is not known by its duration")
	}

	// Several at once are told so before they are kept.
	_, body, _ = d.upload(piece{"logs", "again.gpx", string(os[0].gpx) + "<!-- -->"}, piece{"logs", "new.gpx", track(3)})
	if !strings.Contains(body, "seems to be one outing with") {
		t.Errorf("the outings of an upload: %s", body)
	}

	d.post("/session/2/two", url.Values{"token": {d.site.token}, "other": {"1"}})
	if ids := evidence(); ids != "2 1 " {
		t.Errorf("%q count as evidence once the two are told apart", ids)
	}
	if err := d.site.Close(context.Background()); err != nil {
		t.Fatal(err)
	}
	d = open(t, Config{Dir: d.site.store.dir})
	if one, err = d.site.store.session(1); err != nil || len(d.site.twins(one)) != 0 {
		t.Errorf("the user's word is lost: %v", err)
	}
}

// TestTwoBoards: two watches that ran together on two boards of one beach came as two
// outings, and stay two.
func TestTwoBoards(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	d.idle()
	watch := func(lat float64) string {
		var b strings.Builder
		b.WriteString(`<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>`)
		for i := range 3 * placesLeast {
			at := time.Date(2026, 5, 1, 10, 0, trackStep*i, 0, time.UTC)
			fmt.Fprintf(&b, `<trkpt lat="%.6f" lon="8.0"><time>%s</time></trkpt>`, lat+float64(i)*5e-5, at.Format(time.RFC3339))
		}
		return b.String() + `</trkseg></trk></gpx>`
	}
	_, body, _ := d.upload(piece{"logs", "a.gpx", watch(54)}, piece{"logs", "b.gpx", watch(54.002)})
	held := heldField.FindStringSubmatch(body)
	if held == nil || !strings.Contains(body, "2 outings, as it seems") {
		t.Fatal(body)
	}
	if status, body, _ := d.post("/outings", url.Values{"token": {d.site.token}, "held": {held[1]}, "of.0": {"1"}, "of.1": {"2"}}); status != 303 {
		t.Fatalf("status %d\n%s", status, body)
	}
	all := d.site.store.sessions()
	if len(all) != 2 || all[0].countsOnce(all[1]) || all[1].countsOnce(all[0]) {
		t.Errorf("%d sessions, or they seem one", len(all))
	}
	if p := all[0].Files[0].Spot; p == nil || p.from(place{54, 8}) > 2000 {
		t.Errorf("the log was at %v", p)
	}
	a, b := *all[0], *all[1]
	a.Others, b.Others = nil, nil
	if !a.seems(&b) {
		t.Error("without a word they do not seem one: the test shows nothing")
	}
}

// TestMeasuredLaterInTheLibrary: what the second outing's setup measures holds for the
// first, in the comparison and on the sheet, as if it stood in both.
func TestMeasuredLaterInTheLibrary(t *testing.T) {
	t.Parallel()
	outs := outings()
	line := regexp.MustCompile(`(?m)^incidence_deg = .*\n`)
	stabilizer := strings.Index(outs[0].setup, "[foil.stabilizer]")
	left := outs[0]
	left.setup = outs[0].setup[:stabilizer] + line.ReplaceAllString(outs[0].setup[stabilizer:], "")
	if left.setup == outs[0].setup {
		t.Fatal("the first setup gives no angle")
	}
	ask := func(first outing) [2]string {
		d := open(t, Config{})
		d.added(first.watched()...)
		d.added(outs[1].watched()...)
		d.settled()
		_, compared := d.get("/compare.json?id=1&id=2")
		sheet := d.must("/session/2/result.json")
		if says := strings.Contains(d.must("/compare?id=1&id=2"), "Measured in one session and taken for those that leave it out: stabilizer angle to the wing"); says != (first.setup == left.setup) {
			t.Errorf("that the angle was taken is said: %v", says)
		}
		return [2]string{untold(t, compared), untold(t, sheet)}
	}
	both, later := ask(outs[0]), ask(left)
	for k, want := range both {
		at := 0
		for at < min(len(want), len(later[k])) && want[at] == later[k][at] {
			at++
		}
		if later[k] != want {
			t.Errorf("%s differs at %.200s, with the angle in both setups %.200s", []string{"the comparison", "the sheet"}[k], later[k][max(0, at-100):], want[max(0, at-100):])
		}
	}
}

// TestMeasuredTwiceInTheLibrary: the nearest outing before counts, however they are handed over.
func TestMeasuredTwiceInTheLibrary(t *testing.T) {
	t.Parallel()
	given := outings()[0].setup
	stabilizer := strings.Index(given, "[foil.stabilizer]")
	var all []*session
	for day, angle := range []string{"", "incidence_deg = -1\n", "incidence_deg = -2\n", ""} { // the first is the last
		text := given[:stabilizer] + regexp.MustCompile(`(?m)^incidence_deg = .*\n`).ReplaceAllString(given[stabilizer:], angle)
		all = append(all, &session{Setup: []byte(text), Start: time.Date(2026, 7, 9-day, 10, 0, 0, 0, time.UTC)})
	}
	slices.Reverse(all[1:])
	var got []float64
	for _, s := range completed(all) {
		got = append(got, math.Round(s.Foil.Stabilizer.Incidence*180/math.Pi))
	}
	if want := []float64{-1, -2, -2, -1}; !slices.Equal(got, want) {
		t.Errorf("angles %v, want %v", got, want)
	}
}

// untold is a result as JSON without its warnings.
func untold(t *testing.T, text string) string {
	t.Helper()
	var all any
	if err := json.Unmarshal([]byte(text), &all); err != nil {
		t.Fatal(err)
	}
	var drop func(v any)
	drop = func(v any) {
		switch v := v.(type) {
		case []any:
			for _, x := range v {
				drop(x)
			}
		case map[string]any:
			delete(v, "warnings")
			for _, x := range v {
				drop(x)
			}
		}
	}
	drop(all)
	out, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

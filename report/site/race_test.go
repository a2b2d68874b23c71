package site

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"evenfoot/analysis/setup"
	"evenfoot/report/form"
)

// TestSidecarReads: a session may be on show while its sidecar is made.
func TestSidecarReads(t *testing.T) {
	t.Parallel()
	ses := &session{Title: "a", Files: placed([]stored{{Kind: kindLog, Name: "a.csv"}}), Setup: []byte("x")}
	ses.settle()
	was := *ses
	side, err := ses.sidecar()
	if err != nil || !strings.Contains(string(side.data), `"evenfoot_session": 1`) {
		t.Errorf("the sidecar is %s, %v", side.data, err)
	}
	if !reflect.DeepEqual(*ses, was) {
		t.Errorf("it is %+v, was %+v", *ses, was)
	}
}

// fingerprint tells a session as it is now from what it was.
func fingerprint(t *testing.T, s *session) string {
	b, err := json.Marshal(s)
	if err != nil {
		t.Error(err)
	}
	return fmt.Sprintf("%s %d %d %s %s %s %s %v %q %q %+v", b, s.ID, s.Version, s.Name, s.Inputs, s.dir, s.Setup, s.mended, s.holds, s.words, s.known)
}

// TestOnShow: what is on show is never written to, whatever is done to a session
// meanwhile. Its readers touch no file and no lock, which would keep a write that
// comes too late from the race detector.
func TestOnShow(t *testing.T) {
	t.Parallel()
	sh := openShelf(t, t.TempDir())
	s := &Site{store: sh.store, cfg: Config{Version: "test"}}
	for n := range 3 {
		if _, err := sh.put(track(n), titled(t, n)); err != nil {
			t.Fatal(err)
		}
	}
	done := make(chan struct{})
	var readers sync.WaitGroup
	for range 2 {
		readers.Go(func() {
			prints := map[*session]string{}
			for {
				for _, e := range sh.sessions() {
					now := fingerprint(t, e)
					if was := prints[e]; was != "" && was != now {
						t.Errorf("a session on show was %s\nand is %s", was, now)
						return
					}
					prints[e] = now
					s.usualEvidence(e)
					s.twins(e)
					s.stale(e)
				}
				totalled(sh.sessions())
				select {
				case <-done:
					return
				default:
				}
			}
		})
	}
	for round := range 4 {
		for id := int64(1); id <= 3; id++ {
			ses, err := sh.session(id)
			other, err2 := sh.session(id%3 + 1)
			if err != nil || err2 != nil {
				t.Fatal(err, err2)
			}
			if err := sh.summarise(ses, &summary{Foiling: float64(round), Made: "test"}); err != nil {
				t.Error(err)
			}
			if err := sh.tellApart(id, other); err != nil {
				t.Error(err)
			}
			if err := sh.revised(id, titled(t, 10*round+int(id))); err != nil {
				t.Error(err)
			}
		}
		ses, err := sh.put(track(10+round), "")
		if err != nil {
			t.Fatal(err)
		}
		if err := sh.delete(ses.ID); err != nil {
			t.Error(err)
		}
	}
	close(done)
	readers.Wait()
	if ses, err := sh.session(2); err != nil || ses.Version != 5 || len(ses.Others) != 4 {
		t.Errorf("at the end it is %+v, %v", ses, err)
	}
}

// TestAllAtOnce: pages are asked for while sessions are added, corrected, noted on,
// told apart and deleted, and analysed. None fails, and no note that was taken is
// lost. The requests go by no socket, which would bring them in an order.
func TestAllAtOnce(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	ask := func(req *http.Request) *httptest.ResponseRecorder {
		req.Host = "127.0.0.1"
		w := httptest.NewRecorder()
		d.site.Handler().ServeHTTP(w, req)
		if s := w.Code; s != 303 && s != 200 && s != 202 && s != 422 && s != 404 && s != 400 {
			t.Errorf("%s %s: status %d\n%.1500s", req.Method, req.URL, s, w.Body)
		}
		return w
	}
	post := func(path string, f url.Values) int {
		f.Set("token", d.site.token)
		req := httptest.NewRequest("POST", path, strings.NewReader(f.Encode()))
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		return ask(req).Code
	}
	add := func(pieces ...piece) string {
		body, kind := formOf(d.site.token, pieces...)
		req := httptest.NewRequest("POST", "/add", body)
		req.Header.Set("Content-Type", kind)
		return ask(req).Header().Get("Location")
	}
	for _, o := range outings() {
		add(o.watched()...)
	}
	var readers, writers sync.WaitGroup
	done := make(chan struct{})
	for _, paths := range [][]string{
		{"/", "/?q=2025", "/riders", "/add", "/add?from=1"},
		{"/session/1", "/session/1/more", "/session/2/setup", "/session/1/setup/1", "/session/3", "/session/2/delete"},
		{"/session/2", "/compare?id=1&id=2", "/compare.json?id=1&id=2", "/compare?id=1&id=2&speed=mph", "/session/1/result.json"},
	} {
		readers.Go(func() {
			for n := 0; ; n++ {
				ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
				req := httptest.NewRequestWithContext(ctx, "GET", paths[n%len(paths)], nil)
				if n%3 == 1 && len(paths) == 5 {
					req.Header.Set("Accept", "text/event-stream")
				}
				ask(req)
				cancel()
				select {
				case <-done:
					return
				case <-time.After(3 * time.Millisecond):
				}
			}
		})
	}
	var mu sync.Mutex
	var taken []string
	for k, front := range []string{"front", "back"} {
		writers.Go(func() {
			for n := range 3 {
				ses, err := d.site.store.session(1)
				if err != nil {
					t.Error(err)
					return
				}
				speed := strconv.Itoa(20 + 10*k + n)
				if post("/session/1/note", url.Values{"version": {strconv.Itoa(ses.Version)}, "speed": {speed}, "unit": {"kmh"}, "front": {front}}) == 303 {
					mu.Lock()
					taken = append(taken, speed)
					mu.Unlock()
				}
			}
		})
	}
	writers.Go(func() {
		for n := range 3 {
			at := add(piece{"logs", "watch.gpx", track(n)})
			post(at+"/two", url.Values{"other": {"1"}})
			post(at+"/delete", url.Values{})
		}
		post("/units", url.Values{"speed": {"kmh"}, "length": {"cm"}, "weight": {"kg"}})
		post("/refused", url.Values{})
	})
	writers.Wait()
	close(done)
	readers.Wait()
	ses, err := d.site.store.session(1)
	f, err2 := form.Read(ses.Setup)
	if err != nil || err2 != nil || len(d.site.store.sessions()) != 2 || len(taken) < 2 {
		t.Fatal(err, err2, len(d.site.store.sessions()), taken)
	}
	for _, speed := range taken {
		if !slices.Contains(slices.Collect(maps.Values(f)), speed) {
			t.Errorf("the note at %s km/h is lost", speed)
		}
	}
}

// TestFaultPassedOver: a session that brings a fault of the program to light stops
// neither the server nor the lines of the others.
func TestFaultPassedOver(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	d.added(piece{"logs", "watch.gpx", track(1)})
	d.settled()
	good, err := d.site.store.session(1)
	if err != nil {
		t.Fatal(err)
	}
	good.Summary = nil
	bad := &session{ID: 2, dir: filepath.Join(d.site.store.dir, "none"), Rider: "x", Start: time.Now(), known: &setup.Setup{}, Summary: &summary{Made: "test"}}
	d.site.store.shelf.Store(&shelf{all: []*session{bad, good}, ridden: map[string][]*session{"x": {nil}}})
	d.site.changed()
	for range 200 {
		if now, err := d.site.store.session(1); err == nil && now.Summary != nil {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Error("the other one's line is never made")
}

// TestWordKept: the user's word that two outings are two counts once it is on the
// disk; the list's line, which can be made anew, in any case.
func TestWordKept(t *testing.T) {
	t.Parallel()
	sh := openShelf(t, t.TempDir())
	ses, err := sh.put(track(1), "")
	other, err2 := sh.put(track(2), "")
	if err := errors.Join(err, err2, os.Remove(sh.incoming())); err != nil {
		t.Fatal(err)
	}
	if sh.tellApart(ses.ID, other) == nil || sh.summarise(ses, &summary{}) == nil {
		t.Error("what cannot be written brings no error")
	}
	if now, err := sh.session(ses.ID); err != nil || len(now.Others) > 0 || now.Summary == nil {
		t.Errorf("it is %+v, %v", now, err)
	}
}

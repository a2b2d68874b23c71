package site

import (
	"archive/zip"

	"bytes"
	"cmp"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestOutings: many files at once are sorted by time, and by where they were,
// shown, and kept with one click; what cannot be read is told and left out.
func TestOutings(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	wake := d.idle()
	all := append(morning(), piece{"logs", "photo.csv", "no log"})
	status, body, _ := d.upload(append(all, piece{"setup", "", outings()[0].setup})...)
	if status != 200 || !strings.Contains(body, "3 outings, as it seems") || !strings.Contains(body, "no logs: <bdi>photo.csv</bdi>") || !strings.Contains(body, `value="form" selected`) {
		t.Fatalf("status %d\n%s", status, body)
	}
	if len(d.site.store.sessions()) != 0 || d.site.queue.size() != 0 {
		t.Error("something is kept or analysed before it was confirmed")
	}
	held := heldField.FindStringSubmatch(body)
	q := url.Values{"token": {d.site.token}, "held": {held[1]}, "from": {"form"}}
	outing := regexp.MustCompile(`(?s)name="(of\.\d)">.*?<option selected>(\d)</option>`)
	got := map[string]string{}
	for _, m := range outing.FindAllStringSubmatch(body, -1) {
		q.Set(m[1], m[2])
		got[m[1]] = m[2]
	}
	if fmt.Sprint(got) != "map[of.0:1 of.1:1 of.2:2 of.3:3]" {
		t.Errorf("sorted as %v", got)
	}
	status, body, h := d.post("/outings", q)
	if status != 303 || h.Get("Location") != "/?done=added" {
		t.Fatalf("status %d\n%s", status, body)
	}
	d.must("/", "3 sessions", "watch1, 2 May 2026", "watch2, 2 May 2026", "watch3, 3 May 2026")
	sessions := d.site.store.sessions()
	for _, ses := range sessions {
		set, _, err := ses.parseSetup()
		if err != nil || set == nil || len(set.Feel) > 0 || set.Title != "" {
			t.Errorf("%s: %+v, %v", ses.Title, set, err)
		}
	}
	if n := len(sessions[2].Files) + len(sessions[1].Files); n != 3 || sessions[0].Start.Day() != 3 {
		t.Errorf("%d logs on the first morning, the last on %v", n, sessions[0].Start)
	}
	if n := fileCount(t, d.site.store.incoming()); n != 0 {
		t.Errorf("%d files are left", n)
	}
	// Again with one that is new: the others are known.
	more := append(all[:4:4], piece{"logs", "new.gpx", string(outings()[0].gpx)})
	_, body, _ = d.upload(more...)
	if n := strings.Count(body, "in the library already"); n != 4 || !strings.Contains(body, `<option value="" selected>leave out`) {
		t.Errorf("%d of the logs are known", n)
	}
	if !raced {
		wake()
		d.must("/session/2", "What to do next")
	}
}

// TestOutingsWait: whatever goes wrong with the outings, their files wait on, and
// what was added is told.
func TestOutingsWait(t *testing.T) {
	d := open(t, Config{})
	d.idle()
	_, body, _ := d.upload(append(morning(), piece{"setup", "", outings()[0].setup})...)
	sent := func(status int, from string, of ...string) {
		t.Helper()
		held := heldField.FindStringSubmatch(body)
		if held == nil {
			t.Fatalf("no files wait\n%.3000s", body)
		}
		q := url.Values{"token": {d.site.token}, "held": {held[1]}, "from": {from}}
		for i, n := range of {
			q.Set(fmt.Sprintf("of.%d", i), n)
		}
		var got int
		if got, body, _ = d.post("/outings", q); got != status {
			t.Errorf("from %q, %q: status %d, want %d\n%.3000s", from, of, got, status, body)
		}
	}
	sent(422, "", "", "", "", "")
	if !strings.Contains(body, "Every log is left out") || strings.Count(body, `<option value="" selected>leave out`) != 4 {
		t.Errorf("all left out:\n%s", body)
	}
	sent(404, "99", "1", "1", "2", "3")
	for _, u := range d.site.held {
		if err := os.Remove(u.files[2].at); err != nil {
			t.Fatal(err)
		}
	}
	sent(500, "form", "1", "1", "2", "3")
	if !strings.Contains(body, "1 outing is added; the others are not yet") || strings.Count(body, "in the library already") != 2 || !strings.Contains(body, `value="form" selected`) {
		t.Errorf("the second fails:\n%s", body)
	}
	sent(303, "form", "", "", "", "3")
	if all := d.site.store.sessions(); len(all) != 2 || all[0].Setup == nil || fileCount(t, d.site.store.incoming()) != 0 {
		t.Errorf("%d sessions", len(all))
	}
	// A form whose new files are refused keeps those of before.
	_, body, _ = d.upload(piece{"logs", "watch.gpx", string(outings()[0].gpx)}, piece{"rider.mass_kg", "", "x"})
	held := heldField.FindStringSubmatch(body)
	_, body, _ = d.upload(piece{"held", "", held[1]}, piece{"logs", "a.toml", "a = 1"}, piece{"logs", "b.toml", "b = 1"})
	if heldField.FindString(body) == "" || !strings.Contains(body, "two setups") || !strings.Contains(body, "Here already: watch.gpx") {
		t.Errorf("the log of before is thrown away:\n%.3000s", body)
	}
}

// TestFolders: outings that come in a folder each, with a setup of its own, keep it,
// in an archive too; without one they are lent another outing's.
func TestFolders(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	d.idle()
	os := outings()
	sent := []piece{{"logs", "monday/watch.gpx", string(os[0].gpx)}, {"logs", "monday/setup.toml", os[0].setup}, {"logs", "monday/.evenfoot.json", "{}"},
		{"logs", "tuesday/watch.gpx", string(os[1].gpx)}, {"logs", "tuesday/setup.toml", os[1].setup}, {"logs", "tuesday/photo.jpg", "no log"}}
	var packed bytes.Buffer
	z := zip.NewWriter(&packed)
	for _, p := range sent {
		w, err := z.Create(p.file)
		if err != nil {
			t.Fatal(err)
		}
		io.WriteString(w, p.body)
	}
	z.Close()
	if status, body, _ := d.upload(append(sent, piece{"logs", "tuesday/other.toml", os[0].setup})...); status != 422 || !strings.Contains(body, "two setups") {
		t.Errorf("two setups of a folder: status %d", status)
	}
	if status, body, _ := d.upload(append(sent, piece{"logs", "wednesday/setup.toml", "[rider]\nmas_kg = 1"})...); status != 422 || !strings.Contains(body, "wednesday/setup.toml") {
		t.Errorf("a bad setup in a folder: status %d\n%s", status, body)
	}
	chosen := regexp.MustCompile(`(?s)name="(from\.\d)"><option value="">all, below</option>.*?</select>`)
	for name, pieces := range map[string][]piece{"tuesday/": sent, "both/tuesday/": {{"logs", "both.zip", packed.String()}}} {
		status, body, _ := d.upload(pieces...)
		held := heldField.FindStringSubmatch(body)
		if status != 200 || held == nil || !strings.Contains(body, "2 outings, as it seems") || !strings.Contains(body, "<bdi>"+name+"watch.gpx") {
			t.Fatalf("status %d\n%s", status, body)
		}
		q := url.Values{"token": {d.site.token}, "held": {held[1]}, "of.0": {"1"}, "of.1": {"2"}}
		for _, m := range chosen.FindAllStringSubmatch(body, -1) {
			if own := regexp.MustCompile(`value="(folder\.\d)" selected`).FindStringSubmatch(m[0]); own != nil {
				q.Set(m[1], own[1])
			}
		}
		if status, body, _ := d.post("/outings", q); status != 303 {
			t.Fatalf("status %d\n%s", status, body)
		}
		all := d.site.store.sessions()
		if len(all) != 2 || string(all[0].Setup) != os[1].setup || string(all[1].Setup) != os[0].setup {
			t.Fatalf("%d sessions, or not each with its own setup", len(all))
		}
		for _, ses := range all {
			d.post(fmt.Sprintf("/session/%d/delete", ses.ID), url.Values{"token": {d.site.token}})
		}
	}
	// An earlier setup for the one, none for the other.
	from := d.added(piece{"logs", "first.gpx", track(1)}, piece{"setup", "", os[0].setup})
	_, body, _ := d.upload(morning()...)
	q := url.Values{"token": {d.site.token}, "held": heldField.FindStringSubmatch(body)[1:], "of.0": {"1"}, "of.2": {"2"}, "from.1": {strings.TrimPrefix(from, "/session/")}}
	if status, body, _ := d.post("/outings", q); status != 303 {
		t.Fatalf("status %d\n%s", status, body)
	}
	with := 0
	for _, ses := range d.site.store.sessions() {
		if ses.Setup != nil {
			with++
		}
	}
	if n := len(d.site.store.sessions()); n != 3 || with != 2 {
		t.Errorf("%d of %d sessions have a setup, want 2 of 3", with, n)
	}
	var bomb bytes.Buffer
	z = zip.NewWriter(&bomb)
	w, err := z.Create("a.csv")
	if err != nil {
		t.Fatal(err)
	}
	w.Write(make([]byte, 30<<20))
	z.Close()
	d.site.cfg.MaxUpload = 20 << 20
	for _, c := range [][2]string{{"no archive", "cannot be unpacked"}, {bomb.String(), "expands to more"}} {
		if status, body, _ := d.upload(piece{"logs", "x.zip", c[0]}); status != 422 || !strings.Contains(body, c[1]) {
			t.Errorf("%q: status %d\n%.2000s", c[1], status, body)
		}
	}
}

// archive packs files, named and filled by turns.
func archive(t *testing.T, files ...string) string {
	t.Helper()
	var packed bytes.Buffer
	z := zip.NewWriter(&packed)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err != nil {
			t.Fatal(err)
		}
		io.WriteString(w, files[i+1])
	}
	z.Close()
	return packed.String()
}

// TestPassedOver: what a folder or an archive holds beside logs is told, pictures and
// hidden files aside; where no log is among it, nothing is kept.
func TestPassedOver(t *testing.T) {
	d := open(t, Config{})
	d.idle()
	set := outings()[0].setup
	note := "Flat water, 12 kn.\nThe board felt nose-heavy, said Odalys.\n"
	for name, c := range map[string]struct {
		status int
		says   string
		sent   []piece
	}{
		"a folder":          {200, "no logs: <bdi>a/logger.bin</bdi>", []piece{{"logs", "a/watch.gpx", track(100)}, {"logs", "a/logger.bin", "\x00\x01"}, {"logs", "a/x.jpg", "x"}, {"logs", "a/.x", "x"}}},
		"a note beside":     {200, "no logs: <bdi>x/README.txt</bdi>", []piece{{"logs", "x.zip", archive(t, "README.txt", note, "watch.gpx", track(200))}}},
		"a hidden archive":  {303, "", []piece{{"logs", ".ride.zip", archive(t, "watch.gpx", track(300), ".DS_Store", "x")}}},
		"an archive inside": {200, "no logs: <bdi>x/old.zip</bdi>", []piece{{"logs", "x.zip", archive(t, "old.zip", "x", "watch.gpx", track(400))}}},
		"outings":           {200, "no logs: <bdi>x/b.pdf</bdi>", []piece{{"logs", "x.zip", archive(t, "a.gpx", track(500), "b.pdf", "x", "b.gpx", track(900))}}},
		"no log":            {422, "x/ride.xyz", []piece{{"logs", "x.zip", archive(t, "ride.xyz", "x", "setup.toml", set)}, {"low", "", "6"}, {"high", "", "8"}, {"in", "", "kn"}}},
		"nothing":           {422, "x.zip holds no log", []piece{{"logs", "x.zip", archive(t, "a.jpg", "x", "__MACOSX/a.gpx", "x")}, {"setup", "", set}, {"low", "", "6"}, {"high", "", "8"}, {"in", "", "kn"}}},
		"a note alone":      {422, "README.txt", []piece{{"logs", "x.zip", archive(t, "README.txt", note)}}},
		"many": {422, "and 5 others", []piece{{"logs", "x.zip", archive(t, slices.Collect(func(yield func(string) bool) {
			for i := range 2 * (passedShown + 5) {
				if !yield(fmt.Sprintf("%d.bin", i)) {
					return
				}
			}
		})...)}}},
	} {
		if status, body, _ := d.upload(c.sent...); status != c.status || !strings.Contains(body, c.says) {
			t.Errorf("%s: status %d, want %d and %q\n%.3000s", name, status, c.status, c.says, body)
		}
	}
	for _, ses := range d.site.store.sessions() {
		if len(ses.Files) != 1 || ses.Files[0].Name != "watch.gpx" {
			t.Errorf("session %d keeps %v", ses.ID, ses.Files)
		}
	}
	if n := len(d.site.store.sessions()); n != 4 {
		t.Errorf("%d sessions are kept, want 4", n)
	}
}

// TestManySetups: the setups of an archive are bounded in number and in all, since
// they wait in memory.
func TestManySetups(t *testing.T) {
	d := open(t, Config{})
	for want, c := range map[string]struct{ n, size int }{"ore than 60 setups": {filesMost + 1, 10}, "of text": {5, textBytes / 2}} {
		files := []string{"watch.gpx", track(1)}
		for i := range c.n {
			files = append(files, fmt.Sprintf("%d/setup.toml", i), "#"+strings.Repeat(" ", c.size))
		}
		if status, body, _ := d.upload(piece{"logs", "x.zip", archive(t, files...)}); status != 422 || !strings.Contains(body, want) {
			t.Errorf("%d setups of %d bytes: status %d, want %q\n%.2000s", c.n, c.size, status, want, body)
		}
	}
}

// TestSortOutings: a pause on the beach is within an outing, a logger's parts
// bridge one, two boards carry two loggers of a kind, and what has no date goes with
// the only outing there is.
func TestSortOutings(t *testing.T) {
	at := func(h, m int) time.Time { return time.Date(2026, 5, 2, h, m, 0, 0, time.UTC) }
	log := func(from, to time.Time) glance { return glance{span: span{from, to}} }
	logger := func(device string, from, to int) glance {
		g := log(at(from, 0), at(to, 0))
		g.Device, g.motion = device, true
		return g
	}
	watch := func(lat float64, from, to int) glance {
		g := log(at(from, 0), at(to, 0))
		g.Device, g.track = "watch", map[int64]place{}
		for i := range int64(placesLeast) {
			g.track[at(from, 0).Unix()/trackStep+i] = place{lat, 10}
		}
		return g
	}
	for name, c := range map[string]struct {
		in   []glance
		want string
	}{
		"a pause":          {[]glance{log(at(9, 0), at(9, 40)), log(at(10, 0), at(11, 0))}, "1 1"},
		"morning, evening": {[]glance{log(at(17, 0), at(18, 0)), log(at(9, 0), at(10, 0))}, "2 1"},
		"bridged":          {[]glance{log(at(9, 0), at(9, 30)), log(at(8, 55), at(12, 0)), log(at(11, 0), at(12, 0))}, "1 1 1"},
		"undated":          {[]glance{log(at(9, 0), at(10, 0)), {}}, "1 1"},
		"undated of two":   {[]glance{log(at(9, 0), at(10, 0)), {}, log(at(17, 0), at(18, 0))}, "1 3 2"},
		"two folders":      {[]glance{{span: span{at(9, 0), at(10, 0)}, Folder: "a"}, {span: span{at(9, 30), at(10, 0)}, Folder: "b"}, {span: span{at(14, 0), at(15, 0)}, Folder: "a"}}, "1 2 1"},
		"nothing read":     {[]glance{{Wrong: "no log"}}, "0"},
		"two of a kind":    {[]glance{logger("a", 9, 10), logger("a", 9, 10)}, "1 2"},
		"two kinds":        {[]glance{logger("a", 9, 10), logger("b", 9, 10)}, "1 1"},
		"one after other":  {[]glance{logger("a", 9, 10), logger("a", 10, 11)}, "1 1"},
		"no kind told":     {[]glance{logger("", 9, 10), logger("", 9, 10)}, "1 1"},
		"loggers, watches": {[]glance{watch(54.1, 9, 12), watch(54.3, 9, 12), logger("a", 10, 11), logger("a", 10, 11)}, "1 2 2 1"},
	} {
		n := sortOutings(c.in)
		var got []string
		for _, g := range c.in {
			got = append(got, fmt.Sprint(g.Outing))
		}
		if strings.Join(got, " ") != c.want || strings.Count(c.want, "3") > n {
			t.Errorf("%s: %v of %d, want %s", name, got, n, c.want)
		}
	}
}

// TestOuting: of a log that holds several outings the sheet is made of the longest,
// or of the one whose number the reader gives.
func TestOuting(t *testing.T) {
	t.Parallel()
	d := open(t, Config{})
	later := strings.NewReplacer("T10:", "T18:").Replace(track(1))
	_, second, _ := strings.Cut(later, "<trkseg>")
	at := d.added(piece{"logs", "day.gpx", strings.TrimSuffix(track(2), "</trkseg></trk></gpx>") + second})
	d.must(at, "holds 2 outings", "Number 1 is read", "beside the units")
	d.must(at+"?outing=2", "Number 2 is read")
	d.must(at+"/more?outing=2", `name="outing" inputmode="numeric" size="3" value="2"`)
	if status, body := d.get(at + "?outing=3"); status != 422 || !strings.Contains(body, "day.gpx: there is no outing 3") {
		t.Errorf("status %d\n%s", status, body)
	}
	if status, body := d.get(at + "?outing=0"); status != 400 || !strings.Contains(body, "no number from 1 on") {
		t.Errorf("status %d\n%s", status, body)
	}
}

// TestPhoneFolder: what a phone's folder holds beside its logs is set aside and
// named, and so is a log of a session that cannot be read; a session of which none
// can is left out of a comparison; and the copy of an outing that tells more counts.
func TestPhoneFolder(t *testing.T) {
	dir := t.TempDir()
	const broken = "time_s,ax_mps2,ay_mps2,az_mps2\nnever,0,0,9.8\nnever,0,0,9.8\n"
	first := outings()[0]
	lay(t, dir, "sessions/1/watch.gpx", string(first.gpx))
	lay(t, dir, "sessions/1/logger.csv", broken)
	lay(t, dir, "sessions/1/setup.toml", first.setup)
	lay(t, dir, "sessions/2/logger.csv", broken)
	lay(t, dir, "sessions/2/setup.toml", first.setup)
	d := open(t, Config{Dir: dir})
	d.must("/session/1", "What to do next", "Left aside", "logger.csv (no row has a time")
	more := []piece{{"logs", "Metadata.csv", "version,device name,platform\n3,phone,none\n"}, {"logs", "Annotation.csv", ""}, {"logs", "Notes.csv", ""}}
	status, body, _ := d.upload(append(first.pieces(), more...)...)
	if status != 200 || !strings.Contains(body, "no logs: <bdi>Metadata.csv, Annotation.csv, Notes.csv</bdi>") {
		t.Fatalf("status %d\n%s", status, body)
	}
	d.must("/session/3", "What to do next")
	later := d.added(outings()[1].pieces()...)
	d.must(later, "What to do next")
	d.must("/compare?id=2&id=3&id=4", "Left out, it could not be analysed", "no row has a time")
	d.must("/compare.json?id=2&id=3&id=4", `"left_out": [`)
	if status, body := d.get("/compare?id=2&id=3"); status != 422 || !strings.Contains(body, "no row has a time") {
		t.Errorf("a comparison with nothing to compare: status %d\n%s", status, body)
	}
	one, err := d.site.store.session(1)
	three, err2 := d.site.store.session(3)
	if err = cmp.Or(err, err2); err != nil {
		t.Fatal(err)
	}
	if !one.countsOnce(three) || one.stands(three) || !three.stands(one) {
		t.Error("the copy without the board's motion counts")
	}
	unread := *three
	unread.Summary = &summary{Unanalysed: "it is damaged", Pitch: true}
	if unread.stands(one) || !one.stands(&unread) {
		t.Error("the copy that cannot be analysed counts")
	}
}

// lay writes a file below dir.
func lay(t *testing.T, dir, name, text string) {
	t.Helper()
	at := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(at), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(at, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

//go:build unix

package site

import (
	"bufio"
	"bytes"
	"flag"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

var long = flag.Bool("long", false, "kill 200 times, and measure a library of 5,000 sessions")

// faultEnv holds what a process of its own is to do, and the library's folder.
const faultEnv = "EVENFOOT_FAULT"

// faultProcess is this test binary as a process that does one of [TestFaultProcess].
func faultProcess(what, dir string, seed int) *exec.Cmd {
	cmd := exec.Command(os.Args[0], "-test.run=^TestFaultProcess$", "-test.v")
	cmd.Env = append(os.Environ(), faultEnv+"="+what+"\n"+dir+"\n"+strconv.Itoa(seed))
	return cmd
}

// TestFaultProcess is what the tests below start.
func TestFaultProcess(t *testing.T) {
	args := strings.Split(os.Getenv(faultEnv), "\n")
	if len(args) != 3 {
		t.Skip("only as a process of another test")
	}
	seed, err := strconv.Atoi(args[2])
	if err != nil {
		t.Fatal(err)
	}
	switch args[0] {
	case "work":
		workForever(t, args[1], seed)
	case "full":
		fullDisk(t, args[1])
	case "read":
		readOnlyLibrary(t, args[1])
	}
}

// workForever adds, corrects and deletes, and tells before and after each.
func workForever(t *testing.T, dir string, seed int) {
	sh := openShelf(t, dir)
	r := rand.New(rand.NewPCG(uint64(seed), 1))
	for n := seed * 1000; ; n++ {
		all := sh.sessions()
		what := r.IntN(10)
		if len(all) < 3 {
			what = 0
		}
		var err error
		switch {
		case what < 4:
			fmt.Printf("try add 0 %d\n", n)
			var ses *session
			if ses, err = sh.put(track(n), titled(t, n)); err == nil {
				fmt.Printf("done add %d %d\n", ses.ID, n)
			}
		case what < 7:
			id := all[r.IntN(len(all))].ID
			fmt.Printf("try correct %d %d\n", id, n)
			if err = sh.revised(id, titled(t, n)); err == nil {
				fmt.Printf("done correct %d %d\n", id, n)
			}
		case what < 8:
			ses := all[r.IntN(len(all))]
			err = sh.summarise(ses, &summary{Next: "next"})
		default:
			id := all[r.IntN(len(all))].ID
			fmt.Printf("try delete %d %d\n", id, n)
			if err = sh.delete(id); err == nil {
				fmt.Printf("done delete %d %d\n", id, n)
			}
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// TestKilled: a process that is killed at any moment loses nothing that it
// acknowledged; what it was at is done or not begun.
func TestKilled(t *testing.T) {
	dir := t.TempDir()
	titles, logs := map[int64]int{}, map[int64]int{} // session → the number in its setup, and in its log
	kills, acked := 8, map[string]int{}
	if *long {
		kills = 200
	}
	r := rand.New(rand.NewPCG(3, 4))
	for seed := 1; seed <= kills; seed++ {
		cmd := faultProcess("work", dir, seed)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		var wrong bytes.Buffer
		cmd.Stderr = &wrong
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		var pending struct {
			what string
			id   int64
			n    int
		}
		var after *time.Timer
		for lines.Scan() {
			var state, what string
			var id int64
			var n int
			if c, _ := fmt.Sscan(lines.Text(), &state, &what, &id, &n); c != 4 || state != "try" && state != "done" {
				if strings.Contains(lines.Text(), "fault_unix_test") {
					t.Fatal(lines.Text())
				}
				continue
			}
			if after == nil { // it is at work
				after = time.AfterFunc(time.Duration(r.IntN(150_000))*time.Microsecond, func() { cmd.Process.Kill() })
			}
			pending.what, pending.id, pending.n = what, id, n
			if state == "try" {
				continue
			}
			acked[what]++
			pending.what = ""
			switch what {
			case "add":
				titles[id], logs[id] = n, n
			case "correct":
				titles[id] = n
			case "delete":
				delete(titles, id)
			}
		}
		if err := cmd.Wait(); err == nil || after == nil {
			t.Fatalf("it ended by itself: %v %s", err, wrong.String())
		}

		sh := openShelf(t, dir)
		if len(sh.said) > 0 {
			t.Errorf("kill %d: it says %q", seed, sh.said)
		}
		found := map[int64]bool{}
		for _, s := range sh.sessions() {
			found[s.ID] = true
			n, known := titles[s.ID]
			got, err := strconv.Atoi(strings.TrimPrefix(s.Title, "title "))
			switch {
			case err != nil:
				t.Errorf("kill %d: session %d has the title %q", seed, s.ID, s.Title)
			case !known && pending.what == "add" && got == pending.n:
				logs[s.ID] = got
			case !known:
				t.Errorf("kill %d: session %d was deleted, or never was, and is there", seed, s.ID)
			case got != n && (pending.what != "correct" || pending.id != s.ID || got != pending.n):
				t.Errorf("kill %d: session %d has setup %d, want %d", seed, s.ID, got, n)
			}
			titles[s.ID] = got
			if want := titled(t, got); string(s.Setup) != want || len(s.Files) != 1 || s.Files[0].Content != hash([]byte(track(logs[s.ID]))) {
				t.Errorf("kill %d: session %d holds something else than what was kept", seed, s.ID)
			}
		}
		for id := range titles {
			if !found[id] {
				if pending.what != "delete" || pending.id != id {
					t.Errorf("kill %d: session %d is lost", seed, id)
				}
				delete(titles, id)
			}
		}
		if faults, _ := (&Library{sh.store}).Check(); len(faults) > 0 {
			t.Errorf("kill %d: %v", seed, faults)
		}
		if n := fileCount(t, sh.incoming()); n > 0 {
			t.Errorf("kill %d: %d files are left in incoming", seed, n)
		}
		sh.close()
		if t.Failed() {
			return
		}
	}
	t.Logf("%d kills, acknowledged before them: %v", kills, acked)
	if acked["add"] < kills {
		t.Errorf("only %d sessions were added, too few to show anything", acked["add"])
	}
}

// finished runs a process of its own to its end.
func finished(t *testing.T, what, dir string) {
	t.Helper()
	out, err := faultProcess(what, dir, 0).CombinedOutput()
	if err != nil || !bytes.Contains(out, []byte("--- PASS: TestFaultProcess")) {
		t.Errorf("%v\n%s", err, out)
	}
}

// TestFullDisk: see [fullDisk]. The bound for one file stands for a disk that is full.
func TestFullDisk(t *testing.T) {
	t.Parallel()
	finished(t, "full", t.TempDir())
}

// fullDisk: what cannot be written is refused with the reason and leaves nothing,
// and what is there is shown all the same.
func fullDisk(t *testing.T, dir string) {
	signal.Ignore(syscall.SIGXFSZ)
	var usual syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &usual); err != nil {
		t.Fatal(err)
	}
	left := func(bytes uint64) {
		t.Helper()
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: bytes, Max: usual.Max}); err != nil {
			t.Fatal(err)
		}
	}
	var said []string
	d := open(t, Config{Dir: dir, Warn: func(f string, a ...any) { said = append(said, fmt.Sprintf(f, a...)) }})
	o := outings()[0]
	left(100_000) // the log does not fit
	status, body, _ := d.upload(o.pieces()...)
	if status != 500 || !strings.Contains(body, "he data folder cannot take the file: file too large") {
		t.Errorf("a log that does not fit: status %d\n%.2000s", status, body)
	}
	left(uint64(len(track(1)))) // the log fits, its setup does not
	status, body, _ = d.upload(piece{"logs", "a.gpx", track(1)}, piece{"setup", "", o.setup + strings.Repeat("#", 2000)})
	if status != 500 || !strings.Contains(body, "could not be kept: file too large") {
		t.Errorf("a sidecar that does not fit: status %d\n%.2000s", status, body)
	}
	if n := fileCount(t, d.site.store.folder()) + fileCount(t, d.site.store.incoming()); n > 0 {
		t.Errorf("%d files are left", n)
	}
	left(usual.Max)
	at := d.added(o.pieces()...)
	left(0) // not a byte
	d.must(at, "What to do next")
	d.settled()
	d.must("/", "21.3")
	status, body, _ = d.send(at+"/setup", piece{"version", "", "1"}, piece{"setup", "", titled(t, 1)})
	if status != 422 || !strings.Contains(body, "could not be kept") {
		t.Errorf("a setup that does not fit: status %d\n%.2000s", status, body)
	}
	if got := d.must(at + "/setup/1"); got != o.setup {
		t.Error("the setup is not what it was")
	}
	for _, locked := range []bool{false, true} { // there is no key yet
		var told string
		s, err := Open(Config{Dir: t.TempDir(), Version: "test", Locked: locked, Warn: func(f string, a ...any) { told += fmt.Sprintf(f, a...) }})
		if err != nil {
			t.Errorf("locked %v: %v", locked, err)
			continue
		}
		if first, err := s.Key(), s.NewKey(); locked && (first == "" || s.Key() == first || err == nil || !strings.Contains(told, "key could not be kept")) {
			t.Errorf("the keys %q and %q, %v; told %q", first, s.Key(), err, told)
		}
		if err := s.Close(t.Context()); err != nil {
			t.Error(err)
		}
	}
	left(usual.Max)
	if err := d.site.Close(t.Context()); err != nil {
		t.Error(err)
	}
	sh := openShelf(t, dir)
	faults, _ := (&Library{sh.store}).Check()
	if s, err := sh.session(1); err != nil || string(s.Setup) != o.setup || s.Version != 1 || len(sh.said) > 0 || len(faults) > 0 {
		t.Errorf("after that: %v, %q", err, sh.said)
	}
	if !strings.Contains(strings.Join(said, "\n"), "could not be kept") {
		t.Errorf("nothing was said of the lines that were not kept: %q", said)
	}
}

// TestReadOnly: see [readOnlyLibrary].
func TestReadOnly(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	d := open(t, Config{Dir: dir})
	d.idle()
	for _, o := range outings() {
		d.added(o.watched()...)
	}
	if err := d.site.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Dir(dir), 0o755); err != nil { // so that another user comes this far
		t.Fatal(err)
	}
	every := func(folder, other os.FileMode) {
		err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case e.IsDir():
				return os.Chmod(path, folder)
			}
			return os.Chmod(path, other)
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	every(0o555, 0o444)
	defer every(0o755, 0o644)
	finished(t, "read", dir)
}

// readOnlyLibrary: a library that this user may not change is shown, with a
// warning, and says why nothing can be added.
func readOnlyLibrary(t *testing.T, dir string) {
	if os.Getuid() == 0 { // to whom nothing is forbidden
		const nobody = 65534
		if err := syscall.Setuid(nobody); err != nil {
			t.Skip("root cannot become another here: ", err)
		}
	}
	var said []string
	d := open(t, Config{Dir: dir, Warn: func(f string, a ...any) { said = append(said, fmt.Sprintf(f, a...)) }})
	if len(said) != 1 || !strings.Contains(said[0], "can only be read: permission denied") {
		t.Errorf("it says %q", said)
	}
	d.must("/", "can only be read", "2 sessions")
	d.must("/session/2", "What to do next")
	d.must("/compare?id=1&id=2", "Two sessions compared")
	status, body, _ := d.upload(outings()[0].pieces()...)
	if status != 507 || !strings.Contains(body, "can only be read (permission denied)") {
		t.Errorf("an upload: status %d\n%.2000s", status, body)
	}
	for path, form := range map[string]map[string][]string{
		"/session/1/delete": {}, "/session/1/two": {"other": {"2"}}, "/session/1/note": {"version": {"1"}, "speed": {"14"}, "unit": {"kn"}, "front": {"even"}},
	} {
		form["token"] = []string{d.site.token}
		if status, body, _ := d.post(path, form); status < 400 || !strings.Contains(body, "can only be read") {
			t.Errorf("%s: status %d", path, status)
		}
	}
	if status, body, _ := d.send("/session/1/setup", piece{"version", "", "1"}, piece{"setup", "", titled(t, 1)}); status < 400 || !strings.Contains(body, "can only be read") {
		t.Errorf("a setup: status %d", status)
	}
}

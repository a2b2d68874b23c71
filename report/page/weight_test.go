package page

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenfoot/analysis/simulate"
	"evenfoot/ingest/write"
	"evenfoot/report/browser"
)

// analyseFiles adds files and waits for the advice.
func (p *phone) analyseFiles(files ...string) time.Duration {
	p.t.Helper()
	p.open("#")
	begin := time.Now()
	p.add(files...)
	browser.Eval[bool](p.Tab, `document.getElementById("alone").checked = true`)
	p.tap("analyse")
	p.until(`!document.getElementById("answer").hidden && /front foot/.test(document.getElementById("answer").textContent)`)
	return time.Since(begin)
}

// TestWeight prints what the page takes for the demo's first outing of 35
// minutes beside what the command takes on the same machine, and holds two
// hours at 100 Hz below 400 MB, all of the page's process counted. Processor
// time is told too, for others may use the machine.
func TestWeight(t *testing.T) {
	if !*long {
		t.Skip("weighs two hours; -long")
	}
	p := newPhone(t)
	from := filepath.Join(work(t), "demo", "1-no-shim")
	least := func(least *[2]float64, wall, cpu time.Duration) {
		least[0], least[1] = min(least[0], wall.Seconds()), min(least[1], cpu.Seconds())
	}
	native, page := [2]float64{3600, 3600}, [2]float64{3600, 3600}
	for range 3 {
		begin := time.Now()
		cmd := exec.Command(filepath.Join(work(t), "evenfoot"), "report", from, "--alone", "--out", filepath.Join(t.TempDir(), "report.html"))
		p.Must(cmd.Run())
		least(&native, time.Since(begin), cmd.ProcessState.UserTime()+cmd.ProcessState.SystemTime())
		_, before := renderers(t)
		took := p.analyseFiles(demoFiles(t, "1-no-shim")...)
		_, after := renderers(t)
		least(&page, took, after-before)
	}
	mb, _ := renderers(t)
	t.Logf("35 minutes: %.2f s in the page, %.2f s the command, %.1f times; processor time %.2f s, %.2f s, %.1f times; %.0f MB", page[0], native[0], page[0]/native[0], page[1], native[1], page[1]/native[1], mb)

	sc := simulate.Default()
	sc.Duration = 7200
	s := simulate.Run(sc)
	dir := t.TempDir()
	files := []string{filepath.Join(dir, "watch.gpx"), filepath.Join(dir, "logger.csv"), filepath.Join(dir, "setup.toml")}
	f, err := os.Create(files[0])
	p.Must(err)
	p.Must(write.GPX(f, s.GPSLog))
	p.Must(f.Close())
	f, err = os.Create(files[1])
	p.Must(err)
	p.Must(write.CSV(f, s.IMULog))
	p.Must(f.Close())
	p.Must(os.WriteFile(files[2], []byte(s.SetupTOML(s.FeelNotes([]float64{7, 9}, 0.05))), 0o600))
	took := p.analyseFiles(files...)
	mb, _ = renderers(t)
	t.Logf("two hours: %.1f s, %.0f MB", took.Seconds(), mb)
	if mb > 400 {
		t.Errorf("two hours take %.0f MB", mb)
	}
}

// renderers are this test's processes that show pages: the most memory, MB, that
// one has ever had resident, and the processor time of all.
func renderers(t *testing.T) (most float64, cpu time.Duration) {
	t.Helper()
	said, err := exec.Command("ps", "-e", "-o", "pid=,ppid=,args=").Output()
	if err != nil {
		t.Fatal(err)
	}
	parent, shows := map[int]int{}, []int{}
	for line := range strings.Lines(string(said)) {
		f := strings.Fields(line)
		pid, _ := strconv.Atoi(f[0])
		parent[pid], _ = strconv.Atoi(f[1])
		if strings.Contains(line, "--type=renderer") {
			shows = append(shows, pid)
		}
	}
	for _, pid := range shows {
		up := pid
		for up > 1 && up != os.Getpid() {
			up = parent[up]
		}
		if up != os.Getpid() {
			continue
		}
		status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
		if err != nil {
			continue // it has ended
		}
		_, rest, _ := strings.Cut(string(status), "VmHWM:")
		kB, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
		most = max(most, kB/1000)
		stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if err != nil {
			continue
		}
		_, rest, _ = strings.Cut(string(stat), ") ") // behind the name: the state is field 3
		for _, ticks := range strings.Fields(rest)[11:13] {
			n, _ := strconv.Atoi(ticks) // of 10 ms
			cpu += time.Duration(n) * 10 * time.Millisecond
		}
	}
	if most == 0 {
		t.Fatal("the browser's processes are not found")
	}
	return most, cpu
}

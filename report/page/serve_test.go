package page

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"evenfoot/report/browser"
)

// TestServed: `evenfoot serve --beach` serves the page at the library's address;
// there it is kept for the beach, records and analyses.
func TestServed(t *testing.T) {
	t.Parallel()
	browser.Need(t)
	serve := exec.Command(filepath.Join(work(t), "evenfoot"), "serve", "--addr", "127.0.0.1:0", "--data", t.TempDir(), "--beach", filepath.Join(work(t), "page"))
	out, err := serve.StdoutPipe()
	if err == nil {
		err = serve.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = serve.Process.Signal(os.Interrupt)
		if err := serve.Wait(); err != nil {
			t.Error(err)
		}
	})
	first, err := bufio.NewReader(out).ReadString('\n')
	_, address, ok := strings.Cut(strings.TrimSpace(first), "evenfoot serves ")
	if err != nil || !ok {
		t.Fatalf("serve says %q: %v", first, err)
	}
	p := at(t, nil, strings.TrimSuffix(address, "/"), "/beach/")
	p.until(`navigator.serviceWorker.controller !== null`)
	if scope := p.wait(`navigator.serviceWorker.ready.then(r => new URL(r.scope).pathname)`); scope != "/beach/" {
		t.Errorf("the page's worker serves %s, and the library is its own", scope)
	}
	b := p.mount()
	p.open("#record")
	p.tap("start")
	b.ride(2e9)
	p.until(`document.getElementById("status").innerText.includes("Position: ± 4 m")`)
	p.tap("stop")
	p.tap("stop")
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	p.add(demoFiles(t, "1-no-shim")...)
	p.tap("analyse")
	p.until(`!document.getElementById("answer").hidden && /front foot/.test(document.getElementById("answer").textContent)`)
	if hidden := browser.Eval[bool](p.Tab, `document.getElementById("problem").hidden`); !hidden {
		t.Error("a problem is told")
	}
	p.NoErrors()
}

package main

import (
	"bufio"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
)

// TestServe starts the server as a user does, asks it for a page, and stops it
// by a signal.
func TestServe(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "library")
	for _, sig := range []os.Signal{os.Interrupt, syscall.SIGTERM} {
		cmd := exec.Command("evenfoot", "serve", "--addr", "127.0.0.1:0", "--data", dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		var said strings.Builder
		cmd.Stderr = &said
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		late := time.AfterFunc(30*time.Second, func() { cmd.Process.Kill() })
		first, err := bufio.NewReader(out).ReadString('\n')
		if err != nil {
			t.Fatalf("%v, standard error: %s", err, said.String())
		}
		url := regexp.MustCompile(`http://127\.0\.0\.1:\d+/`).FindString(first)
		if url == "" {
			t.Fatalf("it says %q", first)
		}
		res, err := http.Get(url)
		if err != nil {
			t.Fatal(err)
		}
		page, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil || res.StatusCode != 200 || !strings.Contains(string(page), "The library is empty") {
			t.Errorf("status %d, %v\n%s", res.StatusCode, err, page)
		}
		second := exec.Command("evenfoot", "serve", "--addr", "127.0.0.1:0", "--data", dir)
		if b, err := second.CombinedOutput(); err == nil || !strings.Contains(strings.Join(strings.Fields(string(b)), " "), "in use by another evenfoot") {
			t.Errorf("a second server on the library: %v\n%s", err, b)
		}
		if b, err := exec.Command("evenfoot", "library", "check", "--data", dir).CombinedOutput(); err != nil || string(b) != "0 sessions, all as they came\n" {
			t.Errorf("a check while it serves: %v\n%s", err, b)
		}
		if err := cmd.Process.Signal(sig); err != nil {
			t.Fatal(err)
		}
		if err := cmd.Wait(); err != nil {
			t.Errorf("after %v: %v", sig, err)
		}
		late.Stop()
		if !strings.Contains(said.String(), "stopped; the library is closed") || strings.Contains(said.String(), "warning") {
			t.Errorf("after %v standard error holds %q", sig, said.String())
		}
	}
}

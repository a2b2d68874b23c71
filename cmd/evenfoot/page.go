package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"evenfoot/ingest"
	"evenfoot/report/page"
)

func pageCommand(c *console) *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "page --out DIR",
		Short: "Build the static page: logger and analysis in a phone's browser",
		Long: `Build a folder of static files that is evenfoot in a browser: it records a ride
with the phone's sensors, reads the files of watches and loggers, and advises.
Put it on any host that serves HTTPS; opened once, it works without a network,
and no log leaves the phone. It is built by Go's compiler from a checkout.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			if out == "" {
				return usagef("page needs --out, the folder to write")
			}
			return c.page(out)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "`folder` to write; one that holds an earlier page is replaced")
	return cmd
}

func (c *console) page(out string) error {
	if err := mayBePage(out); err != nil {
		return err
	}
	program, wasmExec, err := buildProgram()
	if err != nil {
		return err
	}
	files, err := page.Files(program, wasmExec)
	if err != nil {
		return err
	}
	if err := writeFolder(out, files); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "The page is in %s: %s to download. Serve it over HTTPS.\n", out, sizeOf(files))
	return nil
}

// pageMark is in every page's index.html.
const pageMark = "<title>evenfoot on the beach</title>"

// mayBePage refuses a folder that holds something else than a page.
func mayBePage(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, os.ErrNotExist) || err == nil && len(entries) == 0:
		return nil
	case err != nil:
		return fmt.Errorf("%s cannot be used: %w", dir, ingest.Cause(err))
	}
	if index, err := os.ReadFile(filepath.Join(dir, "index.html")); err != nil || !bytes.Contains(index, []byte(pageMark)) {
		return fmt.Errorf("%s holds files that are no page of evenfoot's; choose another folder, or empty it first", dir)
	}
	files, err := page.Files(nil, nil) // for their names
	if err != nil {
		return err
	}
	for _, e := range entries {
		if _, ours := files[e.Name()]; !ours {
			return fmt.Errorf("%s holds %s, which is no file of the page and would be lost; choose another folder, or move it away first", dir, e.Name())
		}
	}
	return nil
}

// buildProgram has Go build cmd/page for a browser, the same bytes wherever the
// checkout lies.
func buildProgram() (program, wasmExec []byte, err error) {
	tool, err := exec.LookPath("go")
	if err != nil {
		return nil, nil, errors.New("the page is built by Go's compiler, and there is no `go` on the path; install Go, or take a page that somebody built")
	}
	ask := func(args ...string) (string, error) {
		cmd := exec.Command(tool, args...)
		cmd.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm", "GOFLAGS=")
		var said bytes.Buffer
		cmd.Stderr = &said
		text, err := cmd.Output()
		if err != nil {
			return "", fmt.Errorf("go %s failed: %w\n%s", args[0], err, strings.TrimSpace(said.String()))
		}
		return strings.TrimSpace(string(text)), nil
	}
	if _, err := ask("list", "evenfoot/cmd/page"); err != nil {
		return nil, nil, fmt.Errorf("the page is built from a checkout of evenfoot; run this in one (%w)", err)
	}
	root, err := ask("env", "GOROOT")
	if err != nil {
		return nil, nil, err
	}
	dir, err := os.MkdirTemp("", "evenfoot-page-*")
	if err != nil {
		return nil, nil, err
	}
	defer os.RemoveAll(dir)
	to := filepath.Join(dir, "evenfoot.wasm")
	if _, err := ask("build", "-trimpath", "-buildvcs=false", "-ldflags=-s -w -buildid= -X main.version="+versionText(), "-o", to, "evenfoot/cmd/page"); err != nil {
		return nil, nil, err
	}
	if program, err = os.ReadFile(to); err != nil {
		return nil, nil, err
	}
	wasmExec, err = os.ReadFile(filepath.Join(root, "lib", "wasm", "wasm_exec.js"))
	if err != nil {
		err = fmt.Errorf("this Go has no wasm_exec.js, which the page needs: %w", ingest.Cause(err))
	}
	return program, wasmExec, err
}

// writeFolder writes files into a folder, all or none: an earlier folder of the
// name stays until the new one is whole.
func writeFolder(dir string, files map[string][]byte) error {
	cannot := func(err error) error { return fmt.Errorf("cannot write %s: %w", dir, ingest.Cause(err)) }
	dir = filepath.Clean(dir)
	staged, err := os.MkdirTemp(filepath.Dir(dir), ".evenfoot-*")
	if err != nil {
		return cannot(err)
	}
	defer os.RemoveAll(staged)
	if err := os.Chmod(staged, 0o755); err != nil {
		return cannot(err)
	}
	for name, data := range files {
		if err := os.WriteFile(filepath.Join(staged, name), data, 0o644); err != nil {
			return cannot(err)
		}
	}
	old := staged + ".old"
	had := true
	switch err := os.Rename(dir, old); {
	case errors.Is(err, os.ErrNotExist):
		had = false
	case err != nil:
		return cannot(err)
	}
	if err := os.Rename(staged, dir); err != nil {
		if !had {
			return cannot(err)
		}
		if back := os.Rename(old, dir); back != nil {
			return fmt.Errorf("%w; the earlier page is in %s", cannot(err), old)
		}
		return cannot(err)
	}
	if err := os.RemoveAll(old); err != nil {
		return fmt.Errorf("the page is written, but the earlier one stays in %s: %w", old, ingest.Cause(err))
	}
	return nil
}

func sizeOf(files map[string][]byte) string {
	n := 0
	for _, f := range files {
		n += len(f)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

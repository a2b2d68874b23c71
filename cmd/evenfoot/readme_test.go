package main

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the README's outputs and the goldens anew")

const indent = "    "

// TestReadme holds the README to the truth: every command it shows is run, in
// a folder where the demo has run, and must print what the README says.
// After a change of words: go test ./cmd/evenfoot -run TestReadme -update
func TestReadme(t *testing.T) {
	path, err := filepath.Abs(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	if status := run([]string{"demo"}, nil, new(bytes.Buffer), new(bytes.Buffer)); status != exitDone {
		t.Fatalf("the demo ends with status %d", status)
	}
	var out []string
	commands := 0
	lines := strings.Split(string(text), "\n")
	for i := 0; i < len(lines); i++ {
		out = append(out, lines[i])
		command, ok := strings.CutPrefix(lines[i], indent+"$ evenfoot ")
		if !ok {
			continue
		}
		commands++
		var said []string
		for i+1 < len(lines) && strings.HasPrefix(lines[i+1], indent) && !strings.HasPrefix(lines[i+1], indent+"$ ") {
			i++
			said = append(said, lines[i])
		}
		var stdout, stderr bytes.Buffer
		if status := run(strings.Fields(command), nil, &stdout, &stderr); status != exitDone {
			t.Fatalf("%s: status %d\n%s", command, status, stderr.String())
		}
		var prints []string
		for line := range strings.SplitSeq(strings.TrimRight(stdout.String(), "\n"), "\n") {
			prints = append(prints, indent+line)
		}
		if got, want := strings.Join(prints, "\n"), strings.Join(said, "\n"); got != want && !*update {
			t.Errorf("evenfoot %s prints\n%s\nbut the README says\n%s", command, got, want)
		}
		out = append(out, prints...)
	}
	if commands < 4 {
		t.Errorf("the README shows %d commands", commands)
	}
	if *update {
		if err := os.WriteFile(path, []byte(strings.Join(out, "\n")), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

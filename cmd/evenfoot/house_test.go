package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const root = "../.."

// TestImportsPointOneWay holds the house's rule: cmd → report → analysis →
// filter, ingest; and ingest and filter know nothing of the rest.
func TestImportsPointOneWay(t *testing.T) {
	may := map[string][]string{
		"ingest":   {"ingest"},
		"filter":   {"filter"},
		"analysis": {"analysis", "filter", "ingest"},
		"report":   {"report", "analysis", "filter", "ingest"},
		"cmd":      {"report", "analysis", "filter", "ingest"},
	}
	files := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		files++
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		house := strings.Split(filepath.ToSlash(rel), "/")[0]
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, imp := range f.Imports {
			name, err := strconv.Unquote(imp.Path.Value)
			if err != nil {
				return err
			}
			if below, ours := strings.CutPrefix(name, "evenfoot/"); ours {
				if target := strings.Split(below, "/")[0]; !slices.Contains(may[house], target) {
					t.Errorf("%s imports %s, which points the wrong way", rel, name)
				}
				// The library shows results; it knows no physics.
				if strings.HasPrefix(rel, "report/site/") && (strings.HasPrefix(below, "filter") || below == "analysis/trim") {
					t.Errorf("%s imports %s, which is below what a server needs", rel, name)
				}
			}
		}
		return nil
	})
	if err != nil || files < 20 {
		t.Fatalf("%d files read: %v", files, err)
	}
}

// TestTopLevel keeps the house's front tidy.
func TestTopLevel(t *testing.T) {
	allowed := []string{"cmd", "ingest", "filter", "analysis", "report", "testdata", "go.mod", "go.sum",
		"README.md", "DEVELOPERS.md", ".ci", ".git", ".gitignore", "evenfoot-demo"}
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !slices.Contains(allowed, e.Name()) {
			t.Errorf("%s does not belong at the top", e.Name())
		}
	}
}

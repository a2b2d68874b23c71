package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const root = "../.."

// readers is what a reader of one format may know.
var readers = []string{"ingest/raw", "ingest/scan", "ingest/unit", "ingest/near"}

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
	// Leaves know of ours only what stands beside them here, and whoever hands
	// columns on knows no log.
	leaves := map[string][]string{
		"ingest/raw": {"ingest/unit"}, "ingest/scan": {"ingest/unit"}, "ingest/unit": {}, "ingest/near": {},
		"ingest/fit": readers, "ingest/gpx": readers, "ingest/csv": readers, "ingest/nmea": readers,
		"filter": {}, "filter/rotation": {}, "analysis/interval": {}, "analysis/water": {},
	}
	files := 0
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return err
		}
		files++
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		house := strings.Split(filepath.ToSlash(rel), "/")[0]
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
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
				if knows, leaf := leaves[path.Dir(filepath.ToSlash(rel))]; leaf && !slices.Contains(knows, below) {
					t.Errorf("%s imports %s, and is a leaf", rel, name)
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

// TestTheLibrariesWork: what the product is asked to stand on does real work in
// it, and not in tests alone.
func TestTheLibrariesWork(t *testing.T) {
	idle := []string{"github.com/tormoder/fit", "github.com/tkrajina/gpxgo", "gonum.org/v1/gonum", "gonum.org/v1/plot"}
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, imp := range f.Imports {
			idle = slices.DeleteFunc(idle, func(name string) bool { return strings.HasPrefix(imp.Path.Value, `"`+name) })
		}
		return nil
	})
	if err != nil || len(idle) > 0 {
		t.Errorf("nothing of the product imports %v (%v)", idle, err)
	}
}

// TestThePageComputesNothing: pages show what the analysis found. The report
// knows neither the trim model nor the filters; its words know the types of
// the model's findings, and call nothing there.
func TestThePageComputesNothing(t *testing.T) {
	physics := map[string]bool{"evenfoot/analysis/trim": true, "evenfoot/analysis/water": true, "evenfoot/analysis/simulate": true}
	read := 0
	err := filepath.WalkDir(filepath.Join(root, "report"), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		read++
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		inWords := strings.Contains(filepath.ToSlash(path), "report/words/")
		known := map[string]string{} // package name → path, of the physics that words may know
		for _, imp := range f.Imports {
			name, err := strconv.Unquote(imp.Path.Value)
			if err != nil {
				return err
			}
			if strings.HasPrefix(name, "evenfoot/filter") && !inWords || physics[name] && !inWords {
				t.Errorf("%s imports %s", path, name)
			}
			if physics[name] {
				known[name[strings.LastIndex(name, "/")+1:]] = name
			}
		}
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			if of, ok := call.Fun.(*ast.SelectorExpr); ok {
				if x, ok := of.X.(*ast.Ident); ok && known[x.Name] != "" {
					t.Errorf("%s calls %s.%s", path, known[x.Name], of.Sel.Name)
				}
			}
			return true
		})
		return nil
	})
	if err != nil || read < 20 {
		t.Fatalf("%d files read: %v", read, err)
	}
}

// TestWordsInOneRoom: analysis and filter hand over kinds and numbers. An error
// that they word themselves is for a programmer and begins with its package; the
// reader of the setup, which answers line by line, words its own.
func TestWordsInOneRoom(t *testing.T) {
	const sentence = 5 // words, from more on
	verb := regexp.MustCompile(`%\S+`)
	for _, house := range []string{"analysis", "filter"} {
		err := filepath.WalkDir(filepath.Join(root, house), func(file string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") || strings.Contains(filepath.ToSlash(file), "analysis/setup/") {
				return err
			}
			f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(f, func(n ast.Node) bool {
				if l, ok := n.(*ast.Field); ok && l.Tag != nil {
					return false
				}
				if _, ok := n.(*ast.ImportSpec); ok {
					return false
				}
				lit, ok := n.(*ast.BasicLit)
				if !ok || lit.Kind != token.STRING {
					return true
				}
				text, err := strconv.Unquote(lit.Value)
				if err != nil || strings.HasPrefix(text, f.Name.Name+": ") {
					return true
				}
				if n := len(strings.Fields(verb.ReplaceAllString(text, " "))); n > sentence && !kindOf(f, lit) {
					t.Errorf("%s words a sentence: %q", file, text)
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// kindOf says that a literal names a kind: it is the value of a constant.
func kindOf(f *ast.File, lit *ast.BasicLit) (named bool) {
	for _, d := range f.Decls {
		if g, ok := d.(*ast.GenDecl); ok && g.Tok == token.CONST && g.Pos() <= lit.Pos() && lit.End() <= g.End() {
			named = true
		}
	}
	return named
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

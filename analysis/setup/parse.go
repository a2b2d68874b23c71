package setup

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"evenfoot/ingest/near"
)

// maxBytes bounds a setup file; a real one has under 4 kB.
const maxBytes = 1 << 20

// An Error is a setup that cannot be used: which key, on which line, why.
type Error struct {
	File string
	Line int    // 1-based, 0 when not known
	Key  string // entries of lists numbered from 0, "feel.0.front"
	What string
	// Missing says that it is what a setup has to hold.
	Missing bool
	// More is what else is wrong, as far as it does not follow from this.
	More []*Error
}

func (e *Error) Error() string {
	var b strings.Builder
	if e.File != "" {
		b.WriteString(e.File)
		if e.Line > 0 {
			fmt.Fprintf(&b, ":%d", e.Line)
		}
		b.WriteString(": ")
	}
	b.WriteString(e.What)
	return b.String()
}

// A Trouble is why a session cannot be analysed: a kind, and what it is about.
type Trouble struct {
	Kind   string
	Text   []string
	Values []float64
	Err    error // behind it
}

// Words says a Trouble: package report/words puts itself here.
var Words = func(t *Trouble) string { return fmt.Sprint(t.Kind, t.Text, t.Values, t.Err) }

func (t *Trouble) Error() string { return Words(t) }
func (t *Trouble) Unwrap() error { return t.Err }

// Fault is a trouble with an entry of a list such as [[change]], from 0, that
// only the log shows.
func (s *Setup) Fault(table string, entry int, t *Trouble) *Error {
	return &Error{File: s.File, Line: s.lines[fmt.Sprintf("%s.%d", table, entry)], Key: table, What: t.Error()}
}

// Load reads and checks a setup file. The warnings are for merely odd values;
// an *Error says what cannot be used.
func Load(path string) (*Setup, []string, error) {
	f, err := os.Open(path)
	var data []byte
	if err == nil {
		defer f.Close()
		data, err = io.ReadAll(io.LimitReader(f, maxBytes+1))
	}
	if err != nil {
		return nil, nil, &Error{What: "the setup cannot be read: " + err.Error()} // which names the file
	}
	return Parse(path, data)
}

// Parse reads a setup from TOML; name is for messages.
func Parse(name string, data []byte) (*Setup, []string, error) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(data) > maxBytes {
		return nil, nil, &Error{File: name, What: "this file is too long to be a setup"}
	}
	var tree map[string]any
	if err := toml.Unmarshal(data, &tree); err != nil {
		return nil, nil, syntaxError(name, data, err)
	}
	c := &checker{name: name, lines: linesOf(data), values: map[string]any{}, entries: map[string]int{}, written: map[string]float64{}, s: &Setup{File: name}}
	c.table(tree, "", "")
	c.complete()
	c.fill()
	if len(c.wrong) > 0 {
		first := *c.wrong[0]
		first.More = c.wrong[1:]
		return nil, nil, &first
	}
	c.s.lines = c.lines
	return c.s, c.warnings, nil
}

// linesOf finds the line of every key and table that begins one. Entries of
// lists number from 0: "feel.0.speed_kn".
func linesOf(data []byte) map[string]int {
	var p unstable.Parser
	p.Reset(data)
	lines, count := map[string]int{}, map[string]int{}
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		at, line := "", 0
		if e.Kind == unstable.KeyValue {
			at = table
		}
		for it := e.Key(); it.Next(); {
			if count[at] > 0 {
				at = fmt.Sprintf("%s.%d", at, count[at]-1) // its last entry
			}
			at, line = join(at, string(it.Node().Data)), p.Shape(it.Node().Raw).Start.Line
			if lines[at] == 0 {
				lines[at] = line
			}
		}
		switch e.Kind {
		case unstable.Table:
			table = at
		case unstable.ArrayTable:
			table = fmt.Sprintf("%s.%d", at, count[at])
			count[at]++
			lines[table] = line
		}
	}
	return lines
}

// line is where a key stands, or the value written in line that holds it; 0
// when it is not in the file.
func (c *checker) line(id string) int {
	for c.lines[id] == 0 && id != "" {
		id = id[:max(0, strings.LastIndex(id, "."))]
	}
	return c.lines[id]
}

// join is a dotted key. A quoted name with a point in it is not two names.
func join(table, name string) string {
	if strings.Contains(name, ".") {
		name = strconv.Quote(name)
	}
	if table == "" {
		return name
	}
	return table + "." + name
}

// table takes in what is written under a table, the first line first, and
// refuses what a setup does not know. id is the table with entries of lists
// numbered, as the values are kept until all is known to be there.
func (c *checker) table(tree map[string]any, table, id string) {
	keys, tables := names()
	inOrder := func(a, b string) int { return cmp.Or(c.line(join(id, a))-c.line(join(id, b)), strings.Compare(a, b)) }
	for _, name := range slices.SortedFunc(maps.Keys(tree), inOrder) {
		key, at := join(table, name), join(id, name)
		known, isList := slices.Contains(tables, key), slices.Contains(Lists, key)
		sub, asTable := tree[name].(map[string]any)
		entries, asList := tablesIn(tree[name])
		switch {
		case KeyNamed(key) != nil:
			c.s.SetGiven(key)
			c.values[at] = tree[name]
		case !known && (asTable || asList):
			c.failAt(key, c.line(at), "unknown table [%s].%s", key, didYouMean("[%s]", nearest(key, tables)))
		case !known:
			c.failAt(key, c.line(at), "unknown key %q.%s", key, didYouMean("%s", nearest(key, keys)))
		case isList && asTable:
			c.failAt(key, c.line(at), "[%s] may stand several times: write [[%s]]", key, key)
		case asList && !isList:
			c.failAt(key, c.line(at), "[[%s]] may stand only once: write [%s]", key, key)
		case asTable:
			c.table(sub, key, at)
		case asList:
			c.entries[key] = len(entries)
			for n, e := range entries {
				c.table(e, key, fmt.Sprintf("%s.%d", at, n))
			}
		default:
			c.failAt(key, c.line(at), "%s is a table, not a value: write it as %s on a line of its own", key, bracketed(key))
		}
	}
}

// tablesIn are the entries of a list of tables.
func tablesIn(v any) (out []map[string]any, ok bool) {
	list, _ := v.([]any)
	for _, e := range list {
		t, ok := e.(map[string]any)
		if !ok {
			return nil, false
		}
		out = append(out, t)
	}
	return out, len(out) > 0
}

func didYouMean(format, word string) string {
	if word == "" {
		return ""
	}
	return fmt.Sprintf(" Did you mean "+format+"?", word)
}

// nearest is the known name that takes the fewest edits, "" when none is near.
// One that only sits in the wrong table is found by its last part.
func nearest(name string, known []string) string {
	last := func(s string) string { return s[strings.LastIndex(s, ".")+1:] }
	best, least := "", 1+max(2, len(last(name))/2)
	for _, k := range known {
		d := min(near.Edits(name, k), 1+near.Edits(last(name), last(k)))
		if strings.HasPrefix(k, name+"_") {
			d = 1 // the unit alone is left out
		}
		if d < least {
			best, least = k, d
		}
	}
	return best
}

func syntaxError(name string, data []byte, err error) error {
	var dec *toml.DecodeError
	if !errors.As(err, &dec) {
		return &Error{File: name, What: "not a valid setup: " + strings.TrimPrefix(err.Error(), "toml: ")}
	}
	row, col := dec.Position()
	line := ""
	if lines := strings.Split(string(data), "\n"); row >= 1 && row <= len(lines) {
		line = strings.TrimSpace(lines[row-1])
	}
	return &Error{File: name, Line: row, What: slip(line, col)}
}

var (
	decimalComma = regexp.MustCompile(`^[\w.]+\s*=\s*([-+]?\d+),(\d+)`)
	bareWord     = regexp.MustCompile(`^[\w.]+\s*=\s*\pL`)
	noValue      = regexp.MustCompile(`^[\w.]+\s*(=\s*)?(#|$)`)
)

// slip says in plain words what is wrong with a line that is not valid TOML.
func slip(line string, col int) string {
	shown := []rune(line)
	if len(shown) > 60 {
		shown = append(shown[:60], '…')
	}
	what := "this line cannot be read: " + strconv.Quote(string(shown)) + "."
	comma := decimalComma.FindStringSubmatch(line)
	switch {
	case comma != nil:
		return what + " A number takes a point, not a comma: " + comma[1] + "." + comma[2]
	case bareWord.MatchString(line):
		return what + ` Text stands in quotes, for example "wing"; true and false stand without`
	case noValue.MatchString(line):
		return what + " The key has no value"
	}
	return what + fmt.Sprintf(" The trouble starts at column %d: each line is a key = value, or a [table]", col)
}

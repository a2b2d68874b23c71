package setup

import (
	"bytes"
	"errors"
	"fmt"
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
	Line int // 1-based, 0 when not known
	Key  string
	What string
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

// Load reads and checks a setup file. The warnings are for merely odd values;
// an *Error says what cannot be used.
func Load(path string) (*Setup, []string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, nil, &Error{File: path, What: "this setup cannot be opened: " + cause(err)}
	}
	if info.IsDir() {
		return nil, nil, &Error{File: path, What: "this is a folder, not a setup file; name the setup.toml in it"}
	}
	if info.Size() > maxBytes {
		return nil, nil, &Error{File: path, What: fmt.Sprintf("this file has %d bytes; a setup is a short text, so it is something else", info.Size())}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, &Error{File: path, What: "this setup cannot be read: " + cause(err)}
	}
	return Parse(path, data)
}

func cause(err error) string {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
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
	c := &checker{name: name, lines: map[string]int{}, written: map[string]float64{}, s: &Setup{File: name}}
	c.walk(data)
	c.complete()
	c.fill(tree)
	if c.err != nil {
		return nil, nil, c.err
	}
	return c.s, c.warnings, nil
}

// walk finds the line of every key and table, notes what is given, and
// refuses what a setup does not know. List entries number from 0:
// "feel.0.speed_kn".
func (c *checker) walk(data []byte) {
	var p unstable.Parser
	p.Reset(data)
	count := map[string]int{}
	table, entry := "", "" // as in the key table, and numbered
	for c.err == nil && p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table, _ = c.path(&p, "", e)
			entry = table
			if slices.Contains(lists, table) {
				entry = fmt.Sprintf("%s.%d", table, count[table])
				count[table]++
			}
			_, c.lines[entry] = c.path(&p, "", e)
			c.header(table, entry, e.Kind == unstable.ArrayTable)
		case unstable.KeyValue:
			c.pair(&p, table, entry, e)
		}
	}
}

// path is the dotted key of a node under a table, and its line.
func (c *checker) path(p *unstable.Parser, table string, n *unstable.Node) (key string, line int) {
	var parts []string
	if table != "" {
		parts = append(parts, table)
	}
	for it := n.Key(); it.Next(); {
		part := string(it.Node().Data)
		if strings.Contains(part, ".") {
			part = strconv.Quote(part) // a quoted key with a point in it is not two keys
		}
		parts = append(parts, part)
		line = p.Shape(it.Node().Raw).Start.Line
	}
	return strings.Join(parts, "."), line
}

// header checks a [table] or [[list]].
func (c *checker) header(table, entry string, asList bool) {
	isList := slices.Contains(lists, table)
	switch {
	case !slices.Contains(tables(), table):
		c.failAt(table, c.lines[entry], "unknown table [%s].%s", table, didYouMean("[%s]", nearest(table, tables())))
	case isList && !asList:
		c.failAt(table, c.lines[entry], "[%s] may stand several times: write [[%s]]", table, table)
	case asList && !isList:
		c.failAt(table, c.lines[entry], "[[%s]] may stand only once: write [%s]", table, table)
	}
}

// pair checks one key = value, and those of a table that is written in line.
func (c *checker) pair(p *unstable.Parser, table, entry string, n *unstable.Node) {
	key, line := c.path(p, table, n)
	id, _ := c.path(p, entry, n)
	c.lines[id] = line
	v := n.Value()
	switch {
	case KeyNamed(key) != nil:
		c.s.SetGiven(key)
	case v.Kind == unstable.InlineTable:
		c.header(key, id, false)
		for it := v.Children(); c.err == nil && it.Next(); {
			c.pair(p, key, id, it.Node())
		}
	case v.Kind == unstable.Array && slices.Contains(lists, key):
		i := 0
		for it := v.Children(); c.err == nil && it.Next(); i++ {
			at := fmt.Sprintf("%s.%d", id, i)
			c.lines[at] = line
			for in := it.Node().Children(); c.err == nil && it.Node().Kind == unstable.InlineTable && in.Next(); {
				c.pair(p, key, at, in.Node())
			}
		}
	case slices.Contains(tables(), key):
		c.header(key, id, slices.Contains(lists, key))
		c.failAt(key, line, "%s is a table, not a value: write it as [%s] on a line of its own", key, key)
	default:
		c.failAt(key, line, "unknown key %q.%s", key, didYouMean("%s", nearest(key, keyNames())))
	}
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
	best, dist := "", 1<<30
	for _, k := range known {
		d := near.Edits(name, k)
		if last(k) == last(name) {
			d = min(d, 1)
		} else {
			d = min(d, 1+near.Edits(last(name), last(k)))
		}
		if d < dist {
			best, dist = k, d
		}
	}
	if dist > max(2, len(last(name))/2) {
		return ""
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
	decimalComma = regexp.MustCompile(`^[\w.]+\s*=\s*[-+]?\d+,\d`)
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
	switch {
	case decimalComma.MatchString(line):
		return what + " A number takes a point, not a comma: 93.5"
	case bareWord.MatchString(line):
		return what + ` Text stands in quotes, for example "wing"; true and false stand without`
	case noValue.MatchString(line):
		return what + " The key has no value"
	}
	return what + fmt.Sprintf(" The trouble starts at column %d: each line is a key = value, or a [table]", col)
}

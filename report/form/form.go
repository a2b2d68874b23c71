// Package form is a setup as a form: its fields come from the table of keys of
// analysis/setup, with labels, units, help and defaults, and what is filled in
// becomes the TOML that the command reads. What a rider remembers of an outing
// is put into its setup here too.
//
// It imports analysis, analysis/setup and report/words.
package form

import (
	_ "embed"
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// Script is a module that puts what is wrong beside the fields, as one types.
//
//go:embed form.js
var Script []byte

// Fields are the values of a form by the names of its fields: a key's dotted
// name, with the number of the entry in a list ("feel.0.speed_kn") and of the
// value in a pair ("board.track_cm.1").
type Fields map[string]string

// spare is how many empty entries a list has beside those filled in.
const spare = 3

// maxEntries bounds how many entries of a list the form holds.
const maxEntries = 200

// Read takes the fields out of a setup. Only its TOML must be sound; whether
// the values are is for [setup.Parse] to say.
func Read(text []byte) (Fields, error) {
	var tree map[string]any
	if err := toml.Unmarshal(text, &tree); err != nil {
		return nil, err
	}
	for _, table := range setup.Lists {
		switch v := tree[table].(type) {
		case nil:
		case []any:
			if len(v) > maxEntries {
				return nil, tooMany(table)
			}
		default:
			return nil, fmt.Errorf("%s stands once and is no list: write [[%s]] for each entry", table, table)
		}
	}
	f := Fields{}
	f.take("", tree)
	return f, nil
}

// entryNumber is that of an entry in a field's name: an unknown key is told without.
var entryNumber = regexp.MustCompile(`\.\d+`)

// Lost says what of a setup the form has no field for; nil where it holds all.
// name is the file's, for the message.
func Lost(name string, text []byte) error {
	f, err := Read(text)
	if err != nil {
		return err
	}
	left := maps.Clone(f)
	for i := range setup.Keys {
		for n := range f.entries(setup.Keys[i].Table()) {
			for _, field := range inputs(&setup.Keys[i], n) {
				delete(left, field)
			}
		}
	}
	maps.DeleteFunc(left, func(_, v string) bool { return strings.TrimSpace(v) == "" })
	if len(left) == 0 {
		return nil
	}
	_, _, err = setup.Parse(name, text)
	var bad *setup.Error
	if errors.As(err, &bad) {
		for _, e := range append([]*setup.Error{bad}, bad.More...) {
			for field := range left {
				if strings.HasPrefix(field+".", e.Key+".") || strings.HasPrefix(entryNumber.ReplaceAllString(field, "")+".", e.Key+".") {
					return e
				}
			}
		}
	}
	return fmt.Errorf("no field is for %s", strings.Join(slices.Sorted(maps.Keys(left)), ", "))
}

func tooMany(table string) error {
	return fmt.Errorf("there are too many [[%s]]: the form holds %d", table, maxEntries)
}

func (f Fields) take(name string, v any) {
	below := func(k string) string { return strings.TrimPrefix(name+"."+k, ".") }
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			f.take(below(k), x)
		}
	case []any:
		for i, x := range v {
			f.take(below(strconv.Itoa(i)), x)
		}
	default:
		f[name] = fmt.Sprint(v)
	}
}

// inputs are the names of the fields that entry n of a key is typed into.
func inputs(k *setup.Key, n int) []string {
	name := k.Entry(n)
	if kindOf(k) == pair {
		return []string{name + ".0", name + ".1"}
	}
	return []string{name}
}

// entries is how many entries of a table are filled in, at most one more than
// the form holds; 1 for what is no list.
func (f Fields) entries(table string) int {
	if !slices.Contains(setup.Lists, table) {
		return 1
	}
	n := 0
	for name, v := range f {
		if rest, ok := strings.CutPrefix(name, table+"."); ok && strings.TrimSpace(v) != "" {
			at, _, _ := strings.Cut(rest, ".")
			if i, err := strconv.Atoi(at); err == nil {
				n = max(n, min(i, maxEntries)+1)
			}
		}
	}
	return n
}

// tables are all tables in the order of the keys.
func tables() (out []string) {
	for i := range setup.Keys {
		if t := setup.Keys[i].Table(); !slices.Contains(out, t) {
			out = append(out, t)
		}
	}
	return out
}

func keysOf(table string) (out []*setup.Key) {
	for i := range setup.Keys {
		if setup.Keys[i].Table() == table {
			out = append(out, &setup.Keys[i])
		}
	}
	return out
}

// TOML is the setup that the form holds. Empty fields are left out; numbers may
// have a decimal comma.
func (f Fields) TOML() (string, error) {
	text, _, err := f.toml()
	return text, err
}

// toml is the setup, and which entries of the form its entries of lists are.
func (f Fields) toml() (text string, from map[string][]int, err error) {
	from = map[string][]int{}
	for _, table := range setup.Lists {
		entries := f.entries(table)
		if entries > maxEntries {
			return "", nil, tooMany(table)
		}
		for n := range entries {
			if slices.ContainsFunc(keysOf(table), func(k *setup.Key) bool { return f.value(k, n) != nil }) {
				from[table] = append(from[table], n)
			}
		}
	}
	text, err = setup.Text(f.entries, f.value)
	return text, from, err
}

// A Problem is what is wrong with a field, or with an entry of a list
// ("feel.0"); with the whole where Field is "".
type Problem struct {
	Field string `json:"field"`
	Text  string `json:"text"`
}

// ID is the id of the problem's place in the form.
func (p Problem) ID() string { return idOf(p.Field) }

// Label names the place.
func (p Problem) Label() string {
	part := strings.Split(p.Field, ".")
	if len(part) < 2 || !slices.Contains(setup.Lists, part[0]) {
		if k := setup.KeyNamed(strings.TrimSuffix(strings.TrimSuffix(p.Field, ".0"), ".1")); k != nil {
			return words.SetupLabel(k)
		}
		return p.Field
	}
	n, _ := strconv.Atoi(part[1]) // the form's own number
	label := words.SetupEntry(part[0], n)
	if len(part) == 3 {
		if k := setup.KeyNamed(part[0] + "." + part[2]); k != nil {
			label += ", " + words.SetupLabel(k)
		}
	}
	return label
}

// Check is the setup that the form holds, what is wrong with it, and what is
// odd.
func (f Fields) Check() (text string, wrong []Problem, odd []string) {
	text, from, err := f.toml()
	if err != nil {
		return "", []Problem{{"", err.Error()}}, nil
	}
	add := func(field, text string) {
		if !slices.ContainsFunc(wrong, func(p Problem) bool { return p.Field == field }) {
			wrong = append(wrong, Problem{field, text})
		}
	}
	for i := range setup.Keys {
		k := &setup.Keys[i]
		if k.Required && strings.TrimSpace(f[k.Name]) == "" {
			add(k.Name, words.SetupNeeded)
		}
		for n := range f.entries(k.Table()) {
			for _, name := range inputs(k, n) {
				if typed, no := number(f[name]).(string); no && (kindOf(k) == amount || kindOf(k) == pair) {
					add(name, words.NoNumber(typed))
				}
			}
		}
	}
	_, odd, err = setup.Parse("", []byte(text))
	var bad *setup.Error
	if errors.As(err, &bad) {
		for _, e := range append([]*setup.Error{bad}, bad.More...) {
			add(place(e.Key, from), words.SetupProblem(e))
		}
	} else if err != nil {
		add("", err.Error())
	}
	return text, wrong, odd
}

// place is the field that a key of the setup stands in.
func place(key string, from map[string][]int) string {
	part := strings.SplitN(key, ".", 3)
	if len(part) > 1 && slices.Contains(setup.Lists, part[0]) {
		if n, err := strconv.Atoi(part[1]); err == nil && n < len(from[part[0]]) {
			part[1] = strconv.Itoa(from[part[0]][n])
		}
		return strings.Join(part, ".")
	}
	if k := setup.KeyNamed(key); k != nil {
		return inputs(k, 0)[0]
	}
	return key
}

// Next is what the next outing may start from: the board and the rider,
// without what belongs to this outing alone, which would be false evidence.
func (f Fields) Next() Fields {
	next := maps.Clone(f)
	maps.DeleteFunc(next, func(name, _ string) bool {
		table, _, _ := strings.Cut(name, ".")
		return table == "title" || table == "marks" || slices.Contains(setup.Lists, table)
	})
	return next
}

// value is what entry n of a key holds, in the type that the reader wants as
// far as the text has it; nil where nothing is filled in.
func (f Fields) value(k *setup.Key, n int) any {
	names := inputs(k, n)
	if kindOf(k) == pair {
		low, high := number(f[names[0]]), number(f[names[1]])
		if low == nil && high == nil {
			return nil
		}
		for _, side := range []*any{&low, &high} {
			if *side == nil {
				*side = "" // the reader says that it is no number
			}
		}
		return []any{low, high}
	}
	text := strings.TrimSpace(f[names[0]])
	switch {
	case text == "":
		return nil
	case kindOf(k) == yesNo && slices.Contains(yesNoWords, text):
		return text == "true"
	case kindOf(k) == amount || k.Name == "feel.front":
		return number(text)
	}
	return text
}

// number is a number as typed, or the text where it is none: the reader then
// says so.
func number(text string) any {
	text = strings.TrimSpace(text)
	if text == "" {
		return nil
	}
	plain := strings.Replace(strings.ReplaceAll(text, "−", "-"), ",", ".", 1)
	if n, err := strconv.ParseInt(plain, 10, 64); err == nil {
		return n
	}
	if x, err := strconv.ParseFloat(plain, 64); err == nil && x-x == 0 {
		return x
	}
	return text
}

// kinds of values.
type kind int

const (
	word kind = iota
	amount
	yesNo
	pair
)

// yesNoWords are a yesNo's values.
var yesNoWords = []string{"true", "false"}

func kindOf(k *setup.Key) kind {
	v := k.Default
	if v == nil {
		v = k.Example
	}
	switch v.(type) {
	case float64, int:
		return amount
	case bool:
		return yesNo
	case [2]float64:
		return pair
	case nil:
		return amount // it has limits, or is another way to write a number
	}
	return word
}

// Package form is a setup as a form: its fields come from the table of keys of
// analysis/setup, with labels, units, help and defaults, and what is filled in
// becomes the TOML that the command reads.
//
// It imports analysis/setup and report/words.
package form

import (
	"fmt"
	"html"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// Fields are the values of a form by the names of its fields: a key's dotted
// name, with the number of the entry in a list ("feel.0.speed_kn") and of the
// value in a pair ("board.track_cm.1").
type Fields map[string]string

// spare is how many empty entries a list has beside those filled in.
const spare = 3

// maxEntries bounds how many entries of a list the form holds.
const maxEntries = 200

// lists are the tables that may stand several times.
var lists = []string{"feel", "mark", "change", "glide"}

// Read takes the fields out of a setup. Only its TOML must be sound; whether
// the values are is for [setup.Parse] to say.
func Read(text []byte) (Fields, error) {
	var tree map[string]any
	if err := toml.Unmarshal(text, &tree); err != nil {
		return nil, err
	}
	for _, table := range lists {
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

// entries is how many entries of a table are filled in, at most one more than
// the form holds; 1 for what is no list.
func (f Fields) entries(table string) int {
	if !slices.Contains(lists, table) {
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
	for _, table := range lists {
		if f.entries(table) > maxEntries {
			return "", tooMany(table)
		}
	}
	return setup.Text(f.entries, f.value)
}

// value is what entry n of a key holds, in the type that the reader wants as
// far as the text has it; nil where nothing is filled in.
func (f Fields) value(k *setup.Key, n int) any {
	name := k.Entry(n)
	if kindOf(k) == pair {
		low, high := number(f[name+".0"]), number(f[name+".1"])
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
	text := strings.TrimSpace(f[name])
	switch {
	case text == "":
		return nil
	case kindOf(k) == yesNo:
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

// HTML is the form's fields, a fieldset a table; the notes of feel come first.
func (f Fields) HTML() string {
	var b strings.Builder
	order := slices.DeleteFunc(tables(), func(t string) bool { return t == "feel" })
	for _, table := range slices.Insert(order, 1, "feel") {
		f.fieldset(&b, table)
	}
	return b.String()
}

func (f Fields) fieldset(b *strings.Builder, table string) {
	needed := slices.ContainsFunc(keysOf(table), func(k *setup.Key) bool { return k.Required })
	open := ""
	if needed || table == "" || table == "feel" || f.given(table) {
		open = " open"
	}
	fmt.Fprintf(b, `<details%s><summary>%s</summary>`, open, html.EscapeString(words.SetupTable(table)))
	n := f.entries(table)
	if slices.Contains(lists, table) {
		n += spare
	}
	for i := range n {
		class := ""
		if !slices.Contains(lists, table) {
			class = ` class="quiet"` // it stands above already, for eyes
		}
		fmt.Fprintf(b, `<fieldset><legend%s>%s</legend>`, class, html.EscapeString(words.SetupEntry(table, i)))
		for _, k := range keysOf(table) {
			if other := k.Table() == "feel" && strings.Contains(k.Name, "speed_") && k.Example == nil; !other || f[k.Entry(i)] != "" {
				f.input(b, k, i)
			}
		}
		b.WriteString("</fieldset>")
	}
	b.WriteString("</details>")
}

func (f Fields) given(table string) bool {
	for name, v := range f {
		if strings.HasPrefix(name, table+".") && v != "" {
			return true
		}
	}
	return false
}

// input is one line of the form.
func (f Fields) input(b *strings.Builder, k *setup.Key, n int) {
	name := k.Entry(n)
	unit, _ := k.Unit()
	label := words.SetupLabel(k)
	if unit != "" {
		label += ", " + unit
	}
	help := k.Help
	if help == k.Label {
		help = ""
	}
	required := ""
	if k.Required {
		required = ` data-needed`
		label += " *"
	}
	id := "f-" + strings.ReplaceAll(name, ".", "-")
	esc := html.EscapeString
	text := func(name, id, label, example string) {
		mode := ""
		if kindOf(k) == amount || kindOf(k) == pair {
			mode = ` inputmode="decimal"`
		}
		fmt.Fprintf(b, `<p><label for="%s">%s</label><input id="%s" name="%s" value="%s" placeholder="%s" autocomplete="off"%s%s aria-describedby="%s-h"><small id="%s-h">%s</small></p>`,
			id, esc(label), id, esc(name), esc(f[name]), esc(example), mode, required, id, id, esc(help))
	}
	choose := func(options []string, shown func(string) string) {
		fmt.Fprintf(b, `<p><label for="%s">%s</label><select id="%s" name="%s" aria-describedby="%s-h"><option value="">%s</option>`, id, esc(label), id, esc(name), id, esc(usual(k)))
		for _, o := range options {
			chosen := ""
			if f[name] == o {
				chosen = " selected"
			}
			fmt.Fprintf(b, `<option value="%s"%s>%s</option>`, esc(o), chosen, esc(shown(o)))
		}
		fmt.Fprintf(b, `</select><small id="%s-h">%s</small></p>`, id, esc(help))
	}
	switch {
	case kindOf(k) == pair:
		d, _ := k.Default.([2]float64)
		for i, side := range []string{words.PairFirst, words.PairSecond} {
			text(fmt.Sprintf("%s.%d", name, i), fmt.Sprintf("%s-%d", id, i), label+", "+side, fmt.Sprint(d[i]))
		}
	case kindOf(k) == yesNo:
		choose([]string{"true", "false"}, words.YesNo)
	case k.Words != nil:
		choose(k.Words, func(s string) string { return s })
	default:
		text(name, id, label, usual(k))
	}
}

// usual is what stands in an empty field: the default, or an example of what is
// needed.
func usual(k *setup.Key) string {
	switch {
	case kindOf(k) == yesNo:
		return words.SetupDefault(words.YesNo(fmt.Sprint(k.Default)))
	case k.Default != nil:
		if x, ok := k.Default.(float64); ok {
			return words.SetupDefault(strconv.FormatFloat(x, 'g', 3, 64))
		}
		return words.SetupDefault(fmt.Sprint(k.Default))
	case k.Example != nil && fmt.Sprint(k.Example) != "":
		return words.SetupExample(fmt.Sprint(k.Example))
	}
	return ""
}

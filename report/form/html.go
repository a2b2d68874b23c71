package form

import (
	"fmt"
	"html"
	"slices"
	"strconv"
	"strings"

	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// A Look is how a form is shown.
type Look struct {
	Units words.Units // new notes of feel are asked for in its unit of speed
	Wrong []Problem
}

func (l Look) wrong(field string) string {
	for _, p := range l.Wrong {
		if p.Field == field {
			return p.Text
		}
	}
	return ""
}

// HTML is the form's fields, a fieldset a table; the notes of feel come first.
func (f Fields) HTML(l Look) string {
	var b strings.Builder
	order := slices.DeleteFunc(tables(), func(t string) bool { return t == "feel" })
	for _, table := range slices.Insert(order, 1, "feel") {
		f.fieldset(&b, table, l)
	}
	b.WriteString(`<datalist id="feels">`)
	for _, w := range setup.Feels() {
		fmt.Fprintf(&b, `<option value="%s"></option>`, w)
	}
	b.WriteString("</datalist>")
	return b.String()
}

func (f Fields) fieldset(b *strings.Builder, table string, l Look) {
	needed := slices.ContainsFunc(keysOf(table), func(k *setup.Key) bool { return k.Required })
	open := ""
	if needed || table == "" || table == "feel" || f.given(table) {
		open = " open"
	}
	fmt.Fprintf(b, `<details%s><summary>%s</summary>`, open, html.EscapeString(words.SetupTable(table)))
	n := f.entries(table)
	if slices.Contains(setup.Lists, table) {
		n += spare
	}
	for i := range n {
		of, class := table, ` class="quiet"` // it stands above already, for eyes
		if slices.Contains(setup.Lists, table) {
			of, class = fmt.Sprintf("%s.%d", table, i), ""
		}
		fmt.Fprintf(b, `<fieldset id="%s"><legend%s>%s</legend>`, idOf(of), class, html.EscapeString(words.SetupEntry(table, i)))
		if text := l.wrong(of); text != "" && of != "" {
			fmt.Fprintf(b, `<strong class="wrong">%s</strong>`, html.EscapeString(text))
		}
		for _, k := range keysOf(table) {
			if k.Table() == "feel" && k.Name != "feel.front" && k.Name != "feel.speed_"+l.Units.OrDefault().Speed && f[k.Entry(i)] == "" {
				continue // a speed has one unit
			}
			f.input(b, k, i, l)
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

func idOf(name string) string { return "f-" + strings.ReplaceAll(name, ".", "-") }

// input is one line of the form, or two of a pair.
func (f Fields) input(b *strings.Builder, k *setup.Key, n int, l Look) {
	label, esc := words.SetupLabel(k), html.EscapeString
	if unit, _ := k.Unit(); unit != "" {
		label += ", " + unit
	}
	if k.Required {
		label += " *"
	}
	line := func(name, label string, options []string, example string) {
		id, more, notes := idOf(name), "", ""
		if s := l.wrong(name); s != "" {
			more, notes = id+"-e ", fmt.Sprintf(`<strong class="wrong" id="%s-e">%s</strong>`, id, esc(s))
		}
		if k.Help != "" && k.Help != k.Label {
			more, notes = more+id+"-h", notes+fmt.Sprintf(`<small id="%s-h">%s</small>`, id, esc(k.Help))
		}
		if more != "" {
			more = fmt.Sprintf(` aria-describedby="%s"`, strings.TrimSpace(more))
		}
		if l.wrong(name) != "" {
			more += ` aria-invalid="true"`
		}
		fmt.Fprintf(b, `<p><label for="%s">%s</label>`, id, esc(label))
		if options != nil {
			fmt.Fprintf(b, `<select id="%s" name="%s"%s><option value="">%s</option>%s</select>%s</p>`, id, esc(name), more, esc(example), f.options(name, options), notes)
			return
		}
		if kindOf(k) == amount || kindOf(k) == pair {
			more += ` inputmode="decimal"`
		}
		if slices.Contains([]string{"feel.front", "mark.front", "marks.means"}, k.Name) {
			more += ` list="feels"`
		}
		fmt.Fprintf(b, `<input type="text" id="%s" name="%s" value="%s" placeholder="%s" autocomplete="off"%s>%s</p>`, id, esc(name), esc(f[name]), esc(example), more, notes)
	}
	names := inputs(k, n)
	switch {
	case kindOf(k) == pair:
		d, _ := k.Default.([2]float64)
		for i, side := range []string{words.PairFirst, words.PairSecond} {
			line(names[i], label+", "+side, nil, words.SetupDefault(fmt.Sprint(d[i])))
		}
	case kindOf(k) == yesNo:
		line(names[0], label, yesNoWords, usual(k))
	default:
		line(names[0], label, k.Words, usual(k))
	}
}

// options are what can be chosen in a field, and what was, should it be none of them.
func (f Fields) options(name string, all []string) string {
	var b strings.Builder
	if f[name] != "" && !slices.Contains(all, f[name]) {
		all = append(slices.Clone(all), f[name]) // wrong, and shown to be mended
	}
	for _, o := range all {
		chosen, shown := "", o
		if f[name] == o {
			chosen = " selected"
		}
		if slices.Contains(yesNoWords, o) {
			shown = words.YesNo(o)
		}
		fmt.Fprintf(&b, `<option value="%s"%s>%s</option>`, html.EscapeString(o), chosen, html.EscapeString(shown))
	}
	return b.String()
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

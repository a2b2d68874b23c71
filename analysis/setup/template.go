package setup

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

const templateHead = `# A setup for evenfoot. Lengths along the deck count from the mast's centreline,
# + towards the nose. The lines that stand free are needed and must be right.
# The rest has a default: take the # away only from what you know, since a number
# that is given counts as measured. A missing line is better than a guess.
`

// tableHelp is what the template says of a whole table.
var tableHelp = map[string]string{
	"stance": "middle of each foot",
	"feel":   "what you noticed, as many notes as you have: they narrow the advice the most",
	"marks":  "marks that you set while riding",
	"mark":   "one mark put right, as many as there are",
	"change": "a change made within one log, counted from the setup at its start",
	"glide":  "times without pull in the rig",
}

// Template is a commented setup to fill in, with the numbers of a common
// board under the given rig.
func Template(rig string) (string, error) {
	if !slices.Contains(Rigs(), rig) {
		return "", fmt.Errorf("the rig %q is not known: use %s", rig, strings.Join(Rigs(), ", "))
	}
	var b strings.Builder
	b.WriteString(templateHead)
	table := "-"
	for _, k := range Keys {
		if k.other {
			continue
		}
		if t := k.Table(); t != table {
			table = t
			b.WriteString("\n" + heading(t))
		}
		v, free := k.Default, k.Required
		switch {
		case k.Name == "rig.kind":
			v, free = rig, rig != k.Default // what was asked for is given
		case k.Name == "rig.lift_fraction":
			v = rigKind(rig).lift
		case v == nil:
			v = k.Example
		}
		line := k.last() + " = " + literal(v)
		if !free {
			line = "# " + line
		}
		if help := k.help(); help != "" {
			line = fmt.Sprintf("%-26s # %s", line, help)
		}
		b.WriteString(line + "\n")
	}
	return b.String(), nil
}

// Text writes a setup in the order of [Keys]: what value has of a key in an
// entry of its list, from 0, nil for nothing. entries says how many a list has.
func Text(entries func(list string) int, value func(k *Key, entry int) any) (string, error) {
	var b strings.Builder
	_, tables := names()
	for _, table := range append([]string{""}, tables...) {
		count := 1
		if slices.Contains(Lists, table) {
			count = entries(table)
		}
		for n := range count {
			head := "\n" + bracketed(table) + "\n"
			if table == "" {
				head = ""
			}
			for i := range Keys {
				k := &Keys[i]
				if k.Table() != table {
					continue
				}
				v := value(k, n)
				if v == nil {
					continue
				}
				text, err := json.Marshal(v) // JSON's text, numbers and lists are TOML's too
				if err != nil {
					return "", fmt.Errorf("%s cannot be written: %w", k.Name, err)
				}
				b.WriteString(head + k.last() + " = " + string(text) + "\n")
				head = ""
			}
		}
	}
	return strings.TrimPrefix(b.String(), "\n"), nil
}

func heading(table string) string {
	help := tableHelp[table]
	switch {
	case table == "":
		return ""
	case slices.Contains(Lists, table):
		return "# " + help + "\n# " + bracketed(table) + "\n"
	case help != "":
		return fmt.Sprintf("%-26s # %s\n", bracketed(table), help)
	}
	return bracketed(table) + "\n"
}

// bracketed is a table's header as it is written: [rider], [[feel]].
func bracketed(table string) string {
	if slices.Contains(Lists, table) {
		return "[[" + table + "]]"
	}
	return "[" + table + "]"
}

// help is the comment behind a key: needed, what it is, which words it takes.
func (k *Key) help() string {
	var parts []string
	if k.Help != "" {
		parts = append(parts, k.Help)
	}
	if k.Words != nil {
		parts = append(parts, strings.Join(k.Words, " | "))
	}
	text := strings.Join(parts, ": ")
	if k.Required {
		return strings.TrimSuffix("needed: "+text, ": ")
	}
	return text
}

// literal writes a value as TOML.
func literal(v any) string {
	switch x := v.(type) {
	case string:
		return strconv.Quote(x)
	case float64:
		short, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 3, 64), 64)
		return strconv.FormatFloat(short, 'f', -1, 64)
	case [2]float64:
		return fmt.Sprintf("[%g, %g]", x[0], x[1])
	}
	return fmt.Sprint(v)
}

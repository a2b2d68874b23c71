package words

import (
	"fmt"
	"strings"

	"evenfoot/analysis/setup"
)

// setupTables are the headings of a setup's form.
var setupTables = map[string]string{
	"": "This outing", "rider": "Rider", "stance": "Feet", "board": "Board", "rig": "Rig", "foil": "Mast", "foil.wing": "Front wing",
	"foil.stabilizer": "Stabilizer and shim", "foil.fuselage": "Fuselage", "foil.finish": "Surfaces", "water": "Water", "sensor": "Logger",
	"feel": "What you felt", "marks": "Marks set while riding", "mark": "Marks put right", "change": "Changes made on the water", "glide": "Times without pull in the rig",
}

// SetupTable is the heading of a table of the setup's form.
func SetupTable(table string) string {
	if t, ok := setupTables[table]; ok {
		return t
	}
	return table
}

// SetupEntry is the heading of entry n, from 0, of a table.
func SetupEntry(table string, n int) string {
	switch table {
	case "feel":
		return fmt.Sprintf("Note %d", n+1)
	case "mark", "change", "glide":
		return fmt.Sprintf("%s %d", UpperFirst(table), n+1)
	}
	return SetupTable(table)
}

// setupLabels are the labels of keys that the page's list leaves out.
var setupLabels = map[string]string{
	"feel.speed_kn": "At the speed", "feel.speed_kmh": "At the speed", "feel.speed_mph": "At the speed", "feel.speed_mps": "At the speed", "feel.front": "The pressure was",
	"marks.means": "A mark meant", "mark.at": "At", "mark.front": "The pressure was", "glide.from": "From", "glide.to": "To",
}

// SetupLabel is what a field of the setup's form asks for, without its unit.
func SetupLabel(k *setup.Key) string {
	if k.Label != "" {
		return k.Label
	}
	if l, ok := setupLabels[k.Name]; ok {
		return l
	}
	name := k.Name[strings.LastIndex(k.Name, ".")+1:]
	for _, ending := range []string{"_deg", "_cm", "_mm", "_kn", "_kg", "_percent", "_100n"} {
		name = strings.TrimSuffix(name, ending)
	}
	name = strings.TrimSuffix(name, "_deg_per")
	return UpperFirst(strings.ReplaceAll(name, "_", " "))
}

// The two values of a pair, and what stands in an empty field.
const PairFirst, PairSecond = "aft", "forward"

func SetupDefault(v string) string { return "if left empty: " + v }
func SetupExample(v string) string { return "for example " + v }

// SetupNeeded stands beside a field that must not be empty.
const SetupNeeded = "This is needed for advice."

// NoNumber says that what was typed is none.
func NoNumber(typed string) string { return fmt.Sprintf("“%.40s” is no number.", typed) }

// SetupProblem is what is wrong, beside the field that it is of.
func SetupProblem(e *setup.Error) string {
	text := e.What
	for _, sep := range []string{" = ", ": "} {
		text = strings.TrimPrefix(text, e.Key+sep)
	}
	return Sentence(text)
}

// FeelNote is a note of feel in short.
func FeelNote(speed, unit, front string) string {
	if strings.Trim(front, "0123456789.,") == "" {
		front += " % on the front foot"
	}
	return speed + NBSP + unit + ": " + front
}

// YesNo is true or false as a reader says it.
func YesNo(v string) string {
	if v == "true" {
		return "fixed: straps or hooks"
	}
	return "free to move"
}

package setup

import (
	"bytes"
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"text/template"
)

//go:embed template.toml
var templateText string

// Rigs are the kinds of rig a setup may name.
func Rigs() []string { return []string{"wing", "kite", "sail", "tow", "none"} }

// Template is a commented setup to fill in, with the numbers of a common
// board under the given rig.
func Template(rig string) (string, error) {
	if !slices.Contains(Rigs(), rig) {
		return "", fmt.Errorf("the rig %q is not known: use %s", rig, strings.Join(Rigs(), ", "))
	}
	t, err := template.New("setup").Parse(templateText)
	if err != nil {
		return "", err
	}
	var b bytes.Buffer
	err = t.Execute(&b, struct {
		Rig      string
		Lift     float64
		Strapped bool
	}{rig, LiftFractions[rig], rig == "kite" || rig == "sail"})
	return b.String(), err
}

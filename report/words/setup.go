package words

import (
	"fmt"

	"evenfoot/analysis/setup"
)

// Measure asks for a value of the setup that is left to its default.
func (u Units) Measure(k *setup.Key) string {
	text := "Measure " + k.Name
	if k.Help != "" {
		text += " (" + k.Help + ")"
	}
	if v, ok := k.Default.(float64); ok {
		symbol, _ := k.Unit()
		text += fmt.Sprintf("; the default is %.3g %s", v, symbol)
	}
	return text
}

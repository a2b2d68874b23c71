package words

import (
	"fmt"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/setup"
)

// stray says that a note of feel does not count, or is odd, and asks where it
// would fit in another unit.
func (u Units) stray(n analysis.StrayNote) string {
	if n.Kind == analysis.NotUsual {
		return fmt.Sprintf("Note of feel number %d is at %s; a wing of this size under this weight is hardly ever ridden outside %s to %s. Written as %s it would fit: was that meant?",
			n.Number, u.SpeedText(n.Speed), u.SpeedText(n.Flown[0]), u.SpeedText(n.Flown[1]), strings.Join(n.FitsAs, " or "))
	}
	text := fmt.Sprintf("Note of feel number %d, at %s, does not count: this log shows flight at %s to %s only.",
		n.Number, u.SpeedText(n.Speed), u.SpeedText(n.Flown[0]), u.SpeedText(n.Flown[1]))
	if len(n.FitsAs) > 0 {
		text += fmt.Sprintf(" Written as %s it would fit: was that meant?", strings.Join(n.FitsAs, " or "))
	}
	return text
}

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

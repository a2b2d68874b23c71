package words

import (
	"cmp"
	"fmt"
	"math"

	"evenfoot/filter/align"
)

var mountBook = newBook("mount")

// alignment says what package align found: of the clocks, the sensor's mount
// and the level zero.
func (u Units) alignment(f align.Finding) string {
	return cmp.Or(mountBook.say(string(f.Kind), f, u.can()), string(f.Kind))
}

// fromTo is a stretch of time as 12 s–31 s (19 s).
func fromTo(f align.Finding) string {
	return fmt.Sprintf("%s–%s (%.0f s)", sinceStart(f.At), sinceStart(f.Until), f.Until-f.At)
}

// sinceStart prints seconds since the start as 42 s or 12:03.
func sinceStart(t float64) string {
	if math.Abs(t) < 100 {
		return fmt.Sprintf("%.0f s", math.Round(t)+0) // not "-0 s"
	}
	return Clock(t)
}

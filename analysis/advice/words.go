package advice

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"
)

// stepSentence is the next step as one sentence that a rider can act on.
func (t *task) stepSentence(a *Advice) string {
	var do []string
	if a.Cards != 0 {
		verb := "raises"
		if a.Cards < 0 {
			verb = "lowers"
		}
		turn := math.Abs(t.turn(float64(a.Cards), 1)) / deg
		if a.TakeOut {
			do = append(do, fmt.Sprintf("take one card (0.76 mm) out from under the stabilizer's %s, which %s its leading edge by %.1f°", *a.ShimPlace, verb, turn))
		} else {
			do = append(do, fmt.Sprintf("put one card (0.76 mm) under the stabilizer's %s, which %s its leading edge by %.1f°", *a.ShimPlace, verb, turn))
		}
	}
	if a.MoveNow != 0 {
		do = append(do, fmt.Sprintf("move the mast %s in its track", t.way(float64(a.MoveNow)*mm)))
	}
	if a.FeetNow != 0 {
		do = append(do, fmt.Sprintf("stand %s", t.further(float64(a.FeetNow)*mm)))
	}
	return upperFirst(strings.Join(do, ", and ")) + "; then ride the same speeds and log again."
}

// length prints the size of a length in m.
func (t *task) length(m float64) string {
	if t.opt.LengthText != nil {
		return t.opt.LengthText(math.Abs(m))
	}
	return fmt.Sprintf("%.1f cm", 100*math.Abs(m))
}

// way is a move in m, + forward, as "1.2 cm back"; further as "1.2 cm further back".
func (t *task) way(m float64) string     { return t.length(m) + " " + foreAft(m) }
func (t *task) further(m float64) string { return t.length(m) + " further " + foreAft(m) }

func foreAft(v float64) string {
	if v < 0 {
		return "back"
	}
	return "forward"
}

func upDown(v float64) string {
	if v < 0 {
		return "down"
	}
	return "up"
}

func (t *task) speedText(v float64) string {
	if t.opt.SpeedText != nil {
		return t.opt.SpeedText(v)
	}
	return fmt.Sprintf("%.0f kn", v/knot)
}

const knot = 1852.0 / 3600

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

func lowerFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToLower(r)) + s[n:]
}

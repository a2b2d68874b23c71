package form

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenfoot/analysis"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// A Moment of a log is a mark, or one that is asked about. What is said of it
// stands in the setup.
type Moment struct {
	At     string    `json:"at"` // UTC, as the setup has it
	When   time.Time `json:"when"`
	Text   string    `json:"text"`
	Marked bool      `json:"marked"`
	Front  string    `json:"front"` // what the setup says of it
}

const clockLayout = "15:04:05"

// Meanings are the words for what was felt at a moment.
func Meanings() []string { return append(setup.Feels(), setup.Nothing) }

// Moments are those of a dated log that its setup can say something of.
func Moments(r *analysis.Result, u words.Units) (out []Moment) {
	if r.Setup == nil {
		return nil
	}
	add := func(t time.Time, text string, marked bool) {
		t = t.Truncate(time.Second) // as it is shown, and comes back
		m := Moment{At: t.UTC().Format(clockLayout), When: t, Text: text, Marked: marked}
		for _, said := range r.Setup.Mark {
			if saidAt(said, t) {
				m.Front = said.Front.Said
			}
		}
		out = append(out, m)
	}
	for _, m := range r.Marks {
		if m.Time != nil {
			when, what, became := u.Mark(m)
			add(*m.Time, when+", "+what+": "+became, m.Kind != mark.Answer)
		}
	}
	for i, text := range words.PlanFor(r, u).Ask {
		add(r.Questions[i].Time, text, false)
	}
	return out
}

// saidAt says whether a mark of the setup is of a moment of the day.
func saidAt(m setup.Mark, t time.Time) bool {
	hour, minute, second := t.UTC().Clock()
	return math.Abs(m.At-float64(hour*3600+minute*60+second)) < 1
}

// Say is a setup with what is said of one moment, or without where front is "".
func Say(text []byte, at, front string) (string, error) {
	t, err := time.Parse(clockLayout, at)
	if err != nil {
		return "", fmt.Errorf("%.20q is no time of day", at)
	}
	was, _, err := setup.Parse("", text)
	if err != nil {
		return "", err
	}
	n := slices.IndexFunc(was.Mark, func(m setup.Mark) bool { return saidAt(m, t) })
	if n < 0 {
		n = len(was.Mark)
	}
	if front == "" {
		at = ""
	}
	return with(text, fmt.Sprintf("mark.%d.", n), map[string]string{"at": at, "front": front})
}

// A Note is one of the notes of feel of a setup.
type Note struct{ Entry, Text string }

// Notes are those that a setup holds.
func Notes(text []byte) (out []Note) {
	f, err := Read(text)
	if err != nil {
		return nil
	}
	for n := range f.entries("feel") {
		for _, k := range keysOf("feel") {
			if speed := f[k.Entry(n)]; speed != "" && k.Name != "feel.front" {
				unit, _ := k.Unit()
				out = append(out, Note{strconv.Itoa(n), words.FeelNote(speed, unit, f[fmt.Sprintf("feel.%d.front", n)])})
			}
		}
	}
	return out
}

// Felt is a setup with a note of feel: a speed in a unit, and a word. One at the
// very same speed is replaced.
func Felt(text []byte, speed, unit, front string) (string, error) {
	f, err := Read(text)
	if err != nil {
		return "", err
	}
	if _, typed := number(speed).(string); typed || strings.TrimSpace(speed) == "" {
		return "", errors.New(words.NoNumber(speed))
	}
	n, key := 0, "speed_"+unit
	for f.entries("feel") > n && number(f[fmt.Sprintf("feel.%d.%s", n, key)]) != number(speed) {
		n++
	}
	return with(text, fmt.Sprintf("feel.%d.", n), map[string]string{key: speed, "front": front})
}

// Forget is a setup without one of its notes.
func Forget(text []byte, entry string) (string, error) {
	said := map[string]string{}
	for _, k := range keysOf("feel") {
		said[strings.TrimPrefix(k.Name, "feel.")] = ""
	}
	return with(text, "feel."+entry+".", said)
}

// ordinal names a note by its place in the setup.
var ordinal = regexp.MustCompile(`(?i)note of feel number \d+`)

// with is a setup with an entry of a list as given.
func with(text []byte, entry string, said map[string]string) (string, error) {
	f, err := Read(text)
	if err != nil {
		return "", err
	}
	for k, v := range said {
		f[entry+k] = v
	}
	out, err := f.TOML()
	if err == nil {
		_, _, err = setup.Parse("", []byte(out))
	}
	var bad *setup.Error
	if errors.As(err, &bad) { // about what was said, not about where it would stand
		err = errors.New(ordinal.ReplaceAllString(words.SetupProblem(bad), "Your note"))
	}
	return out, err
}

// Speeds are whole numbers of the reader's unit of speed from the slowest to the
// fastest that the result is about, to note a feel at; nil where none is known.
func Speeds(r *analysis.Result, u words.Units) (out []int) {
	low, _, top := words.SpeedsOf(r)
	if !(low > 0 && top >= low) { // also where they are not known
		return nil
	}
	for v := math.Floor(u.SpeedValue(low)); v <= math.Ceil(u.SpeedValue(top)); v++ {
		out = append(out, int(v))
	}
	return out
}

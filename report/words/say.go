package words

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/feet"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter/align"
	"evenfoot/ingest"
	"evenfoot/ingest/raw"
)

// Say is one finding as a whole sentence in the reader's units. What a
// package finds is said in the book of its name.
func (u Units) Say(f analysis.Finding) string {
	switch f := f.(type) {
	case nil:
		return ""
	case string:
		return f
	case ingest.Warning:
		return u.warning(f)
	case analysis.Note:
		return u.from(chainBook, string(f.Kind), f)
	case pitchlaw.Lack:
		return u.Lack(f)
	case analysis.StrayNote:
		return u.from(chainBook, string(f.Kind), f)
	case align.Finding:
		return u.from(mountBook, string(f.Kind), f)
	case *align.Finding:
		return u.from(mountBook, string(f.Kind), *f)
	case feet.Finding:
		return u.from(feetBook, string(f.Kind), f)
	case trim.LeftOut:
		return fmt.Sprintf("%s is left out: %v.", UpperFirst(earlier(f.Title, f.Outing+1)), f.Why)
	case trim.Conflict:
		return fmt.Sprintf("In doubt, by %.1f times the usual error: %s.", f.Sigmas, u.Conflict(f))
	}
	return fmt.Sprint(f)
}

// Remark says that a finding is in order, and only told so that it can be checked.
func Remark(f analysis.Finding) bool {
	w, ok := f.(ingest.Warning)
	return ok && w.Kind == raw.Recognised
}

// Warned are a result's warnings, without what is only remarked.
func Warned(r *analysis.Result) []analysis.Finding {
	return slices.DeleteFunc(slices.Clone(r.Session.Warnings), Remark)
}

// A Said is a finding for scripts: what kind it is, its numbers in SI, and the words.
type Said struct {
	Kind    string `json:"kind"`
	Numbers any    `json:"numbers"`
	Words   string `json:"words"`
}

// Finding says a finding for scripts.
func (u Units) Finding(f analysis.Finding) Said {
	if _, sentence := f.(string); sentence {
		return Said{kindOf(f), struct{}{}, u.Say(f)}
	}
	return Said{kindOf(f), f, u.Say(f)}
}

// kindOf names a finding: its field Kind, or what it is.
func kindOf(f analysis.Finding) string {
	switch f.(type) {
	case trim.Conflict:
		return "conflict"
	case trim.LeftOut:
		return "left out"
	}
	if v := reflect.ValueOf(f); v.Kind() == reflect.Struct {
		if k := v.FieldByName("Kind"); k.IsValid() {
			return fmt.Sprint(k.Interface())
		}
	}
	return "note"
}

var (
	chainBook, feetBook, troubleBook = newBook("chain"), newBook("feet"), newBook("trouble")
	mountBook, lawBook, conflictBook = newBook("mount"), newBook("law"), newBook("conflict")
)

func init() { setup.Words = Units{}.OrDefault().trouble }

func (u Units) trouble(t *setup.Trouble) string { return u.from(troubleBook, t.Kind, t) }

// from is the sentence of a kind about x in a book, else the kind.
func (u Units) from(b book, kind string, x any) string {
	return cmp.Or(b.say(u, kind, x), kind)
}

// Explain is an error of the analysis in the reader's units.
func (u Units) Explain(err error) error {
	var slow *analysis.SpeedError
	if errors.As(err, &slow) {
		return errors.New(u.SpeedError(slow))
	}
	var no *ingest.OutingError
	if errors.As(err, &no) {
		return errors.New(u.NoOuting(no))
	}
	return err
}

// SpeedError says why there is no advice for the speeds, and what to do.
func (u Units) SpeedError(e *analysis.SpeedError) string { return u.Tell("no speeds", e) }

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

// Lack says what a log does not give and the pitch law needs.
func (u Units) Lack(l pitchlaw.Lack) string { return u.from(lawBook, string(l.Kind), l) }

// Bend says how the pitch departs from the straight line; "" when that does
// not matter.
func Bend(b pitchlaw.Bend) string {
	if !b.Matters {
		return ""
	}
	return lawBook.say(Units{}, string(b.Kind), b)
}

// Reason says why a stretch of flight counts for less.
func Reason(r pitchlaw.Reason) string {
	if r == "" {
		return "far from the rest"
	}
	return string(r)
}

// Flow says along which line the log cannot tell the water's flow, and whether
// the flow turned; "" when there is nothing to say.
func (u Units) Flow(f *pitchlaw.Fit) string {
	if f == nil || f.FlowSource == "given" || !f.Slope.Known() {
		return ""
	}
	return strings.Join(u.TellAll("flow", f), " ")
}

// Current says which current the log shows, "" where none is known of.
func (u Units) Current(r *analysis.Result) string {
	w := r.WaterFlow
	if w == nil || !w.East.Known() || !w.North.Known() {
		return ""
	}
	to := math.Mod(math.Atan2(w.East.Value, w.North.Value)*radian+360, 360)
	s := u.Tell("current", struct {
		Source           string
		Speed, To, Doubt float64
	}{w.Source, math.Hypot(w.East.Value, w.North.Value), to, 1.64 * math.Max(w.East.SD(), w.North.SD())})
	if w.Source == "given" {
		return s
	}
	return strings.TrimSpace(s + " " + u.Flow(r.Law))
}

// Conflict says which input disagrees with the rest, and what to check.
func (u Units) Conflict(c trim.Conflict) string { return u.from(conflictBook, string(c.Kind), c) }

// earlier names the n-th earlier session, from 1.
func earlier(title string, n int) string {
	if title == "" {
		return fmt.Sprintf("earlier session %d", n)
	}
	return "“" + Clean(title) + "”"
}

// where names the outing of a conflict, "" for this one.
func where(c trim.Conflict) string {
	return Choose(c.Outing > 0, " of "+earlier(c.Title, c.Outing), "")
}

// unknown is a value of an unknown of the model.
func (u Units) unknown(x trim.Unknown, v float64) string {
	if x.Key == "" || strings.HasSuffix(x.Key, "_percent") {
		return fmt.Sprintf("%.3g %s", v*x.Scale, x.Unit)
	}
	return u.Keyed(keyNamed(x.Key), v)
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

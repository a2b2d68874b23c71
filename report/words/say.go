package words

import (
	"cmp"
	"errors"
	"fmt"
	"reflect"

	"evenfoot/analysis"
	"evenfoot/analysis/feet"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter/align"
	"evenfoot/ingest"
)

// Say is one finding as a whole sentence in the reader's units. What a
// package finds is said in the file of that package's name.
func (u Units) Say(f analysis.Finding) string {
	switch f := f.(type) {
	case nil:
		return ""
	case string:
		return f
	case ingest.Warning:
		return u.warning(f)
	case analysis.Note:
		return u.chain(f.Kind, f)
	case pitchlaw.Lack:
		return u.Lack(f)
	case analysis.StrayNote:
		return u.chain(f.Kind, f)
	case align.Finding:
		return u.alignment(f)
	case *align.Finding:
		return u.alignment(*f)
	case feet.Finding:
		return cmp.Or(feetBook.say(string(f.Kind), f, u.can()), string(f.Kind))
	case trim.LeftOut:
		return fmt.Sprintf("%s is left out: %v.", UpperFirst(earlier(f.Title, f.Outing+1)), f.Why)
	case trim.Conflict:
		return fmt.Sprintf("In doubt, by %.1f times the usual error: %s.", f.Sigmas, u.Conflict(f))
	}
	return fmt.Sprint(f)
}

// KindOf names a finding: its field Kind, or what it is.
func KindOf(f analysis.Finding) string {
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

var chainBook, feetBook, troubleBook = newBook("chain"), newBook("feet"), newBook("trouble")

func init() { setup.Words = Units{}.OrDefault().trouble }

// trouble says why a session cannot be analysed.
func (u Units) trouble(t *setup.Trouble) string {
	can := u.can()
	can["label"] = func() string { return LowerFirst(keyNamed(t.Text[0]).Label) }
	can["keyed"] = func(i int) string { return u.Keyed(keyNamed(t.Text[0]), t.Values[i]) }
	return cmp.Or(troubleBook.say(t.Kind, t, can), t.Kind)
}

// chain says what the chain itself found out.
func (u Units) chain(k analysis.Kind, x any) string {
	return cmp.Or(chainBook.say(string(k), x, u.can()), string(k))
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
func (u Units) SpeedError(e *analysis.SpeedError) string {
	return u.tell("no speeds", struct {
		*analysis.SpeedError
		Near float64
	}{e, analysis.NearRidden})
}

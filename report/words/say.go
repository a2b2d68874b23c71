package words

import (
	"fmt"
	"reflect"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/trim"
	"evenfoot/filter/align"
	"evenfoot/ingest"
)

// Say is one finding as a whole sentence in the reader's units. What a
// package finds is said in the file of that package's name.
func (u Units) Say(f analysis.Finding) string {
	switch f := f.(type) {
	case string:
		return f
	case ingest.Warning:
		return Warning(f)
	case analysis.Note:
		return u.note(f)
	case pitchlaw.Lack:
		return u.Lack(f)
	case analysis.StrayNote:
		return u.stray(f)
	case align.Finding:
		return u.alignment(f)
	case *align.Finding:
		return u.alignment(*f)
	case trim.LeftOut:
		return fmt.Sprintf("%s is left out: %v.", UpperFirst(earlier(f.Title, f.Outing+1)), f.Why)
	case trim.Conflict:
		return fmt.Sprintf("In doubt, by %.1f sigmas: %s.", f.Sigmas, u.Conflict(f))
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

// note says what the chain itself found out.
func (u Units) note(n analysis.Note) string {
	why := ""
	if n.Why != nil {
		why = u.Say(n.Why)
	}
	switch n.Kind {
	case analysis.NoSetup:
		return "Without a setup there is no foot load and no advice. `evenfoot setup` prints one to fill in: the rider's mass, the stance and six sizes of the foil are enough."
	case analysis.NoIMU:
		return "There is no IMU in these logs, so no pitch is known. A board-mounted logger would give the pitch law; the rest is from GPS alone."
	case analysis.NoGyroscope:
		return "The board's log has an accelerometer but no gyroscope. The pitch needs both, so it is not known."
	case analysis.NoGPS:
		return "There is no GPS in these logs, so no speed is known and no pitch law can be fitted. Add the watch's log of the same outing."
	case analysis.NoFlight:
		return "No flight was found in this log: nothing moves on the foil for long enough. Check that it is the right file and that the board flew."
	case analysis.Garbled:
		return fmt.Sprintf("The IMU's log holds %d samples that no motion explains: a value beyond any sensor's range, or a leap and back within one sample (first at %.1f s). They are left out.", n.Count, n.At)
	case analysis.ClocksUnproved:
		return fmt.Sprintf("The clocks of the two devices could not be compared by their motion (%s). Both tell UTC, so they are taken as equal; check this before you trust the pitch.", strings.TrimSuffix(why, "."))
	case analysis.ClocksApart:
		return fmt.Sprintf("The board logger's clock cannot be tied to GPS time: %s The logs are not merged, so there is no pitch law. Start both devices before riding and ride at least ten minutes with turns.", why)
	case analysis.StampedApart:
		return fmt.Sprintf("The device stamps IMU and GPS %.1f s apart: its motion shows it. The IMU's times were moved to fit.", n.Apart)
	case analysis.NoPitch:
		return fmt.Sprintf("The board's pitch could not be estimated: %s", why)
	case analysis.NoAttitude:
		return fmt.Sprintf("The attitude could not be estimated: %s", why)
	case analysis.NotRigid:
		return why + " Its pitch is not used."
	case analysis.InEarlier:
		return fmt.Sprintf("Earlier session %s: %s", n.Session, u.Say(n.Of))
	case analysis.NotBefore:
		return fmt.Sprintf("Session \"%s\" began no earlier than this one: it tells of the foil like the others, but what changed since it does not count as the step that was advised.", Clean(n.Session))
	case analysis.RangeCut:
		return fmt.Sprintf("The speeds asked for (%s to %s) go further beyond what was ridden or noted than anything checks: the advice is for %s to %s.",
			u.SpeedText(n.Range[0]), u.SpeedText(n.Range[1]), u.SpeedText(n.Ridden[0]), u.SpeedText(n.Ridden[1]))
	}
	return string(n.Kind)
}

// SpeedError says why there is no advice for the speeds, and what to do.
func (u Units) SpeedError(e *analysis.SpeedError) string {
	if e.Slowest > 0 {
		what := "the log holds nothing faster than " + u.SpeedText(e.Known[1])
		if e.Asked[1] > 0 {
			what = "--range ends at " + u.SpeedText(e.Known[1])
		}
		return fmt.Sprintf("too slow to fly: %s, and a wing of %s cannot carry %s below about %s; check foil.wing.area_cm2 and the masses in the setup, and give foiling speeds with --range",
			what, Area(e.WingArea, u), u.MassText(e.Mass), u.SpeedText(e.Slowest))
	}
	return fmt.Sprintf("no advice for %s to %s: what was ridden or noted lies at %s to %s, %s to each side included, and nothing checks the model further out; give other speeds with --range, or notes of feel and a log from there",
		u.SpeedText(e.Asked[0]), u.SpeedText(e.Asked[1]), u.SpeedText(e.Known[0]), u.SpeedText(e.Known[1]), u.SpeedText(analysis.NearRidden))
}

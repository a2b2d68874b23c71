package analysis

import (
	"testing"
	"time"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/mark"
	"evenfoot/analysis/ride"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/ingest"
)

// A setup follows the advice when it differs by the step and by nothing else.
// Measured from the mast, feet go back by what the mast goes forward.
func TestDidWhatWasAdvised(t *testing.T) {
	shim := &advice.Advice{Shim: interval.Number(0.76)}
	foil := &advice.Advice{Step: trim.Change{Foil: 0.02}}
	feet := &advice.Advice{Step: trim.Change{Front: 0.02, Back: 0.02}}
	mix := &advice.Advice{Shim: -0.76, Step: trim.Change{Foil: -0.01, Front: 0.015, Back: 0.015}}
	move := func(s *setup.Setup, by float64) { s.Stance.Front, s.Stance.Back = s.Stance.Front+by, s.Stance.Back+by }
	card := func(s *setup.Setup) { s.Foil.Stabilizer.Shim += trim.Card }
	for name, c := range map[string]struct {
		a    *advice.Advice
		then func(s *setup.Setup)
		want bool
	}{
		"shim":                      {shim, card, true},
		"nothing":                   {shim, func(*setup.Setup) {}, false},
		"the other way":             {shim, func(s *setup.Setup) { s.Foil.Stabilizer.Shim -= trim.Card }, false},
		"foil forward":              {foil, func(s *setup.Setup) { move(s, -0.02) }, true},
		"foil forward, board too":   {foil, func(s *setup.Setup) { move(s, -0.02); s.Board.CG -= 0.02; s.Rig.MastFoot -= 0.02 }, true},
		"foil back":                 {foil, func(s *setup.Setup) { move(s, 0.02) }, false},
		"feet forward":              {feet, func(s *setup.Setup) { move(s, 0.02) }, true},
		"feet back":                 {feet, func(s *setup.Setup) { move(s, -0.02) }, false},
		"one foot":                  {feet, func(s *setup.Setup) { s.Stance.Front += 0.02 }, false},
		"mix":                       {mix, func(s *setup.Setup) { s.Foil.Stabilizer.Shim -= trim.Card; move(s, 0.025) }, true},
		"mix, feet alone":           {mix, func(s *setup.Setup) { s.Foil.Stabilizer.Shim -= trim.Card; move(s, 0.015) }, false},
		"shim, and the finish":      {shim, func(s *setup.Setup) { card(s); s.Foil.Finish.Grit = 600 }, true},
		"shim, and half a kilo":     {shim, func(s *setup.Setup) { card(s); s.Rider.Mass += 0.4 }, true},
		"shim, and ten kilos":       {shim, func(s *setup.Setup) { card(s); s.Rider.Mass += 10 }, false},
		"shim, and a level":         {shim, func(s *setup.Setup) { card(s); s.Rider.Level = "advanced" }, false},
		"shim, and wing's place":    {shim, func(s *setup.Setup) { card(s); s.Foil.Wing.Ahead += 0.02 }, false},
		"shim, and incidence":       {shim, func(s *setup.Setup) { card(s); s.Foil.Stabilizer.Incidence += 0.01 }, false},
		"shim, and another rig":     {shim, func(s *setup.Setup) { card(s); s.Rig.Kind = "kite" }, false},
		"shim, and board's balance": {shim, func(s *setup.Setup) { card(s); s.Board.CG += 0.03 }, false},
	} {
		was := setup.Setup{
			Rider: setup.Rider{Name: "Ines", Mass: 80, Level: "intermediate"}, Stance: setup.Stance{Front: 0.33, Back: -0.2},
			Board: setup.Board{Mass: 11, CG: 0.1}, Rig: setup.Rig{Kind: "sail", MastFoot: 0.95},
		}
		now := was
		c.then(&now)
		if got := did(c.a, &was, &now); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// Only what began before today's session is before it; what began later is
// named, and without a date the order given holds.
func TestLaterSessionsAreNotBefore(t *testing.T) {
	day := func(d int) time.Time { return time.Date(2026, 6, d, 9, 0, 0, 0, time.UTC) }
	session := func(title string, start time.Time) *Result {
		return &Result{Session: Session{Title: title, Start: &start}}
	}
	today := day(10)
	r := &Result{}
	r.Session.Start = &today
	all := []*Result{session("first", day(3)), session("same", today), session("next", day(12)), session("second", day(9)), {Session: Session{Title: "undated"}}}
	before := r.before(all[:4])
	if len(before) != 2 || latest(before).Session.Title != "second" {
		t.Errorf("%d sessions are before", len(before))
	}
	late := Notes(r.Session.Warnings, NotBefore)
	if len(late) != 2 || late[0].Session != "same" || late[1].Session != "next" {
		t.Errorf("named as later: %+v", late)
	}
	if got := (&Result{}).before(all); len(got) != len(all) {
		t.Errorf("without a date %d of %d are before", len(got), len(all))
	}
}

// TestLostMarksAreTold: a part whose marks all fail tells what became of most of them.
func TestLostMarksAreTold(t *testing.T) {
	o := &observation{
		log: &ingest.Log{Start: time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)}, ride: &ride.Session{}, parts: []mark.Part{{}, {Start: 600}},
		marks: []mark.Mark{{Why: mark.OffFoil}, {Why: mark.NoSpeed}, {Why: mark.NoSpeed}, {Part: 1, Why: mark.NoSpeed}, {Part: 1}},
	}
	r := &Result{Setup: &setup.Setup{Change: []setup.Change{{}}}}
	o.describeParts(r)
	if p := r.Parts[0]; p.Lost != 3 || p.Why != mark.NoSpeed || p.Marks != 0 {
		t.Errorf("none counts: %+v", p)
	}
	if p := r.Parts[1]; p.Lost != 0 || p.Why != "" || p.Marks != 1 {
		t.Errorf("one counts: %+v", p)
	}
}

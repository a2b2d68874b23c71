package words

import (
	"fmt"
	"math"
	"strings"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
)

// A Plan is the next outing, to be taken to the water.
type Plan struct {
	Trials []Trial  // the most doubt removed per minute of trouble first
	Trim   string   // to ride the trials on, where a step is advised
	Ask    []string // about moments of this log, where nothing was marked
	Paste  string   // the setup's lines that answer them
	Mind   []string
}

// A Trial is one thing to do, how, and what it will tell.
type Trial struct {
	Do    string
	How   []string
	Tells string
}

// PlanFor words the plan of a result; nothing where there is none.
func PlanFor(r *analysis.Result, u Units) (p Plan) {
	if r.Advice == nil {
		return p
	}
	card, out, move := false, false, false
	for i, x := range r.Advice.Plan {
		first := r.Advice.Plan[0]
		t := u.trial(x)
		if i > 0 && x.Minutes > first.Minutes && math.Round(50*float64(x.Then)) >= math.Round(50*float64(first.Then)) {
			t.Tells += " That is more trouble than the first way, and tells no more."
		}
		p.Trials = append(p.Trials, t)
		card, move = card || x.Kind == advice.CardInOut, move || x.Kind == advice.FindNulls
		out = out || x.TakeOut
	}
	if card || move {
		p.Mind = []string{"Another trim may make the load worse: start each at low speed in clear water, with helmet and vest, and go up in small steps.", screwCare(card, out, move)}
	}
	var lines []string
	for _, q := range r.Questions {
		at := hours(q.Time)
		s := at + " UTC, " + u.SpeedText(float64(q.Speed))
		if q.Tack != "" {
			s += ", " + q.Tack + " tack"
		}
		p.Ask = append(p.Ask, s+": how was it?")
		lines = append(lines, fmt.Sprintf("[[mark]]\nat = %q\nfront = \"\"     # strong back, back, even, front, strong front, or a percentage", at))
	}
	p.Paste = strings.Join(lines, "\n")
	return p
}

func (u Units) trial(x advice.Trial) (t Trial) {
	of := struct {
		advice.Trial
		Span, EvenAt, Far, Moved string
		PlaceMinutes             float64
	}{x, "", u.evenAt(x), u.howFar(x.Places), strings.Join(centimetres(x.Places), ", "), advice.PlaceMinutes}
	if n := len(x.Speeds); n > 0 {
		of.Span = u.SpeedText(x.Speeds[0]) + " to " + u.SpeedText(x.Speeds[n-1])
	}
	t.Tells = u.Tell("trial tells", of)
	if all := u.TellAll("trial "+string(x.Kind), of); len(all) > 0 {
		t.Do, t.How = all[0], all[1:]
	} else {
		t.Do = Sentence(u.Observation(x.Observation))
	}
	return t
}

// howFar says how to get to places that lie further than one step goes, "" for none.
func (u Units) howFar(places []float64) string {
	const slack = 1e-6
	var far []float64
	for _, x := range places {
		if math.Abs(x) > advice.LargestMove+slack {
			far = append(far, x)
		}
	}
	if len(far) == 0 {
		return ""
	}
	return fmt.Sprintf("%s %s further than one step of %s: go there in moves of at most that, and ride a few easy reaches after each before you go faster.",
		UpperFirst(u.places(far)), Choose(len(far) == 1, "is", "are"), u.LengthText(advice.LargestMove))
}

// evenAt says at which speed each place should feel even.
func (u Units) evenAt(x advice.Trial) string {
	var s []string
	for i, v := range x.EvenAt {
		s = append(s, "at about "+u.SpeedText(v)+" with the foil "+u.places(x.Places[i:i+1]))
	}
	return Listed(s)
}

// centimetres are places, m, as the setup's key takes them.
func centimetres(at []float64) (out []string) {
	for _, x := range at {
		if x != 0 {
			out = append(out, fmt.Sprintf("%.3g", 100*x))
		}
	}
	return out
}

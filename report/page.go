package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"sync"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/report/words"
)

// A paper is what every page has.
type paper struct {
	U             words.Units
	Figures       []*figure
	Version, Made string
}

func newPaper(o Options) paper {
	p := paper{U: o.Units.OrDefault(), Version: words.Clean(o.Version)}
	if !o.Now.IsZero() {
		p.Made = o.Now.Format("2 January 2006")
	}
	return p
}

// A page is what the template shows: a result, its words, and the pictures and
// tables of it.
type page struct {
	paper
	*words.Sheet
	Words       words.Answer
	Mount, Move template.HTML
	Other       *words.Other
	Gliding     *figure // the drag; nil without any
	Positions   string  // with Options.Coordinates only
}

func newPage(r *analysis.Result, o Options) *page {
	p := &page{paper: newPaper(o)}
	u := p.U
	p.Sheet, p.Words, p.Other = u.Sheet(r), words.For(r, u), words.ForOther(r, u)
	p.Mount, p.Move = mountDrawing(p.Sheet, u), moveDrawing(p.Sheet, u)
	b := &builder{r: r, u: u, coordinates: o.Coordinates}
	// What answers a rider's question stands open.
	asked := []func() *figure{b.share, b.side, b.options}
	all := atOnce(append(asked, b.track, b.timeline, b.gradient, b.effort, b.pitchSpeed, b.liftArea, b.tornado, b.drag)...)
	for i, f := range all[:len(all)-1] {
		if f != nil {
			f.Open = i < len(asked)
			p.Figures = append(p.Figures, f)
		}
	}
	p.Gliding = all[len(all)-1]
	if o.Coordinates && r.Log != nil {
		p.Positions = firstPosition(r)
	}
	return p
}

// atOnce draws figures on all cores; a panic of one goes on in the caller.
func atOnce(draw ...func() *figure) []*figure {
	figures, faults := make([]*figure, len(draw)), make([]any, len(draw))
	var wait sync.WaitGroup
	for i, f := range draw {
		wait.Go(func() {
			defer func() { faults[i] = recover() }()
			figures[i] = f()
		})
	}
	wait.Wait()
	for _, p := range faults {
		if p != nil {
			panic(p)
		}
	}
	return figures
}

func firstPosition(r *analysis.Result) string {
	g := r.Log.GPS
	for i := range min(len(g.Lat), len(g.Lon)) {
		if words.Finite(g.Lat[i]) && words.Finite(g.Lon[i]) {
			return fmt.Sprintf("%.5f, %.5f", g.Lat[i], g.Lon[i])
		}
	}
	return ""
}

const warningsShown = 40

// Warnings are those that are shown, and More how many are not.
func (p *page) Warnings() []string {
	return each(p.Session.Warnings[:min(warningsShown, len(p.Session.Warnings))], func(w analysis.Finding) string { return words.Sentence(p.U.Say(w)) })
}

func (p *page) More() int { return max(0, len(p.Session.Warnings)-warningsShown) }

// Inputs are the assumptions, before and after.
func (p *page) Inputs() *table {
	t := &table{Caption: "What the model does not know exactly: before and after this log, with 90 % intervals",
		Head: []string{"input", "unit", "before", "after", "shift of the best stabilizer angle by its usual error, degrees", "from"}}
	for _, a := range p.Assumptions {
		d := words.DigitsFor(math.Max(math.Abs(a.Prior.Low), math.Abs(a.Prior.High)))
		if a.Unit == "" {
			d = 3
		}
		t.add(words.Clean(a.Name), words.Clean(a.Unit), words.Between(a.Prior, 1, d), words.Between(a.Posterior, 1, d), words.Fixed(float64(a.ShimDegPerSigma), 2), givenBy(a))
	}
	return t.orNone()
}

// givenBy is where an input's value is from.
func givenBy(a analysis.Assumption) string { return words.Choose(a.Default, "assumed", "setup") }

// MarkTable and GlideTable are what became of each.
func (p *page) MarkTable() *table {
	return becameTable("Moments that you marked", p.Marks, p.U.Mark)
}

func (p *page) GlideTable() *table { return becameTable("Glides", p.Glides, p.U.Glide) }

// becameTable lists what became of each thing found; nil without any.
func becameTable[T any](caption string, all []T, became func(T) (when, what, as string)) *table {
	t := &table{Caption: caption + ", and what became of them", Head: []string{"when", "what", "taken as"}}
	for _, x := range all {
		when, what, as := became(x)
		t.add(when, what, as)
	}
	return t.orNone()
}

// MarkLines and GlideLines are the setup's lines for them.
func (p *page) MarkLines() string  { return words.MarkLines(p.Marks) }
func (p *page) GlideLines() string { return words.GlideLines(p.Glides) }

// DragSays is what glides show, but for what the figure says.
func (p *page) DragSays() []string {
	says := p.U.Drag(p.Result)
	if p.Gliding != nil {
		says = slices.DeleteFunc(says, func(s string) bool { return s == p.Gliding.Says })
	}
	return says
}

// CardsDrag is what each number of cards does at the top speed.
func (p *page) CardsDrag() *table {
	t := &table{Caption: "What cards do to the drag at the top speed, with 90 % intervals; the speed is at the same pull", Head: []string{"cards (+ raises the leading edge)", "drag, N", "speed, " + p.U.SpeedName()}}
	for _, o := range p.Drag.Options {
		if o.Cards != 0 {
			t.add(fmt.Sprintf("%+g", o.Cards), words.Between(o.Drag, 1, 1), words.Between(o.Speed, p.U.SpeedValue(1), 2))
		}
	}
	return t.orNone()
}

// TackSpeeds are the best speeds by tack, nil where tacks are not told apart.
func (p *page) TackSpeeds() *table {
	t := &table{Caption: "Best speeds within reaches by tack, " + p.U.SpeedName(), Head: []string{"tack", "2 seconds", "10 seconds", "500 metres", "1 nautical mile"}}
	for _, tack := range []string{"port", "starboard"} {
		if b, ok := p.Pace.ByTack[tack]; ok {
			t.add(append([]string{tack}, each([]interval.Number{b.TwoSeconds, b.TenSeconds, b.Metres500, b.NauticalMile}, p.U.BestSpeed)...)...)
		}
	}
	return t.orNone()
}

// A given is one line of the setup, and whether the rider wrote it.
type given struct {
	Name, Value string
	Assumed     bool
}

// Given is the setup as it was understood.
func (p *page) Given() (out []given) {
	s := p.Setup
	if s == nil {
		return nil
	}
	for i := range setup.Keys {
		k := &setup.Keys[i]
		v := k.Value(s)
		nothing := v == 0.0 || v == 0 || v == ""
		if k.Label == "" || nothing && k.Example != nil && !s.Given(k.Name) {
			continue
		}
		out = append(out, given{k.Label, valueText(k, v, p.U), !s.Given(k.Name)})
	}
	for _, f := range s.Feel {
		out = append(out, given{"Felt at " + p.U.SpeedText(f.Speed), fmt.Sprintf("%s, taken as %s ± %s", words.Clean(f.Said), words.Fixed(100*f.Share, 0), words.Percent(f.SD)), false})
	}
	return out
}

// valueText is a value of the setup in the reader's units.
func valueText(k *setup.Key, v any, u words.Units) string {
	switch x := v.(type) {
	case bool:
		return words.Choose(x, "in straps or hooks", "free")
	case int:
		return fmt.Sprintf("P %d", x)
	case [2]float64:
		return u.LengthText(-x[0]) + " back, " + u.LengthText(x[1]) + " forward"
	case float64:
		return u.Keyed(k, x)
	case string:
		if k.Name == "foil.stabilizer.mount" {
			return words.Choose(x == "bottom", "below the fuselage", "on top of the fuselage")
		}
		return words.Clean(x)
	}
	return words.Unknown
}

// Single says that there is one step with a drawing, which then gets the room
// of two.
func (p *page) Single() bool { return (p.Mount == "") != (p.Move == "") }

// Drawing is the picture that belongs to a step, "" for none.
func (p *page) Drawing(kind string) template.HTML {
	switch kind {
	case "shim":
		return p.Mount
	case "move":
		return p.Move
	}
	return ""
}

package report

import (
	"fmt"
	"html/template"
	"math"
	"sync"

	"evenfoot/analysis"
	"evenfoot/report/words"
)

// A page is what the template shows.
type page struct {
	Words     words.Answer
	Facts     []words.Fact // the title block; day and rider come first
	Mount     template.HTML
	Move      template.HTML
	Figures   []*figure
	Setup     []given
	Inputs    *table // assumptions, before and after
	Flow      string
	Marks     *table // what became of each
	MarkLines string // of the setup, to correct them
	Files     []fileFacts
	Sensors   []words.Fact
	Warnings  []string
	More      int // warnings that are not shown
	Best      []words.Fact
	Pace      *pacePart
	Drag      *dragPart
	Finish    *finishPart
	Other     *words.Other
	HasLog    bool
	Version   string
	Made      string
	Positions string // with Options.Coordinates only
}

// A given is one line of the setup, and whether the rider wrote it.
type given struct {
	Name, Value string
	Assumed     bool
}

type fileFacts struct {
	Name, Kind string
	Facts      []string
}

const warningsShown = 40

func newPage(r *analysis.Result, o Options) *page {
	u := o.Units.OrDefault()
	b := &builder{r: r, u: u, coordinates: o.Coordinates}
	p := &page{Words: words.For(r, u), Version: words.Clean(o.Version), HasLog: r.Log != nil}
	if !o.Now.IsZero() {
		p.Made = o.Now.Format("2 January 2006")
	}
	s := u.Sheet(r)
	p.Facts = u.Facts("title block", s)
	p.Mount, p.Move = mountDrawing(s, u), moveDrawing(s, u)
	// What answers a rider's question stands open.
	asked := []func() *figure{b.share, b.side, b.options}
	for i, f := range atOnce(append(asked, b.track, b.timeline, b.gradient, b.effort, b.pitchSpeed, b.liftArea, b.tornado)...) {
		if f != nil {
			f.Open = i < len(asked)
			p.Figures = append(p.Figures, f)
		}
	}
	p.Setup = setupLines(r.Setup, u)
	p.Inputs = inputsTable(r)
	p.Flow = u.Current(r)
	p.Marks, p.MarkLines = becameTable("Moments that you marked", r.Marks, u.Mark), words.MarkLines(r.Marks)
	p.Files = fileLines(r, u)
	p.Sensors = u.Facts("sensors", r)
	shown := r.Session.Warnings[:min(warningsShown, len(r.Session.Warnings))]
	for _, w := range shown {
		p.Warnings = append(p.Warnings, words.Sentence(u.Say(w)))
	}
	p.More = len(r.Session.Warnings) - len(shown)
	p.Best = u.Facts("best", r.BestSpeeds)
	p.Pace, p.Drag = paceFor(r, u), dragFor(r, u)
	p.Finish = finishFor(r, u)
	p.Other = words.ForOther(r, u)
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

func inputsTable(r *analysis.Result) *table {
	if len(r.Assumptions) == 0 {
		return nil
	}
	t := &table{Caption: "What the model does not know exactly: before and after this log, with 90 % intervals",
		Head: []string{"input", "unit", "before", "after", "shift of the best stabilizer angle by its usual error, degrees", "from"}}
	for _, a := range r.Assumptions {
		d := words.DigitsFor(math.Max(math.Abs(a.Prior.Low), math.Abs(a.Prior.High)))
		if a.Unit == "" {
			d = 3
		}
		t.add(words.Clean(a.Name), words.Clean(a.Unit), words.Between(a.Prior, 1, d), words.Between(a.Posterior, 1, d), words.Fixed(float64(a.ShimDegPerSigma), 2), givenBy(a))
	}
	return t
}

// givenBy is where an input's value is from.
func givenBy(a analysis.Assumption) string { return words.Choose(a.Default, "assumed", "setup") }

// becameTable lists what became of each thing found; nil without any.
func becameTable[T any](caption string, all []T, became func(T) (when, what, as string)) *table {
	if len(all) == 0 {
		return nil
	}
	t := &table{Caption: caption + ", and what became of them", Head: []string{"when", "what", "taken as"}}
	for _, x := range all {
		when, what, as := became(x)
		t.add(when, what, as)
	}
	return t
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

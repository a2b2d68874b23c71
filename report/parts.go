package report

import (
	"slices"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
	"evenfoot/report/words"
)

// A dragPart is what glides show.
type dragPart struct {
	Says     []string
	Figure   *figure
	Options  *table
	Glides   *table
	Lines    string // of the setup, for glides that nobody named
	Cautions []string
}

func dragFor(r *analysis.Result, u words.Units) *dragPart {
	if len(r.Glides) == 0 {
		return nil
	}
	p := &dragPart{Says: u.Drag(r), Glides: becameTable("Glides", r.Glides, u.Glide), Lines: words.GlideLines(r.Glides)}
	if len(p.Says) == 0 {
		p.Says = []string{"No stretch counts as a glide yet, so the drag is not known."}
		return p
	}
	p.Cautions = append([]string{u.Cavitation(r)}, words.TopSpeedCautions...)
	p.Figure = (&builder{r: r, u: u}).drag()
	p.Says = slices.DeleteFunc(p.Says, func(s string) bool { return s == p.Figure.Says })
	if rows := u.DragOptions(r.Drag); len(rows) > 0 {
		p.Options = &table{Caption: "What cards do to the drag at the top speed, with 90 % intervals; the speed is at the same pull", Head: []string{"cards (+ raises the leading edge)", "drag, N", "speed, " + u.SpeedName()}}
		for _, row := range rows {
			p.Options.add(row...)
		}
	}
	return p
}

// A pacePart is what a racer asks of a log.
type pacePart struct {
	Says  []string
	Tacks *table // best speeds by tack, nil where tacks are not told apart
}

func paceFor(r *analysis.Result, u words.Units) *pacePart {
	if r.Pace == nil {
		return nil
	}
	p := &pacePart{Says: u.Pace(r.Pace)}
	t := &table{Caption: "Best speeds within reaches by tack, " + u.SpeedName(), Head: []string{"tack", "2 seconds", "10 seconds", "500 metres", "1 nautical mile"}}
	for _, tack := range []string{"port", "starboard"} {
		b, ok := r.Pace.ByTack[tack]
		if !ok {
			continue
		}
		cells := []string{tack}
		for _, v := range []interval.Number{b.TwoSeconds, b.TenSeconds, b.Metres500, b.NauticalMile} {
			cells = append(cells, words.Choose(v > 0, words.Fixed(u.SpeedValue(float64(v)), 1), "–"))
		}
		t.add(cells...)
	}
	if len(t.Rows) > 0 {
		p.Tacks = t
	}
	return p
}

// A finishPart is the advice on surfaces.
type finishPart struct {
	Head     string
	Facts    []words.Fact
	Steps    []string
	Notes    []string
	Cautions []string
}

func finishFor(r *analysis.Result, u words.Units) *finishPart {
	f := r.Finish
	if f == nil {
		return nil
	}
	return &finishPart{words.FinishHead(f), u.Facts("finish facts", f), words.FinishSteps(f), u.FinishNotes(f), words.FinishCautions}
}

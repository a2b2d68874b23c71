package main

import (
	"cmp"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"evenfoot/analysis"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/report/words"
)

func setupCommand(c *console) *cobra.Command {
	var rig, check string
	cmd := &cobra.Command{
		Use:   "setup [--rig kite] | setup --check F [LOG...]",
		Short: "Print a setup to fill in, or check one",
		Long: `Print a commented setup to fill in. With --check, read one instead and say what
is worth measuring, the most worth first, and whether the notes of feel
contradict each other; with the logs of the outing (or its folder) also which
notes are at speeds that were not flown.`,
		RunE: func(_ *cobra.Command, args []string) error {
			if check != "" {
				return c.checkSetup(check, args)
			}
			if len(args) > 0 {
				return usagef("logs go with --check; see `evenfoot help setup`")
			}
			text, err := setup.Template(rig)
			if err != nil {
				return usageError{err}
			}
			_, err = fmt.Fprint(c.out, text)
			return err
		},
	}
	cmd.Flags().StringVar(&rig, "rig", "wing", "wing | kite | sail | tow | none")
	cmd.Flags().StringVar(&check, "check", "", "check this setup `file` instead")
	return cmd
}

// checkSetup says what a setup is worth, from the same chain as a report.
func (c *console) checkSetup(path string, logs []string) error {
	s, err := c.open(logs, sources{setup: path})
	if err != nil {
		return err
	}
	given := 0
	for _, k := range setup.Keys {
		if s.Setup.Given(k.Name) {
			given++
		}
	}
	c.say("", "%s reads well%s: %d values, %s of feel.", path, words.Choose(len(s.Setup.Odd) > 0, ", but look at what is unusual", ""), given, words.Plural(len(s.Setup.Feel), "note"))
	if onlySamples(s.Setup) {
		c.say("", "%s", "Its sizes are all still the template's samples: put your own in first. What follows is said of the samples.")
	}
	req := analysis.Request{Log: s.Log, Setup: s.Setup}
	r, err := analysis.Run(req)
	var none *analysis.SpeedError
	if errors.As(err, &none) && none.Why != "" {
		req.Range = analysis.UsualRange(s.Setup)
		r, err = analysis.Run(req)
	}
	if err != nil {
		return err
	}
	u := words.Units{}.OrDefault()
	apart := false
	for _, w := range r.Session.Warnings {
		conflict, ok := w.(trim.Conflict)
		apart = apart || ok && conflict.OfNotes()
		if _, stray := w.(analysis.StrayNote); stray || ok {
			c.say("  ", "%s", u.Say(w))
		}
	}
	if r.Posterior != nil && r.Posterior.FeelNotes() > 1 && !apart {
		c.say("", "%s", "The notes of feel do not contradict each other.")
	}
	c.printWorth(r, u)
	return nil
}

// onlySamples says that nothing of rider, stance, board and foil was put in
// place of what the template holds.
func onlySamples(s *setup.Setup) bool {
	text, err := setup.Template(s.Rig.Kind)
	if err != nil {
		return false
	}
	t, _, err := setup.Parse("", []byte(text))
	return err == nil && reflect.DeepEqual([]any{s.Rider, s.Stance, s.Board, s.Foil}, []any{t.Rider, t.Stance, t.Board, t.Foil})
}

// worthTelling is how much doubt, degrees, something must take away to be listed.
const worthTelling = 0.01

// printWorth ranks what would narrow the best stabilizer angle by the doubt
// that each would take away.
func (c *console) printWorth(r *analysis.Result, u words.Units) {
	type worth struct {
		what  string
		takes float64 // of half a 90 % interval, degrees
	}
	var list []worth
	unmeasured, doubt := r.Unmeasured()
	for _, m := range unmeasured {
		list = append(list, worth{u.Measure(m.Key), interval.Z90 * (m.Now - m.Then)})
	}
	for _, o := range r.Advice.WorthKnowing {
		list = append(list, worth{u.Observation(o), interval.Z90 * float64(o.ShimSDNow-o.ShimSD)})
	}
	slices.SortStableFunc(list, func(a, b worth) int { return cmp.Compare(b.takes, a.takes) })
	if doubt > 0 {
		c.say("", "From %s to %s%s the stabilizer's best angle is known to ± %.2f° (90 %%).%s What would take doubt away, the most first:", u.SpeedText(r.RangeLow), u.SpeedText(r.RangeHigh),
			words.Choose(r.Log == nil, " (no log: a report goes by the speeds ridden)", ""), doubt,
			words.Choose(r.Setup.Rider.Level == "beginner", " A beginner is advised on the foil's place only, which rests on the same doubt.", ""))
	}
	for _, w := range list {
		if w.takes >= worthTelling {
			c.say("         ", "  %.2f°\u00a0 %s", w.takes, w.what)
		}
	}
	if mind := words.PlanFor(r, u).Mind; len(mind) > 0 {
		c.say("", "Before another trim is ridden: %s", strings.Join(mind, " "))
	}
}

// say prints a sentence in lines of the terminal's width, all but the first indented.
func (c *console) say(indent, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	first := text[:len(text)-len(strings.TrimLeft(text, " "))]
	for i, line := range words.Wrap(text, columns-len([]rune(indent))) {
		fmt.Fprintln(c.out, words.Choose(i == 0, first, indent)+line)
	}
}

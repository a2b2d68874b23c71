package main

import (
	"io"
	"os"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// isTerminal says whether w is a terminal.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// color says whether standard output may be coloured (https://no-color.org).
func (c *console) color() bool { return os.Getenv("NO_COLOR") == "" && isTerminal(c.out) }

// progress shows what is being done, on a terminal only.
type progress struct{ bar *progressbar.ProgressBar }

func (c *console) newProgress() *progress {
	if !isTerminal(c.err) {
		return &progress{}
	}
	return &progress{progressbar.NewOptions(-1,
		progressbar.OptionSetWriter(c.err), progressbar.OptionSpinnerType(14),
		progressbar.OptionClearOnFinish(), progressbar.OptionSetRenderBlankState(true))}
}

func (p *progress) stage(name string) {
	if p.bar != nil {
		p.bar.Describe(name)
		_ = p.bar.Add(1)
	}
}

func (p *progress) done() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}

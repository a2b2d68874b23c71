package main

import (
	"cmp"
	"fmt"
	"os"
	"slices"

	"github.com/spf13/cobra"

	"evenfoot/ingest"
	"evenfoot/ingest/csv"
	"evenfoot/ingest/raw"
	"evenfoot/report/words"
)

// inspection is what to inspect, and how.
type inspection struct {
	opt      ingest.Options
	asJSON   bool
	writeMap bool

	logs     []*ingest.Log
	proposed []words.Inspection // maps for what cannot be read without
}

func inspectCommand(c *console) *cobra.Command {
	var in inspection
	var src sources
	cmd := &cobra.Command{
		Use:   "inspect LOG...",
		Short: "Say what is in a log: channels, rates, gaps, clock, problems",
		Long: `Say what is in each log: channels, rates, gaps, clock, problems; and of several
how they fit together. A folder stands for the logs in it.

For a CSV with other column names it prints a column map, guessed from the
names and values; with --write-map it writes the map beside the file, as
NAME.map.toml, and reads the file through it. Check every line of it.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if in.writeMap && src.columnMap != "" {
				return usagef("--map gives a column map and --write-map makes one; leave one of them")
			}
			var err error
			if in.opt, err = readOptions(src); err != nil {
				return err
			}
			return c.inspect(args, &in)
		},
	}
	cmd.Flags().BoolVar(&in.asJSON, "json", false, "print JSON instead of words")
	cmd.Flags().StringVar(&src.columnMap, "map", "", mapHelp)
	cmd.Flags().IntVar(&src.outing, "outing", 0, outingHelp)
	cmd.Flags().BoolVar(&in.writeMap, "write-map", false, "write a column map beside each CSV that needs one")
	return cmd
}

// inspect tells of every log, also when one of them cannot be read; then the
// exit status says so.
func (c *console) inspect(args []string, in *inspection) error {
	paths, failed := c.logsIn(args)
	for _, p := range paths {
		if err := c.inspectFile(p, in); err != nil {
			if failed != nil {
				c.warn("%v", failed)
			}
			failed = err
		}
	}
	if err := c.printInspection(in); err != nil {
		return err
	}
	return failed
}

// logsIn puts the logs of a folder in its place.
func (c *console) logsIn(args []string) (paths []string, err error) {
	for _, a := range args {
		if info, serr := os.Stat(a); serr != nil || !info.IsDir() {
			paths = append(paths, a)
			continue
		}
		found, ferr := ingest.Folder(a)
		if found.Aside.Kind != "" {
			c.warn("%s", words.Warning(found.Aside))
		} else if ferr == nil && len(found.Logs) == 0 {
			ferr = fmt.Errorf("%s holds no log", a)
		}
		if ferr != nil {
			err = ferr
		}
		paths = append(paths, found.Logs...)
	}
	return paths, err
}

// inspectFile reads one log, or proposes or writes the column map that it takes.
func (c *console) inspectFile(path string, in *inspection) error {
	l, err := ingest.Open(path, in.opt)
	there := csv.Beside(path)
	what, needs := csv.NeedsMap(err)
	if err != nil && !needs {
		return whichOuting(err, 0, nil)
	}
	if err == nil && in.writeMap && there != "" {
		c.tell("%s has its column map already, %s, which is left as it is", path, there)
	}
	text, ok := "", false
	if needs || in.writeMap && there == "" {
		text, ok = ingest.ProposeMap(path)
	}
	switch {
	case csv.IsPart(err) && (!ok || !in.writeMap):
		return err
	case err == nil && !ok: // read as it is
		if in.writeMap && there == "" && l.Files[0].Kind == "CSV" {
			c.tell("%s needs no column map", path)
		}
		in.logs = append(in.logs, l)
		return nil
	case !ok:
		if text != "" {
			in.proposed = append(in.proposed, words.InspectMap(path, text))
		}
		return fmt.Errorf("%s No column map could be guessed from the names and values", what)
	case !in.writeMap:
		c.tell("%s has other column names than evenfoot's own. A column map for it is printed, guessed from the names and values: check every line, above all the units, and save it as %s. Or let `evenfoot inspect --write-map %s` write it.",
			path, csv.MapName(path), path)
		in.proposed = append(in.proposed, words.InspectMap(path, text))
		return nil
	}
	if l, err = writeMap(path, text); err != nil {
		return err
	}
	c.tell("wrote %s, guessed from the names and values: check every line, above all the units", csv.MapName(path))
	for _, w := range l.Warnings {
		if slices.Contains(raw.AgainstPhysics, w.Kind) {
			c.warn("the guess does not hold. %s", words.Warning(w))
		}
	}
	in.logs = append(in.logs, l)
	return nil
}

// writeMap writes a column map beside a log and reads the log through it. A map
// that is there is never written over; one that does not read the log goes.
func writeMap(path, text string) (l *ingest.Log, err error) {
	name := csv.MapName(path)
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return nil, fmt.Errorf("cannot write %s: %w", name, ingest.Cause(err))
	}
	defer func() {
		if err != nil {
			os.Remove(name)
		}
	}()
	_, err = f.WriteString(text)
	if err = cmp.Or(err, f.Close()); err != nil {
		return nil, fmt.Errorf("cannot write %s: %w", name, ingest.Cause(err))
	}
	return ingest.Open(path, ingest.Options{})
}

// printInspection prints the answer: what is in the logs, then the maps.
func (c *console) printInspection(in *inspection) error {
	if len(in.logs) == 0 && len(in.proposed) == 0 {
		return nil
	}
	if in.asJSON {
		return words.WriteInspectJSON(c.out, in.logs, in.proposed...)
	}
	if err := words.WriteInspect(c.out, in.logs); err != nil {
		return err
	}
	for i, p := range in.proposed {
		if len(in.logs) > 0 || i > 0 {
			fmt.Fprintln(c.out)
		}
		if _, err := fmt.Fprint(c.out, p.Map); err != nil {
			return err
		}
	}
	return nil
}

// tell says on standard error what is no warning.
func (c *console) tell(format string, args ...any) {
	fmt.Fprintln(c.err, wrapped("evenfoot: "+fmt.Sprintf(format, args...)))
}

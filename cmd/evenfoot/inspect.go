package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"evenfoot/ingest"
)

func inspectCommand(c *console) *cobra.Command {
	var asJSON bool
	var columnMap string
	cmd := &cobra.Command{
		Use:   "inspect LOG...",
		Short: "Say what is in a log: channels, rates, gaps, clock, problems",
		Args:  cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			opt, err := readOptions(columnMap)
			if err != nil {
				return err
			}
			return c.inspect(args, opt, asJSON)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON instead of words")
	cmd.Flags().StringVar(&columnMap, "map", "", "column map `file` for a CSV with other column names")
	return cmd
}

// inspect tells of every log, also when one of them cannot be read; then the
// exit status says so.
func (c *console) inspect(paths []string, opt ingest.Options, asJSON bool) error {
	var logs []*ingest.Log
	var failed error
	for _, p := range paths {
		l, err := ingest.Open(p, opt)
		if err != nil {
			if failed != nil {
				c.warn("%v", failed)
			}
			failed = err
			c.proposeMap(p)
			continue
		}
		logs = append(logs, l)
	}
	if len(logs) > 0 {
		if asJSON {
			if err := ingest.WriteInspectJSON(c.out, logs); err != nil {
				return err
			}
		} else if err := ingest.WriteInspect(c.out, logs); err != nil {
			return err
		}
	}
	return failed
}

// proposeMap offers a column map for a CSV whose columns are not ours.
func (c *console) proposeMap(path string) {
	text, ok := ingest.ProposeMap(path)
	if !ok {
		return
	}
	c.warn("%s has columns that are not evenfoot's own. A column map may read it. Save this as %s.map.toml, check every line, and try again:", path, path)
	fmt.Fprint(c.err, text)
}

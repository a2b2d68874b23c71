package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"evenfoot/analysis/setup"
)

func setupCommand(c *console) *cobra.Command {
	var rig, check string
	cmd := &cobra.Command{
		Use:   "setup [--rig kite] | setup --check F",
		Short: "Print a setup to fill in, or check one",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			if check != "" {
				return c.checkSetup(check)
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

func (c *console) checkSetup(path string) error {
	s, warnings, err := setup.Load(path)
	if err != nil {
		return err
	}
	for _, w := range warnings {
		c.warn("%s", w)
	}
	given, missing := 0, []string{}
	for _, k := range setup.Keys {
		if s.Given(k.Name) {
			given++
		} else if k.Prior.Default > k.Prior.Given {
			missing = append(missing, k.Name)
		}
	}
	fmt.Fprintf(c.out, "%s is a good setup: %d values, %d notes of feel.\n", path, given, len(s.Feel))
	for _, k := range missing {
		fmt.Fprintf(c.out, "  not given, a default with a wide doubt is used: %s\n", k)
	}
	return nil
}

package main

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// release is the version; a build from a checkout adds its revision.
const release = "0.1.0"

func versionText() string {
	v := release
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" && len(s.Value) >= 12 {
				v += "+" + s.Value[:12]
			}
		}
	}
	return v
}

func versionCommand(c *console) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			_, err := fmt.Fprintf(c.out, "evenfoot %s (%s %s/%s)\n", versionText(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
			return err
		},
	}
}

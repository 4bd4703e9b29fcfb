package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// release is the version of the program; CHANGELOG.md tells what each brought.
const release = "0.1.0"

// version is the release, with the commit where the build knows it.
func version() string {
	v := release
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" && len(s.Value) >= 8 {
				v += "+" + s.Value[:8]
			}
		}
	}
	return v
}

func versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "version",
		Short:   "Print the version",
		Example: "  pochette version",
		Args:    exactly(0, "nothing"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := fmt.Fprintln(cmd.OutOrStdout(), "pochette", version())
			return err
		},
	}
}

package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"

	"pochette"
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
	var notices bool
	cmd := &cobra.Command{
		Use:   "version",
		Short: "Print the version",
		Example: `  pochette version
  pochette version --notices      the licences of embedded parts`,
		Args: exactly(0, "nothing"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			text := "pochette " + version() + "\n"
			if notices {
				text = pochette.Notices
			}
			_, err := fmt.Fprint(cmd.OutOrStdout(), text)
			return err
		},
	}
	cmd.Flags().BoolVar(&notices, "notices", false, "print the notices of embedded parts instead")
	return cmd
}

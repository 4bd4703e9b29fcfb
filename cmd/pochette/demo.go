package main

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"pochette/internal/demo"
	"pochette/internal/study"
)

func demoCommand() *cobra.Command {
	var f studyFlags
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Write an invented movement for viola and study it",
		Long: `demo writes a jig for viola (invented, like its composer) with a pickup, dotted
figures beside triplets, chords and repeats, and studies it as "pochette study"
does. All files go into one folder.`,
		Example: `  pochette demo
  pochette demo -o /tmp/jig --all-fingers`,
		Args: exactly(0, "nothing"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			f.study.Name, f.study.Data, f.stdout = demo.Name, demo.Jig, cmd.OutOrStdout()
			if f.out == "" {
				f.out = "jig-study"
			}
			jig := []study.File{{Name: demo.Name, Data: demo.Jig}}
			if err := mayReplace(f.out, jig, "", f.overwrite); err != nil {
				return err
			}
			if err := writeAll(f.out, jig); err != nil {
				return err
			}
			if !f.quiet && !f.json {
				fmt.Fprintf(f.stdout, "Wrote %s; studying it.\n", filepath.Join(f.out, demo.Name))
			}
			return runStudy(cmd.Context(), &f, demo.Name)
		},
	}
	addStudyFlags(cmd, &f)
	return cmd
}

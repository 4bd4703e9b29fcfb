// Command pochette reads the score of a solo movement for violin, viola or cello
// and does the detective work of every bar. See `pochette --help`.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"pochette/internal/study"
)

// Exit statuses.
const (
	exitFailed  = 1
	exitUsage   = 2
	exitStopped = 130 // by a signal, as shells say it of Ctrl-C
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}

// run executes the command line and gives the exit status.
func run(ctx context.Context, args []string) int {
	root := rootCommand()
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(ctx)
	if err == nil {
		return 0
	}
	if ctx.Err() != nil {
		fmt.Fprintln(os.Stderr, "pochette: stopped; nothing was written")
		return exitStopped
	}
	if isUsage(err) {
		fmt.Fprintf(os.Stderr, "pochette: %v (see `%s --help`)\n", oneLine(err), cmd.CommandPath())
		return exitUsage
	}
	fmt.Fprintf(os.Stderr, "pochette: %s\n", oneLine(err))
	return exitFailed
}

// oneLine keeps a message on one line, whatever a file's text put into it.
func oneLine(err error) string {
	return strings.Join(strings.FieldsFunc(err.Error(), func(r rune) bool { return r == '\n' || r == '\r' }), " ")
}

// usageError is a wrong command line, not a failed job.
type usageError struct{ error }

// isUsage says so of an error of ours, or of an option that the study cannot take.
func isUsage(err error) bool {
	_, ours := errors.AsType[usageError](err)
	_, option := errors.AsType[study.OptionError](err)
	return ours || option
}

func rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "pochette",
		Short: "From the bare score of a solo movement to a marked part",
		Long: `pochette reads a solo movement for violin, viola or cello (MusicXML) and works
out, bar by bar, what a player has to settle before the first rehearsal: which
way the bow goes if every slur is played as written and where that leaves her
the wrong way round; string, position and finger for each note; and every string
crossing that may touch a neighbour. It also reads the score: keys, chords and
cadences, the voices hidden in the line, phrases, and parallel passages that
differ. It keeps what is printed, proposes the least change, says why, and writes
a marked part, a report and the data behind it.`,
		Example: `  pochette demo                            write an invented movement and study it
  pochette study movement.musicxml         leave a marked part in ./movement-study
  pochette study duo.mxl --part 2 --instrument viola
  pochette fingers movement.musicxml --bars 5-12 --why
  pochette hard movement.musicxml          the hard spots, and what to prepare
  pochette harmony movement.musicxml --level student
  pochette odd movement.musicxml           what differs from its parallel, what occurs once
  pochette engrave movement.musicxml -o movement.pdf`,
		SilenceUsage: true, SilenceErrors: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError{fmt.Errorf("no command %q", args[0])}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.AddCommand(studyCommand(), demoCommand(), hearCommand(), deskCommand(), engraveCommand(), libraryCommand(), versionCommand())
	root.AddCommand(topicCommands()...)
	root.AddCommand(readCommands()...)
	root.AddCommand(paceCommand(), soundCommand())
	return root
}

// exactly wants n arguments, what names them.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != n {
			return usageError{fmt.Errorf("want %s, got %d arguments", what, len(args))}
		}
		return nil
	}
}

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"

	"github.com/spf13/cobra"

	"pochette/internal/desk"
)

type deskFlags struct {
	library, who string
	port         int
	noBrowser    bool
}

func deskCommand() *cobra.Command {
	var f deskFlags
	cmd := &cobra.Command{
		Use:   "desk [FILE]",
		Short: "Open the score on a local page, to look at every bar and to decide",
		Long: `desk opens a page in the browser: the engraved score, what was found in every
bar, alternatives with what each costs, and what was decided, with undo and history.
Pieces and decisions are kept in a library, a folder with one SQLite file.

The page is served to this machine only, under an address with a token that is made
anew at each start; nothing leaves the machine. FILE is put into the library (or
found there, if the same bytes are in it already) and opened. The command runs until
it is interrupted.`,
		Example: `  pochette desk
  pochette desk movement.musicxml
  pochette desk --library ~/scores --no-browser --port 8123`,
		Args: atMost(1, "one FILE or none"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runDesk(cmd.Context(), &f, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	addLibraryFlag(cmd, &f.library)
	fl := cmd.Flags()
	fl.StringVar(&f.who, "who", "", "the name under which decisions are kept (default: that of the account)")
	fl.IntVar(&f.port, "port", 0, "port to listen on (default: any free one)")
	fl.BoolVar(&f.noBrowser, "no-browser", false, "only print the address")
	return cmd
}

// atMost wants no more than n arguments.
func atMost(n int, what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) > n {
			return usageError{fmt.Errorf("want %s, got %d arguments", what, len(args))}
		}
		return nil
	}
}

func addLibraryFlag(cmd *cobra.Command, library *string) {
	cmd.Flags().StringVar(library, "library", "", "folder of the library (default: pochette in the user's data folder)")
}

// libraryDir is the folder of the library: the one named, or that of the user.
func libraryDir(named string) (string, error) {
	if named != "" {
		return named, nil
	}
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "pochette"), nil
	}
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		dir, err := os.UserConfigDir()
		return filepath.Join(dir, "pochette"), err
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", errors.New("no home folder is known: name the library's with --library")
	}
	return filepath.Join(home, ".local", "share", "pochette"), nil
}

func runDesk(ctx context.Context, f *deskFlags, args []string, out, errs io.Writer) error {
	dir, err := libraryDir(f.library)
	if err != nil {
		return err
	}
	d, err := desk.Open(desk.Options{Library: dir, Who: accountName(f.who), Version: version()})
	if err != nil {
		return err
	}
	defer d.Close()
	fragment := ""
	if len(args) > 0 {
		if fragment, err = openInLibrary(d, args[0]); err != nil {
			return err
		}
	}
	ln, err := desk.Listen(f.port)
	if err != nil {
		return err
	}
	address := d.Address(ln.Addr()) + fragment
	fmt.Fprintln(out, address)
	if !f.noBrowser {
		if err := browse(address); err != nil {
			fmt.Fprintf(errs, "pochette: no browser was opened (%v): open the address above in one\n", err)
		}
	}
	return d.Serve(ctx, ln)
}

// openInLibrary puts a file into the library, unless its bytes are there, and
// names the piece for the address.
func openInLibrary(d *desk.Desk, file string) (string, error) {
	data, shown, err := readInput(file)
	if err != nil {
		return "", err
	}
	p, err := d.FindOrAdd(filepath.Base(shown), data)
	if err != nil {
		return "", err
	}
	return "#/" + p.ID, nil
}

func accountName(named string) string {
	if named != "" {
		return named
	}
	if u, err := user.Current(); err == nil {
		if u.Name != "" {
			return u.Name
		}
		return u.Username
	}
	return ""
}

// browse opens an address in the user's browser.
func browse(address string) error {
	var cmd *exec.Cmd
	switch runtime.GOOS {
	case "windows":
		cmd = exec.Command("rundll32", "url.dll,FileProtocolHandler", address)
	case "darwin":
		cmd = exec.Command("open", address)
	default:
		cmd = exec.Command("xdg-open", address)
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	go cmd.Wait() //nolint:errcheck // how the browser ends is no matter of ours
	return nil
}

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"pochette/internal/desk"
	"pochette/internal/store"
	"pochette/internal/study"
)

// libraryCommand works on the library without opening the desk. A running desk
// does not mind.
func libraryCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "library",
		Short: "List, export, import and back up the pieces of the desk",
		Example: `  pochette library list
  pochette library backup              a dated copy beside the library
  pochette library export jig -o jig.pochette
  pochette library import jig.pochette`,
		Args: exactly(0, "one of list, export, import, backup"),
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(libraryList(), libraryExport(), libraryImport(), libraryBackup())
	return cmd
}

// withLibrary opens the library for f.
func withLibrary(named string, f func(*desk.Desk) error) error {
	dir, err := libraryDir(named)
	if err != nil {
		return err
	}
	d, err := desk.Open(desk.Options{Library: dir, Version: version()})
	if err != nil {
		return err
	}
	if err := f(d); err != nil {
		d.Close()
		return err
	}
	return d.Close()
}

func libraryList() *cobra.Command {
	var library string
	var asJSON bool
	cmd := &cobra.Command{
		Use: "list", Short: "List the pieces, the one changed last first", Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withLibrary(library, func(d *desk.Desk) error {
				ps, err := d.Store().Pieces()
				if err != nil {
					return err
				}
				if asJSON {
					return json.NewEncoder(cmd.OutOrStdout()).Encode(ps)
				}
				w := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 4, 2, ' ', 0)
				for _, p := range ps {
					fmt.Fprintf(w, "%s\t%s\t%s\t%d bars\t%d steps\t%s\n", p.ID, p.Title, p.Instrument, p.Bars, p.Revision, p.Changed.Format("2006-01-02 15:04"))
				}
				return w.Flush()
			})
		},
	}
	addLibraryFlag(cmd, &library)
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return cmd
}

// findPiece finds a piece by its ID or by a title that only one has.
func findPiece(s *store.Store, want string) (store.Piece, error) {
	ps, err := s.Pieces()
	if err != nil {
		return store.Piece{}, err
	}
	var found []store.Piece
	for _, p := range ps {
		if p.ID == want {
			return p, nil
		}
		if strings.EqualFold(p.Title, want) {
			found = append(found, p)
		}
	}
	switch len(found) {
	case 0:
		return store.Piece{}, fmt.Errorf("no piece %q in the library; see `pochette library list`", want)
	case 1:
		return found[0], nil
	}
	return store.Piece{}, fmt.Errorf("%d pieces are called %q: name one by its ID, as in `pochette library list`", len(found), want)
}

func libraryExport() *cobra.Command {
	var library, out string
	cmd := &cobra.Command{
		Use: "export PIECE", Short: "Write a piece with its decisions and history as one file",
		Long: `export writes one file with the source of a piece, what was decided (also as a
decisions file, docs/DECISIONS.md), its history, plans and witnesses: a zip, as
docs/PIECE_FILE.md describes it. PIECE is an ID of ` + "`pochette library list`" + ` or a title.`,
		Args: exactly(1, "one PIECE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return withLibrary(library, func(d *desk.Desk) error {
				p, err := findPiece(d.Store(), args[0])
				if err != nil {
					return err
				}
				var buf bytes.Buffer
				if _, err := d.Export(&buf, p.ID); err != nil {
					return err
				}
				if out == "" {
					out = store.BaseName(p.Title) + desk.ExportEnding
				}
				if err := writeAll(filepath.Dir(out), []study.File{{Name: filepath.Base(out), Data: buf.Bytes()}}); err != nil {
					return err
				}
				_, err = fmt.Fprintln(cmd.OutOrStdout(), out)
				return err
			})
		},
	}
	addLibraryFlag(cmd, &library)
	cmd.Flags().StringVarP(&out, "out", "o", "", "file to write (default: the title with "+desk.ExportEnding+")")
	return cmd
}

func libraryImport() *cobra.Command {
	var library string
	cmd := &cobra.Command{
		Use: "import FILE", Short: "Take a piece that was exported into the library", Args: exactly(1, "one FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			info, err := os.Stat(args[0])
			if err != nil {
				return plainPathError(err)
			}
			if info.Size() > store.MaxArchive {
				return fmt.Errorf("%s: larger than %d MB, the most that is read", args[0], store.MaxArchive>>20)
			}
			data, err := os.ReadFile(args[0])
			if err != nil {
				return plainPathError(err)
			}
			return withLibrary(library, func(d *desk.Desk) error {
				p, err := d.Import(data)
				if err != nil {
					return fmt.Errorf("%s: %w", args[0], err)
				}
				_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s  %s\n", p.ID, p.Title)
				return err
			})
		},
	}
	addLibraryFlag(cmd, &library)
	return cmd
}

func libraryBackup() *cobra.Command {
	var library, out string
	var keep int
	cmd := &cobra.Command{
		Use: "backup", Short: "Write a whole copy of the library, also while a desk is open",
		Long: `backup writes a copy of the library's file that is whole and checked, also while a
desk works on it. Without -o the copy goes into the folder "backups" in the library,
under the day and time; --keep takes the oldest of those away. Run it every night
from the system's own scheduler.`,
		Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withLibrary(library, func(d *desk.Desk) error {
				path := out
				if path == "" {
					path = filepath.Join(filepath.Dir(d.Store().Path()), "backups", time.Now().Format("2006-01-02T150405")+".sqlite")
				}
				if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
					return plainPathError(err)
				}
				if err := d.Store().Backup(path); err != nil {
					return err
				}
				if out == "" && keep > 0 {
					if err := store.Thin(filepath.Dir(path), keep); err != nil {
						return err
					}
				}
				_, err := fmt.Fprintln(cmd.OutOrStdout(), path)
				return err
			})
		},
	}
	addLibraryFlag(cmd, &library)
	cmd.Flags().StringVarP(&out, "out", "o", "", "file to write; it must not exist yet")
	cmd.Flags().IntVar(&keep, "keep", 0, "keep so many of the dated copies (default: all)")
	return cmd
}

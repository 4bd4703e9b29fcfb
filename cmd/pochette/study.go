package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"pochette/internal/engrave"
	"pochette/internal/study"
)

type studyFlags struct {
	out   string
	paper string
	json  bool
	quiet bool
	// overwrite replaces files that are not as a study left them.
	overwrite bool
	level     string
	partFlags
	stdout io.Writer
}

func studyCommand() *cobra.Command {
	var f studyFlags
	cmd := &cobra.Command{
		Use:   "study FILE",
		Short: "Study one part of a score and write a marked part, a report and the data",
		Long: `study reads MusicXML 1.0 to 4.0, plain or compressed (.musicxml, .xml, .mxl; "-"
is standard input), looks at one part, and leaves four files in a folder:

  part.musicxml  the source, byte for byte, with only the marks added
  part.pdf       the marked part, engraved, to print
  report.html    what was found, bar by bar, with the bars engraved
  study.json     all of it as data

Bow marks, fingerings and strings that stand in the file are obeyed. Marks are
added only where a player needs them: a finger at a shift, a change of string, an
extension or a choice between an open string and the fourth finger; a bow sign
where the direction is not what one would take anyway.

What a player has settled is obeyed too: --decide for a note, --decisions for a
file of them (docs/DECISIONS.md). Decided marks go into the part; one that cannot
be read or placed stops the study before anything is written.

A folder may be studied into again: what a study left there is replaced, but not
a file that was changed since (--overwrite does), and never the score itself.

Exit status: 0 done (what is odd in the music is told in the report), 1 nothing
could be done, 2 the command line is wrong.`,
		Example: `  pochette study movement.musicxml
  pochette study movement.mxl -o stand --paper letter
  pochette study quartet.mxl --part Viola
  pochette study movement.xml --instrument cello --tuning C2,G2,D3,G3
  pochette study movement.xml --instrument viola --size 16.5in --hand small
  pochette study movement.xml --profile early --open-strings more
  pochette study movement.xml --decide "m22.2 finger=3 string=II" --decide "m24.1 bow=up"
  pochette study movement.xml --decisions mine.yaml
  pochette study movement.xml --json | jq '.findings[].text'`,
		Args: exactly(1, "one FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f.stdout = cmd.OutOrStdout()
			level, err := study.ParseLevel(f.level)
			if err != nil {
				return err
			}
			f.study.Level = level
			if f.out == "" && !f.json {
				f.out = folderFor(args[0])
			}
			return runStudy(cmd.Context(), &f, args[0])
		},
	}
	addStudyFlags(cmd, &f)
	addLevelFlag(cmd, &f.level)
	return cmd
}

func addStudyFlags(cmd *cobra.Command, f *studyFlags) {
	fl := cmd.Flags()
	fl.StringVarP(&f.out, "out", "o", "", "folder to write into (default: the file's name with -study; none with --json)")
	addPartFlags(cmd, &f.partFlags)
	fl.BoolVar(&f.study.AllFingers, "all-fingers", false, "mark the finger of every note")
	fl.StringVar(&f.paper, "paper", "a4", "size of the pages: a4 or letter")
	fl.BoolVar(&f.json, "json", false, "write the data to standard output")
	fl.BoolVar(&f.overwrite, "overwrite", false, "replace files in the folder even if they were changed since a study left them")
	fl.BoolVarP(&f.quiet, "quiet", "q", false, "say nothing when all went well")
}

// folderFor names the folder of a study after its file.
func folderFor(file string) string {
	if file == "-" {
		return "study"
	}
	base := filepath.Base(file)
	return strings.TrimSuffix(base, filepath.Ext(base)) + "-study"
}

// runStudy studies and writes. With JSON alone no page is engraved.
func runStudy(ctx context.Context, f *studyFlags, file string) error {
	if _, err := study.LayoutFor(f.paper); err != nil {
		return usageError{fmt.Errorf("--%w", err)}
	}
	r, err := f.request(file)
	if err != nil {
		return err
	}
	var pool func() (*engrave.Pool, error)
	if f.out != "" {
		pool = openingEngraver(ctx) // while the part is studied
	}
	s, err := study.Analyze(r)
	if err != nil {
		return err
	}
	if f.out != "" {
		go s.Compared() // while the engraver still opens
		if err := writeStudy(ctx, s, f, file, pool); err != nil {
			return err
		}
	}
	if f.json {
		data, err := s.JSON(version())
		if err != nil {
			return err
		}
		_, err = f.stdout.Write(data)
		return err
	}
	if !f.quiet {
		tell(f.stdout, s, f.out)
	}
	return nil
}

func writeStudy(ctx context.Context, s *study.Study, f *studyFlags, file string, opened func() (*engrave.Pool, error)) error {
	step, finish := progress()
	defer finish()
	pool, err := opened()
	if err != nil {
		return err
	}
	defer pool.Close(ctx) // after Ctrl-C it does not wait for a page under way
	files, err := s.Outputs(ctx, pool, study.OutputOptions{Paper: f.paper, Version: version(), Step: step})
	if err != nil {
		return err
	}
	if err := mayReplace(f.out, files, file, f.overwrite); err != nil {
		return err
	}
	return writeAll(f.out, files)
}

// openingEngraver begins to open the engraver and gives a function that waits for it. If
// the study fails meanwhile nobody waits, and it ends with the program.
func openingEngraver(ctx context.Context) func() (*engrave.Pool, error) {
	type opened struct {
		pool *engrave.Pool
		err  error
	}
	done := make(chan opened, 1)
	go func() {
		pool, err := openEngraver(ctx)
		done <- opened{pool, err}
	}()
	return func() (*engrave.Pool, error) {
		o := <-done
		return o.pool, o.err
	}
}

func openEngraver(ctx context.Context) (*engrave.Pool, error) {
	return engrave.Open(ctx, engrave.PoolOptions{CacheDir: engrave.DefaultCacheDir()})
}

// tell says in a few lines what was found and where it is.
func tell(w io.Writer, s *study.Study, dir string) {
	for _, line := range s.Summary() {
		fmt.Fprintln(w, line)
	}
	for _, line := range s.BesideSummary() {
		fmt.Fprintln(w, line)
	}
	for _, name := range []string{study.PartPDF, study.ReportHTML, study.PartXML, study.DataJSON} {
		fmt.Fprintln(w, "  "+filepath.Join(dir, name))
	}
}

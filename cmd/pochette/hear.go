package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"pochette/internal/listen"
	"pochette/internal/study"
)

type hearFlags struct {
	study.HearRequest
	out       string
	bars      bool
	json      bool
	overwrite bool
}

func hearCommand() *cobra.Command {
	var f hearFlags
	cmd := &cobra.Command{
		Use:   "hear TAKE FILE",
		Short: "Listen to a recording and put it beside the score",
		Long: `hear listens to a take, a recording of one player alone, and puts it beside the
score, through wrong and missing notes, stops and restarts, with repeats taken or
not, at any tempo and any A4 from 392 to 466 Hz. It measures pitch against a
tuning, the tempo of each bar and the time inside it, dotted pairs and loudness,
and names three spots that are worth hearing again. It knows no right or wrong:
it tells what was played beside what is printed.

TAKE is WAV, FLAC, MP3 or Ogg Vorbis ("-" is standard input), FILE is MusicXML.
Equal tuning has twelve equal semitones; pythagorean takes all notes by pure
fifths from A, as the open strings are tuned; just takes the notes of each chord
pure above its root. With -o a folder gets the data (heard.json) and pictures:
tempo by bar, pitch by note, and a histogram of dotted pairs.

Exit status: 0 done, 1 nothing could be done, 2 the command line is wrong.`,
		Example: `  pochette hear take.wav movement.musicxml
  pochette hear take.flac movement.mxl --tuning pythagorean --bars
  pochette hear take.mp3 movement.mxl --a4 415 -o heard
  pochette hear take.wav movement.musicxml --json | jq '.worth_hearing_again[].text'`,
		Args: exactly(2, "TAKE and FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runHear(cmd.Context(), cmd.OutOrStdout(), &f, args[0], args[1])
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.Part, "part", "", partUsage)
	fl.StringVar(&f.Instrument, "instrument", "", "violin, viola or cello (default: guessed from the part)")
	fl.Float64Var(&f.A4, "a4", 0, "measure pitch from this A4 in Hz (default: as the take is tuned)")
	fl.StringVar(&f.Tuning, "tuning", "", strings.Join(listen.Tunings, ", ")+" (default: equal)")
	fl.StringVarP(&f.out, "out", "o", "", "folder for the data and the pictures")
	fl.BoolVar(&f.bars, "bars", false, "list every bar")
	fl.BoolVar(&f.json, "json", false, jsonUsage)
	fl.BoolVar(&f.overwrite, "overwrite", false, "replace files in the folder even if they were changed since")
	if err := cmd.RegisterFlagCompletionFunc("tuning", cobra.FixedCompletions(listen.Tunings, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic("pochette: " + err.Error()) // the flag is defined just above: a slip of ours
	}
	return cmd
}

func runHear(ctx context.Context, w io.Writer, f *hearFlags, takeName, file string) error {
	if takeName == "-" && file == "-" {
		return usageError{fmt.Errorf("only one of TAKE and FILE can be standard input")}
	}
	r := f.HearRequest
	var err error
	if r.Data, r.Name, err = readInput(file); err != nil {
		return err
	}
	in, err := openTake(&r, takeName)
	if err != nil {
		return err
	}
	defer in.Close()
	step, finish := progress()
	r.Step = step
	h, err := study.Hear(ctx, r)
	finish()
	if err != nil {
		return err
	}
	if f.out != "" {
		if err := writeHeard(h, f, takeName, file); err != nil {
			return err
		}
	}
	if f.json {
		data, err := h.JSON(version())
		if err != nil {
			return err
		}
		_, err = w.Write(data)
		return err
	}
	return tellHeard(w, h, f)
}

// openTake opens the recording for reading as it goes.
func openTake(r *study.HearRequest, name string) (io.Closer, error) {
	if name == "-" {
		r.Take, r.TakeName = os.Stdin, "standard input"
		return io.NopCloser(nil), nil
	}
	in, err := os.Open(name)
	if err != nil {
		return nil, plainPathError(err)
	}
	st, err := in.Stat()
	if err != nil {
		in.Close()
		return nil, plainPathError(err)
	}
	if st.IsDir() {
		in.Close()
		return nil, fmt.Errorf("%s is a folder; give a recording", name)
	}
	r.Take, r.TakeName, r.TakeSize = in, name, st.Size()
	return in, nil
}

// writeHeard writes the files, all or none, over those that an earlier hearing left.
func writeHeard(h *study.Heard, f *hearFlags, inputs ...string) error {
	files, err := h.Files(version())
	if err != nil {
		return err
	}
	overwrite := f.overwrite
	if !overwrite {
		overwrite = heardBefore(f.out, files)
	}
	for _, in := range inputs {
		if err := mayReplace(f.out, files, in, overwrite); err != nil {
			return err
		}
	}
	return writeAll(f.out, files)
}

// heardBefore says that every file that would be replaced is as a hearing left it.
func heardBefore(dir string, files []study.File) bool {
	data, err := os.ReadFile(filepath.Join(dir, study.HeardJSON))
	if err != nil {
		return false
	}
	sums := study.Written(data)
	for _, x := range files {
		old, err := os.ReadFile(filepath.Join(dir, x.Name))
		if err == nil && x.Name != study.HeardJSON && sums[x.Name] != study.Sum(old) {
			return false
		}
	}
	return sums != nil
}

func tellHeard(w io.Writer, h *study.Heard, f *hearFlags) error {
	var b strings.Builder
	for _, line := range h.Summary() {
		if inner, ok := strings.CutPrefix(line, "  "); ok {
			writeWrapped(&b, inner, "  ", "     ")
			continue
		}
		writeWrapped(&b, line, "", "  ")
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return err
	}
	if f.bars {
		for _, t := range []study.Table{h.SlipTable(), h.BarTable()} {
			fmt.Fprintln(w)
			if err := writeTable(w, t); err != nil {
				return err
			}
		}
	}
	if f.out != "" {
		fmt.Fprintln(w, "  "+f.out)
	}
	return nil
}

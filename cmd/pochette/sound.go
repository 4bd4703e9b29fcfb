package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"pochette/internal/study"
)

// soundFlags are those of the command that writes sound.
type soundFlags struct {
	paceFlags
	out, slow string
	quiet     bool
	study.SoundOptions
}

func soundCommand() *cobra.Command {
	var f soundFlags
	cmd := &cobra.Command{
		Use:   "sound FILE",
		Short: "Write the planned time as sound (WAV) or as MIDI",
		Long: `sound lets a movement be heard as pochette pace plans it: onsets, lengths, loudness,
dotting, and the strokes of the bow. The ending of the output's name says what is
written: .wav is a plain bowed tone that is computed here (no recording, no sampled
instrument), .mid is a Standard MIDI File whose bar lines are those of the plan.

--bars, --loop, --slow and --count-in make a passage to practise against: slow steps
keep the pitch. --click adds a click: follow goes with the plan in every beat, bars
keeps to its bar lines and divides the bar evenly, strict is a metronome whatever is
played. --ab plays two ways one after the other, and tells which comes first:

  --ab dotting=2:1,3:1          two dottings
  --ab slurs=printed,proposed   the slurs as printed, and as proposed
  --ab pace=steady,planned      two paces (metronome, steady, planned)
  --ab tempo=66,76              two of anything that --decide takes for the whole

Decisions about time are those of pochette pace. A file of the same name is written
over, once the new one is whole; the score itself never is.

Exit status: 0 done, 1 nothing could be done, 2 the command line is wrong.`,
		Example: `  pochette sound movement.musicxml -o movement.wav
  pochette sound movement.musicxml -o movement.mid --steady
  pochette sound movement.musicxml -o bars.wav --bars 5-12 --slow 0.5,0.7,0.85,1 --count-in 1 --click follow
  pochette sound movement.musicxml -o two.wav --bars 1-4 --ab dotting=2:1,3:1
  pochette sound movement.musicxml -o low.wav --a4 415 --vibrato 12`,
		Args: exactly(1, "one FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSound(cmd.Context(), cmd.OutOrStdout(), &f, args[0])
		},
	}
	addPaceFlags(cmd, &f.paceFlags)
	fl := cmd.Flags()
	fl.StringVarP(&f.out, "out", "o", "", "file to write: NAME.wav or NAME.mid (required)")
	fl.StringVar(&f.Bars, "bars", "", barsUsage)
	fl.StringVar(&f.slow, "slow", "", "speeds to play in turn, as in 0.5,0.7,1 (default: 1)")
	fl.IntVar(&f.Loop, "loop", 1, "how often it is played")
	fl.IntVar(&f.CountIn, "count-in", 0, "bars of clicks before each turn")
	fl.StringVar(&f.Click, "click", "none", "a click along with it: "+strings.Join(study.ClickChoices, ", "))
	fl.BoolVar(&f.ClickOnly, "click-only", false, "the click alone, without the music")
	fl.StringVar(&f.Compare, "ab", "", "two ways one after the other, as in dotting=2:1,3:1")
	fl.Float64Var(&f.Gap, "gap", 1, "seconds of silence between turns")
	fl.Float64Var(&f.A4, "a4", 440, "pitch of A4 in Hz, 392 to 466")
	fl.Float64Var(&f.Vibrato, "vibrato", 0, "its depth in cents to each side, on notes that are long enough")
	fl.IntVar(&f.Bits, "bits", 16, "of the WAV: 16 or 24")
	fl.BoolVarP(&f.quiet, "quiet", "q", false, "say nothing when all went well")
	// the flag is defined just above: an error is a slip of ours
	if err := cmd.RegisterFlagCompletionFunc("click", cobra.FixedCompletions(study.ClickChoices, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic("pochette: " + err.Error())
	}
	return cmd
}

func runSound(ctx context.Context, stdout io.Writer, f *soundFlags, file string) error {
	ext := strings.ToLower(filepath.Ext(f.out))
	if ext != ".wav" && ext != ".mid" && ext != ".midi" {
		return usageError{fmt.Errorf("--out %q: want a name that ends in .wav or .mid", f.out)}
	}
	if f.slow != "" {
		speeds, err := study.ParseSpeeds(f.slow)
		if err != nil {
			return usageError{err}
		}
		f.Slow = speeds
	}
	var err error
	if f.Pace, err = f.options(); err != nil {
		return err
	}
	s, err := f.analyzed(file)
	if err != nil {
		return err
	}
	x, err := s.Sound(f.SoundOptions)
	if err != nil {
		return err
	}
	step, finish := progress()
	err = writeStream(f.out, file, func(w io.Writer) error {
		if ext != ".wav" {
			return x.MIDI(w)
		}
		return x.WAV(ctx, w, func(done, total int64) {
			if step != nil {
				step("sound", int(100*done/max(1, total)), 100)
			}
		})
	})
	finish()
	if err != nil || f.quiet {
		return err
	}
	return tellSound(stdout, x, f.out, ext == ".wav")
}

// tellSound says what was written, in which order, and once what to know about
// loudness.
func tellSound(w io.Writer, x *study.Sounding, name string, wav bool) error {
	var b strings.Builder
	about := name + ": a Standard MIDI File."
	if wav {
		about = name + ": " + x.About()
	}
	writeWrapped(&b, about, "", "  ")
	for _, line := range x.Order {
		writeWrapped(&b, line, "  ", "          ")
	}
	for _, line := range x.Notes {
		writeWrapped(&b, line, "", "  ")
	}
	if wav {
		writeWrapped(&b, study.SoundCaution(), "", "  ")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// writeStream writes a file under a temporary name beside it, and renames it when it is
// whole. The file that is read is never written over.
func writeStream(name, input string, write func(io.Writer) error) (err error) {
	if read, err1 := os.Stat(input); err1 == nil {
		if there, err2 := os.Stat(name); err2 == nil && os.SameFile(read, there) {
			return fmt.Errorf("%s is the score itself, which is never written over; give another name with -o", name)
		}
	}
	t, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if pe, ok := errors.AsType[*os.PathError](err); ok {
		return fmt.Errorf("%s: cannot be written there: %w", name, pe.Err)
	} else if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			t.Close() // what is wrong is told already
			os.Remove(t.Name())
		}
	}()
	w := bufio.NewWriterSize(t, 1<<16)
	if err := write(w); err != nil {
		return err
	}
	if err := w.Flush(); err != nil {
		return plainPathError(err)
	}
	if err := t.Chmod(0o644); err != nil {
		return plainPathError(err)
	}
	if err := t.Close(); err != nil {
		return plainPathError(err)
	}
	return os.Rename(t.Name(), name)
}

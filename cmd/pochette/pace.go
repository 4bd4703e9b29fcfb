package main

import (
	"strings"

	"github.com/spf13/cobra"

	"pochette/internal/study"
)

// paceFlags are those of the commands that plan time.
type paceFlags struct {
	partFlags
	steady  bool
	dotting string
	times   string
}

// addPaceFlags puts them on a command, with those of the part.
func addPaceFlags(cmd *cobra.Command, f *paceFlags) {
	addPartFlags(cmd, &f.partFlags)
	fl := cmd.Flags()
	fl.BoolVar(&f.steady, "steady", false, "every bar of one tempo equally long: time bends inside the bar alone, breaths come off the note before")
	fl.StringVar(&f.dotting, "dotting", "", "share of the long note of dotted figures, as in 0.72, or a ratio, as in 2:1 (default: as written, 0.75)")
	fl.StringVar(&f.times, "time-decisions", "", "file of decisions about time, one a line, # before a remark (docs/PACE.md); --decide overrules it")
	fl.Lookup("decide").Usage = `one decision to obey, about a note, as in "m22.2 finger=3", or about time, as in "bars 5-8 tempo=66" or "breath m12.3=0.15s"; may be given again`
}

// options takes the decisions about time out of those about notes, and reads their
// file, whose lines come first.
func (f *paceFlags) options() (study.PaceOptions, error) {
	o := study.PaceOptions{Steady: f.steady}
	if f.times != "" {
		data, shown, err := readInput(f.times)
		if err != nil {
			return o, err
		}
		if o.Decide, err = study.PaceLines(shown, data); err != nil {
			return o, err
		}
	}
	if f.dotting != "" {
		o.Decide = append(o.Decide, "dotting="+f.dotting)
	}
	var rest []string
	for _, text := range f.decide {
		if study.IsPace(text) {
			o.Decide = append(o.Decide, text)
		} else {
			rest = append(rest, text)
		}
	}
	f.decide = rest
	return o, nil
}

func paceCommand() *cobra.Command {
	var f paceFlags
	var bars string
	var asJSON, why bool
	cmd := &cobra.Command{
		Use:   "pace FILE",
		Short: "Plan the time: tempo by bar, give and take, breaths, broadening, dotting, accents",
		Long: `pace plans the time of a movement from its harmony and form, repeats played out:
the tempo of each bar, give and take inside the bar (its bar lines stay on time),
breaths at the ends of phrases, the broadening at the end, how dotted figures are
divided, and how loud each note is. Every curve has a published model; --why names
it. Under the table stands a check that what should stay steady does.

All of it is a proposal. --decide settles what the player wants otherwise:

  dotting=0.72                  all dotted figures, the share of the long note
  dotting eighth=2:1            those with a dotted eighth, as a ratio
  dotting m5.2=0.8              one figure
  inequality=1.6                even pairs by step long and short; auto, none
  tempo=72, bars 5-8 tempo=66   felt beats a minute
  bars 5-8 power=1.1            give and take; over 1 takes time late in the bar
  bars 5-8 give-take=0          as an amount: 0 none, 1 as proposed
  breath m12.3=0.15s            before the note there; "taken": off the note before
  hold m24.1=1s                 the note that begins there sounds longer
  broadening=0.7, m23.1 broadening=0.7   the last tempo over the first; 1 none
  bars 5-8 level=-3dB           softer
  arch, breath, hold, pairs, accent, tension, dynamics, articulation = an amount

FILE is MusicXML, plain or compressed; "-" is standard input. Bars are listed once
where they are played again in the same way. With --why each row tells every reason.

Exit status: 0 done, 1 nothing could be done, 2 the command line is wrong.`,
		Example: `  pochette pace movement.musicxml
  pochette pace movement.musicxml --bars 5-12 --why
  pochette pace movement.musicxml --steady --dotting 2:1
  pochette pace movement.musicxml --decide "bars 5-8 tempo=66" --decide "breath m12.3=0.15s"
  pochette pace movement.musicxml --json | jq '.notes[] | [.onset_s, .pitch]'`,
		Args: exactly(1, "one FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := f.plan(args[0])
			if err != nil {
				return err
			}
			b, err := p.Study().Bars(strings.TrimPrefix(bars, "m"))
			if err != nil {
				return err
			}
			return show(cmd, asJSON,
				func() study.Table { return p.Table(b, why) },
				func() ([]byte, error) { return p.JSON(b, version()) })
		},
	}
	addPaceFlags(cmd, &f)
	fl := cmd.Flags()
	fl.StringVar(&bars, "bars", "", barsUsage)
	fl.BoolVar(&why, "why", false, "tell every reason, and the curves with their sources")
	fl.BoolVar(&asJSON, "json", false, "write data instead of a table (docs/PACE.md)")
	return cmd
}

// plan studies a file and plans its time.
func (f *paceFlags) plan(file string) (*study.Paced, error) {
	o, err := f.options()
	if err != nil {
		return nil, err
	}
	s, err := f.analyzed(file)
	if err != nil {
		return nil, err
	}
	return s.PlanPace(o)
}

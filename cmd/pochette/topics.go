package main

import (
	"strings"

	"github.com/spf13/cobra"

	"pochette/internal/study"
)

// What the options of all commands that print a table are for.
const (
	partUsage = "the part: its name, its id, or its number from 1 (default: the first for a bowed string)"
	barsUsage = "printed measure numbers, as in 5-12 or 7; where they repeat, places in the file, as in @48-@60 (default: all)"
	jsonUsage = "write data instead of a table (docs/STUDY_JSON.md)"
)

// topicFlags are those of the commands that print one side of a study.
type topicFlags struct {
	partFlags
	bars      string
	json, why bool
}

// topic is one such command.
type topic struct {
	study.Topic
	short, long, examples string
}

var topics = []topic{
	{study.Strokes, "List the strokes of the bow, bar by bar",
		`strokes lists each stroke with its direction, how it follows the one before
(alternate, begin, after-rest, retake, link, split, join), and, where the print
read straight through gives the other direction, what that is. A direction with *
is printed or decided. Under the table stand the findings about the bow.`,
		`  pochette strokes movement.musicxml
  pochette strokes movement.musicxml --bars 1-8 --why
  pochette strokes movement.musicxml --strict
  pochette strokes movement.musicxml --profile early --may-change slurs`},
	{study.Fingers, "List string, finger and position of every note",
		`fingers lists each note or chord, from its lowest note up, with its string (I is
the highest), finger (0 is the open string) and position, and each shift with the
hand's way, the time there is, and what hides it. Under the table stand the
findings about the hand.

The terms that --why gives in brackets are parts of the cost. One word (shift_bow,
extension) is a rule; a table's name with a row and a column is a habit of the
players it was learned from: "move 1-2 same_down" the first finger followed by the
second on the same string while the hand shifts down, "place 3.4 slow" the third
string in fourth position among slow notes, "finger 4 short_off" and "pace 4
quick_off" the fourth finger on a short note, or among quick ones, off the beat.
docs/STUDY_JSON.md has them all.`,
		`  pochette fingers movement.musicxml
  pochette fingers movement.musicxml --bars 5-12 --why
  pochette fingers movement.musicxml --decide "m22.2 finger=3 string=II" --bars 20-24
  pochette fingers movement.musicxml --instrument viola --size 17in --hand small`},
	{study.Crossings, "List the string crossings and what they may touch",
		`crossings lists each change of string under the bow: from where to where, the
strings it goes over, those it may touch by accident, likeliest first, and its
load: the aimed tilt of the bow in bits over the time there is (after Fitts 1954).
Rank 1 is the hardest of the movement. Under the table stand the busy spots.`,
		`  pochette crossings movement.musicxml
  pochette crossings movement.musicxml --bars 5-12 --why
  pochette crossings movement.musicxml --json | jq '.crossings[] | select(.rank <= 5)'`},
	{study.Hard, "Tell how hard each bar is, where the hard spots are, and what to prepare",
		`hard weighs each bar from 0 to 100 by what the plan of bow and hand asks for: quick
notes, shifts and crossings over the time there is, stretches, fingers set together,
high places with nothing to slide along. The parts add up to the score. A load
that has to be practised by itself is 50, twice that is 75, and so on, so that there
is always harder; a bar counts half by its hardest moment, half by its mean. Hard
spots are the runs of notes that stand out from the movement. Under each stand ways
to prepare it: fingers that may stay down or be set early, guide notes of shifts,
shifts that could go earlier. Passages that stay high for two bars or more (fifth
position and above, the thumb on the string) are told after them.`,
		`  pochette hard movement.musicxml
  pochette hard movement.musicxml --bars 5-12 --why
  pochette hard movement.musicxml --hand small --json | jq '.difficulty.passages[0]'`},
}

func topicCommands() []*cobra.Command {
	var out []*cobra.Command
	for _, t := range topics {
		out = append(out, topicCommand(t))
	}
	return out
}

func topicCommand(t topic) *cobra.Command {
	var f topicFlags
	name := string(t.Topic)
	cmd := &cobra.Command{
		Use:   name + " FILE",
		Short: t.short,
		Long: t.long + `

FILE is MusicXML, plain or compressed; "-" is standard input. Places are named as
in docs/DECISIONS.md: bar and beat, counted in the printed unit. With --why each
row says why, and in brackets the terms of the cost, or the measures, that the
sentence rests on.

Exit status: 0 done, 1 nothing could be done, 2 the command line is wrong.`,
		Example: t.examples,
		Args:    exactly(1, "one FILE"),
		RunE:    func(cmd *cobra.Command, args []string) error { return runTopic(cmd, t.Topic, &f, args[0]) },
	}
	addPartFlags(cmd, &f.partFlags)
	fl := cmd.Flags()
	fl.StringVar(&f.bars, "bars", "", barsUsage)
	fl.BoolVar(&f.why, "why", false, "say why, with the terms of the cost")
	fl.BoolVar(&f.json, "json", false, jsonUsage)
	return cmd
}

func runTopic(cmd *cobra.Command, t study.Topic, f *topicFlags, file string) error {
	s, err := f.analyzed(file)
	if err != nil {
		return err
	}
	bars, err := s.Bars(strings.TrimPrefix(f.bars, "m"))
	if err != nil {
		return err
	}
	return show(cmd, f.json,
		func() study.Table { return s.Table(t, bars, f.why) },
		func() ([]byte, error) { return s.TopicJSON(t, bars, version()) })
}

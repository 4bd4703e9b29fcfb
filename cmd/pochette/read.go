package main

import (
	"strings"

	"github.com/spf13/cobra"

	"pochette/internal/study"
)

// readFlags are those of the commands that read the score alone: no bow, no hand.
type readFlags struct {
	part, bars, level string
	json, strict      bool
}

// readings are these commands.
var readings = []topic{
	{study.HarmonyTopic, "Tell keys, chords, cadences and non-chord notes, bar by bar",
		`harmony names the key of each stretch and each chord in it: root and quality, the
Roman numeral in the key of the place, inversion by the lowest note of the chord
that sounds in it; where the line does not show the bass, no inversion is named.
Under a chord stands what happens there: cadences and how strongly they are marked,
sequences, suspensions and other leaned-on notes that are not of the chord, the
second-best reading where it is close. With --level student the chords are named
without numerals or second readings; with --level scholar bass and tension stand
beside them. One part of several is read as if it were alone, and that is said.`,
		`  pochette harmony movement.musicxml
  pochette harmony movement.musicxml --bars 5-12 --level scholar
  pochette harmony movement.musicxml --json | jq '.keys'`},
	{study.VoicesTopic, "Tell which voice each note of the line belongs to",
		`voices takes a single line apart into the voices that it implies: one column each,
the highest first. Notes written in chords or in voices of their own stay as they
are written. Under the table stands what the voices do: where two or more go on
at once, where the bass goes by step, where a voice moves to another register.`,
		`  pochette voices movement.musicxml --bars 1-4
  pochette voices movement.musicxml --level student
  pochette voices movement.musicxml --json | jq '.voice_findings[].text'`},
	{study.FormTopic, "Tell sections, phrases, hemiolas and what the meter leaves open",
		`form names the sections (by repeat signs, double bars and strong cadences) and the
phrases with their lengths in bars, counted as players count: a pickup belongs to
the bar that follows. Then tags after a close, hemiolas, the beats on which the
music leans, pickups, what the title leads one to expect of a dance, and choices
that the print leaves to the player, such as dotted figures beside triplets, with
the sources that answer them differently.`,
		`  pochette form movement.musicxml
  pochette form movement.musicxml --level scholar
  pochette form movement.musicxml --json | jq '.form.phrases[].bars'`},
	{study.ParallelsTopic, "List passages that come again, and what differs between them",
		`parallels lists the passages that come again, as they are or moved to another
pitch, and under each every difference of slur, articulation, accidental, ornament,
rhythm or pitch between the two, with both places. A difference may be a slip of
the copyist or the engraver, or it may be meant; the program does not judge. More
than three differences of one kind between two passages are told as one, and
passages of under eight bars that are alike at fewer than 7 of 10 moments are only
counted, unless --strict asks for all. With --level student intervals are left
out; with --level scholar it is told how alike two passages are, and how unlikely
that is by the habits of the piece, in bits.`,
		`  pochette parallels movement.musicxml
  pochette parallels movement.musicxml --bars 13-24
  pochette parallels movement.musicxml --json | jq '.parallels[].differences'`},
	{study.OddTopic, "List what is odd: differences between parallels, and what occurs only once",
		`odd lists the places that differ from a parallel passage, most surprising first, and
then what occurs only once in the movement: a rhythm, an articulation, a length, an
accidental, an ornament. A slip and an intention are both possible; the program
does not judge. --strict lists all, otherwise the most surprising are listed. With
--level student it is said what to look at and no more; with --level scholar the
surprise stands beside, in bits: how rarely, among comparable places, one differs.`,
		`  pochette odd movement.musicxml
  pochette odd movement.musicxml --strict
  pochette odd movement.musicxml --json | jq '.once[].text'`},
}

func readCommands() []*cobra.Command {
	var out []*cobra.Command
	for _, t := range readings {
		out = append(out, readCommand(t))
	}
	return out
}

func readCommand(t topic) *cobra.Command {
	var f readFlags
	name := string(t.Topic)
	cmd := &cobra.Command{
		Use:   name + " FILE",
		Short: t.short,
		Long: t.long + `

FILE is MusicXML, plain or compressed; "-" is standard input. Everything is read
from the score alone. Places are named by bar and beat, counted in the printed
unit. --level decides how much theory is said: student, player or scholar.

Exit status: 0 done, 1 nothing could be done, 2 the command line is wrong.`,
		Example: t.examples,
		Args:    exactly(1, "one FILE"),
		RunE:    func(cmd *cobra.Command, args []string) error { return runReading(cmd, t.Topic, &f, args[0]) },
	}
	fl := cmd.Flags()
	fl.StringVar(&f.part, "part", "", partUsage)
	fl.StringVar(&f.bars, "bars", "", barsUsage)
	addLevelFlag(cmd, &f.level)
	fl.BoolVar(&f.json, "json", false, jsonUsage)
	switch t.Topic {
	case study.OddTopic:
		fl.BoolVar(&f.strict, "strict", false, "list all, not only the most surprising")
	case study.ParallelsTopic:
		fl.BoolVar(&f.strict, "strict", false, "list every passage, and every difference by itself")
	}
	return cmd
}

func addLevelFlag(cmd *cobra.Command, level *string) {
	cmd.Flags().StringVar(level, "level", "", strings.Join(study.Levels, ", ")+": how much theory is said (default: player)")
	if err := cmd.RegisterFlagCompletionFunc("level", cobra.FixedCompletions(study.Levels, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic("pochette: " + err.Error()) // the flag is defined just above: a slip of ours
	}
}

func runReading(cmd *cobra.Command, t study.Topic, f *readFlags, file string) error {
	r := study.ReadRequest{Part: f.part, Strict: f.strict}
	var err error
	if r.Level, err = study.ParseLevel(f.level); err != nil {
		return err
	}
	if r.Data, r.Name, err = readInput(file); err != nil {
		return err
	}
	rd, err := study.Read(r)
	if err != nil {
		return err
	}
	bars, err := rd.Bars(strings.TrimPrefix(f.bars, "m"))
	if err != nil {
		return err
	}
	return show(cmd, f.json,
		func() study.Table { return rd.Table(t, bars) },
		func() ([]byte, error) { return rd.TopicJSON(t, bars, version()) })
}

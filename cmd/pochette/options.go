package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"pochette/internal/decide"
	"pochette/internal/study"
)

// partFlags are the options of every command that studies a part.
type partFlags struct {
	study     study.Request
	mayChange []string
	decisions string
	decide    []string
}

// addPartFlags puts them on a command.
func addPartFlags(cmd *cobra.Command, f *partFlags) {
	fl := cmd.Flags()
	fl.StringVar(&f.study.Part, "part", "", partUsage)
	fl.StringVar(&f.study.Instrument, "instrument", "", "violin, viola or cello (default: guessed from the part)")
	fl.StringVar(&f.study.Setup.Tuning, "tuning", "", "open strings from low to high, four or five, as in F3,C4,G4,D5 (default: the usual)")
	fl.StringVar(&f.study.Setup.Size, "size", "", "4/4, 7/8, 3/4, 1/2 …; of a viola also its body, as in 16.5in or 42cm (default: the usual)")
	fl.Float64Var(&f.study.Setup.Length, "string-length", 0, "from nut to bridge in mm (default: by the size)")
	fl.StringVar(&f.study.Setup.Hand, "hand", "", "small, average, large, or its widest stretch in mm, which no proposal goes beyond (default: average)")
	names, _ := study.Profiles()
	fl.StringVar(&f.study.Style.Profile, "profile", "", strings.Join(names, ", ")+" (default: common practice)")
	fl.StringVar(&f.study.Style.Taste, "taste", "", "of the left hand: "+strings.Join(study.Tastes, ", ")+"; soloist is fitted on fingerings of soloists alone and leaves first position sooner, violin only (default: usual)")
	fl.StringVar(&f.study.Style.OpenStrings, "open-strings", "", strings.Join(study.OpenStringChoices, ", ")+" (default: as-needed)")
	fl.StringVar(&f.study.Style.Harmonics, "harmonics", "", "natural harmonics that are not printed: "+strings.Join(study.HarmonicChoices, ", ")+" (default: none)")
	fl.BoolVar(&f.study.Style.Strict, "strict", false, "the bow as written: change nothing beyond what marks force")
	fl.BoolVar(&f.study.Style.Fewest, "fewest-changes", false, "as few changes of the bow as can be, whatever they cost; what rights itself before long is left")
	fl.StringSliceVar(&f.mayChange, "may-change", nil, "what of the printed text the proposal may change: slurs (default: nothing)")
	fl.StringVar(&f.decisions, "decisions", "", "file of decisions, and of a style, to obey (docs/DECISIONS.md)")
	fl.StringArrayVar(&f.decide, "decide", nil, `one decision to obey, as in "m22.2 finger=3 string=II"; may be given again`)
	complete := func(name string, values ...string) {
		// the flag is defined just above: an error is a slip of ours
		if err := cmd.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(values, cobra.ShellCompDirectiveNoFileComp)); err != nil {
			panic("pochette: " + err.Error())
		}
	}
	complete("instrument", "violin", "viola", "cello")
	complete("hand", "small", "average", "large")
	complete("profile", names...)
	complete("taste", study.Tastes...)
	complete("open-strings", study.OpenStringChoices...)
	complete("harmonics", study.HarmonicChoices...)
	complete("may-change", "slurs")
}

// analyzed studies a file as the options say.
func (f *partFlags) analyzed(file string) (*study.Study, error) {
	r, err := f.request(file)
	if err != nil {
		return nil, err
	}
	return study.Analyze(r)
}

// request reads the music and what the options say; nothing is studied yet.
func (f *partFlags) request(file string) (study.Request, error) {
	r := f.study
	for _, w := range f.mayChange {
		if w != "slurs" {
			return r, usageError{fmt.Errorf("--may-change %q: only slurs may be changed", w)}
		}
		r.MayChangeSlurs = true
	}
	if r.MayChangeSlurs && r.Style.Strict {
		return r, usageError{errors.New("--strict and --may-change contradict each other")}
	}
	if r.Style.Fewest && r.Style.Strict {
		return r, usageError{errors.New("--strict and --fewest-changes contradict each other: strict changes nothing beyond what marks force")}
	}
	var err error
	if r.Decisions, err = f.readDecisions(&r); err != nil {
		return r, err
	}
	if r.Data == nil {
		r.Data, r.Name, err = readInput(file)
	}
	return r, err
}

// readDecisions reads the file, then the command line, which overrules it.
func (f *partFlags) readDecisions(r *study.Request) ([]decide.Decision, error) {
	var out []decide.Decision
	if f.decisions != "" {
		data, shown, err := readInput(f.decisions)
		if err != nil {
			return nil, err
		}
		file, err := decide.ParseFile(shown, data)
		if err != nil {
			return nil, err
		}
		r.DecisionsPart, r.DecisionsFile = file.Part, shown
		if r.Style, err = r.Style.With(file.Style); err != nil {
			return nil, err
		}
		out = file.Decisions
	}
	for _, text := range f.decide {
		d, err := decide.ParseLine(text)
		if err != nil {
			return nil, usageError{fmt.Errorf("%s: %w", decide.CommandLine, err)}
		}
		d.Source = decide.CommandLine
		out = append(out, d)
	}
	return out, nil
}

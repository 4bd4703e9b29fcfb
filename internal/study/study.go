// Package study is the one door for the command line (and later the desk): it
// reads a file, runs the studies on one part, merges what they say, and makes
// the outputs. It holds no musical rule of its own.
package study

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/decide"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/musicxml"
	"pochette/internal/score"
	"pochette/internal/technique"
	"pochette/internal/technique/joint"
	"pochette/internal/timeline"
)

// Request says what to study and how.
type Request struct {
	Name string // of the file, for messages
	Data []byte // MusicXML, plain or compressed
	// Part is a part's ID, name or number from 1; "" takes the first part for
	// a bowed string instrument, else the first with notes.
	Part string
	// Instrument is violin, viola or cello; "" guesses from the part.
	Instrument string
	// Setup says size, hand and tuning where they are not the usual.
	Setup instrument.Setup
	Style Style
	// Decisions are obeyed, those of a later source before those of an earlier.
	Decisions []decide.Decision
	// DecisionsPart is the part that DecisionsFile is for, "" for any.
	DecisionsPart, DecisionsFile string
	// MayChangeSlurs allows the proposal to split and join printed slurs.
	MayChangeSlurs bool
	// Level says how much theory the reading tells.
	Level Level
	// AllFingers marks the finger of every note in the part.
	AllFingers bool
}

// Study is everything found in one part.
type Study struct {
	Source     *musicxml.Source
	Score      *score.Score
	Part       *score.Part
	PartIndex  int
	Instrument instrument.Instrument
	Style      Style
	Guessed    string // why this instrument; "" where it was given
	Pace       timeline.Pace
	Joint      *joint.Plan
	Bow        *bowing.Study // of the joint plan, as Hand is
	Hand       *fingering.Study
	Stroke     []int   // of each event: index into Bow.Proposed, -1 for none
	Strings    [][]int // of each event
	Crossings  []technique.Crossing
	Spots      []technique.Spot
	Hardness   *technique.Hardness
	Hints      []technique.Hint
	// Changeovers are mutes set and taken off, plucking begun and ended.
	Changeovers []technique.Changeover
	Reading     *Reading
	// Decided is what was settled for single notes.
	Decided map[score.NoteID]decide.Settled
	// Marks are those added to the part.
	Marks []score.NoteMark
	// Findings of all studies, in order of place; those of the whole file first.
	Findings []score.Finding

	technique technique.Input
	compared  func() *Compared
	// fewest are the changes of the bow where as few as can be are made; nil where that is
	// asked for anyway.
	fewest func() []bowing.ChangeAt
}

// OptionError is an option whose value cannot be taken: the command line is wrong, not
// the music.
type OptionError struct{ Err error }

func (e OptionError) Error() string { return e.Err.Error() }
func (e OptionError) Unwrap() error { return e.Err }

// errNoNotes and its like are the reasons why nothing can be done.
var errNoNotes = errors.New("has no notes that a bow can play; choose another part with --part")

// Analyze reads the file and studies one part. The error is one line that names
// the file; trouble in the music is told in Findings.
func Analyze(r Request) (*Study, error) {
	s, err := opened(r)
	if err != nil {
		return nil, err
	}
	if err := s.resolve(r); err != nil {
		return nil, err
	}
	if err := s.run(r); err != nil {
		return nil, err
	}
	return s, nil
}

// opened reads the file and settles part, instrument and pace. Findings has those of the
// file that concern the part; Reading is yet to be read.
func opened(r Request) (*Study, error) {
	if err := r.Style.check(); err != nil {
		return nil, OptionError{err}
	}
	src, earlier, err := openBare(r)
	if err != nil {
		return nil, err
	}
	sc, found, err := musicxml.Decode(src)
	if err != nil {
		return nil, err
	}
	found = append(found, earlier...)
	s := &Study{Source: src, Score: sc, Style: r.Style}
	if err := s.choosePart(r, found); err != nil {
		return nil, fmt.Errorf("%s: %w", r.Name, err)
	}
	if err := s.chooseInstrument(r); err != nil {
		return nil, OptionError{fmt.Errorf("%s: %w", r.Name, err)}
	}
	if err := r.Style.suits(s.Instrument.Kind); err != nil {
		return nil, OptionError{fmt.Errorf("%s: %w", r.Name, err)}
	}
	s.Findings = slices.DeleteFunc(found, func(f score.Finding) bool { return f.Part != "" && f.Part != s.Part.ID })
	s.Pace = timeline.PaceOf(sc, s.Part)
	s.Reading = &Reading{Source: src, Score: sc, Part: s.Part, PartIndex: s.PartIndex, Level: r.Level}
	return s, nil
}

// run makes the plans of bow and hand, then what rests on both.
func (s *Study) run(r Request) error {
	read := make(chan struct{})
	go func() { // beside the plans: it needs the score alone
		defer close(read)
		s.Reading.read(false)
	}()
	played := plucked(s.Part)
	if err := s.plan(r, played); err != nil {
		return err
	}
	<-read
	if err := s.anyPlayable(); err != nil {
		return fmt.Errorf("%s: %w", r.Name, err)
	}
	s.follow(r, played)
	return nil
}

// follow finds what rests on the plans of bow and hand. Findings holds those of the file.
func (s *Study) follow(r Request, played *score.Part) {
	strokes, lifted := strokeOfEvents(s.Bow)
	s.Stroke = strokes
	s.Strings = bowedStrings(played, s.Hand, strokes)
	in := technique.Input{Instrument: s.Instrument, Part: s.Part, Events: s.Hand.Events, Strings: s.Strings, Stroke: strokes, Lifted: lifted, Pace: s.Pace,
		Grips: s.Hand.Grips, Shifts: s.Hand.Shifts, Fixed: s.fixed()}
	s.technique = in
	s.Crossings = technique.Crossings(in)
	s.Spots = technique.Spots(in, s.Crossings)
	s.Hardness = technique.Hard(in, s.Crossings)
	s.Hints = technique.Prepare(in, s.Hardness)
	s.Changeovers = technique.Changeovers(in)
	s.Marks = marks(s, r.AllFingers)
	s.Findings = append(s.Findings, s.Bow.Findings...)
	s.Findings = append(s.Findings, s.Hand.Findings...)
	s.Findings = append(s.Findings, technique.Findings(in, s.Crossings, s.Spots)...)
	s.Findings = append(s.Findings, technique.HighFindings(in)...)
	s.Findings = append(s.Findings, technique.ChangeFindings(in, s.Changeovers)...)
	s.Findings = append(s.Findings, s.pluckedFindings(played)...)
	s.Findings = append(s.Findings, s.reachFindings()...)
	s.Findings = append(s.Findings, s.againstPrint()...)
	s.Findings = append(s.Findings, s.unbowed()...)
	s.Findings = append(s.Findings, s.paceFinding()...)
	s.Findings = append(s.Findings, s.guessFinding(r)...)
	passedOver(s.Findings)
	slices.SortStableFunc(s.Findings, func(a, b score.Finding) int {
		if a.At.Measure != b.At.Measure {
			return a.At.Measure - b.At.Measure
		}
		return int(b.Grade) - int(a.Grade)
	})
}

// anyPlayable refuses a part of which nothing can be played on the instrument.
func (s *Study) anyPlayable() error {
	for i := range s.Hand.Grips {
		if len(s.Hand.Grips[i].Stops) > 0 {
			return nil
		}
	}
	why := "no note has a place on the strings"
	for _, f := range s.Hand.Findings {
		if f.Kind == "unplayable" {
			why = "at " + f.At.String() + ", " + strings.TrimSuffix(f.Text, ".")
			break
		}
	}
	return fmt.Errorf("part %d (%s) has nothing that a %s can play: %s; choose another --instrument, --tuning or --part", s.PartIndex+1, partName(s.Part), s.Instrument.Kind, why)
}

// strokeOfEvents gives for each event its stroke (-1: none) and whether the bow
// is lifted before it.
func strokeOfEvents(b *bowing.Study) (strokes []int, lifted []bool) {
	strokes, lifted = make([]int, len(b.Events)), make([]bool, len(b.Events))
	for i := range strokes {
		strokes[i] = -1
	}
	for i, st := range b.Proposed {
		if st.Pizzicato {
			continue
		}
		for e := st.First; e <= st.Last; e++ {
			strokes[e] = i
		}
		lifted[st.First] = st.Change == bowing.Retake || st.Change == bowing.AfterRest
	}
	return strokes, lifted
}

// bowedStrings lists the strings under the bow at each event: those struck and
// those held on. What is plucked has none.
func bowedStrings(p *score.Part, h *fingering.Study, strokes []int) [][]int {
	out := make([][]int, len(h.Events))
	for i := range h.Grips {
		if strokes[i] < 0 {
			continue
		}
		for _, st := range h.Grips[i].Stops {
			if !slices.Contains(out[i], st.String) && !slices.Contains(h.Grips[i].LetGo, st.Note) && !p.Notes[st.Note].Has(score.LeftHandPlucked) {
				out[i] = append(out[i], st.String)
			}
		}
		slices.Sort(out[i])
	}
	return out
}

// openBare opens a file without the marks that an earlier study put into it: they are
// proposals, to be made anew, not print.
func openBare(r Request) (*musicxml.Source, []score.Finding, error) {
	src, err := musicxml.Open(r.Data, r.Name)
	if err != nil {
		return nil, nil, err
	}
	n := musicxml.Added(src)
	if n == 0 {
		return src, nil, nil
	}
	f := score.Finding{Kind: "marked-before", Grade: score.Remark, At: score.Nowhere, To: score.Nowhere}
	bare, err := musicxml.Strip(src.XML, r.Name)
	if err != nil {
		f.Text = "The marks that an earlier study put into the file were edited since, and are taken as printed."
		return src, []score.Finding{f}, nil
	}
	if src, err = musicxml.Open(bare, r.Name); err != nil {
		return nil, nil, err
	}
	f.Text = "What an earlier study put into the file (" + count(n, "place", "places") + ") is proposed anew, not taken as printed."
	f.Suggestion = "To keep such a mark as it is, decide it (docs/DECISIONS.md), or take away the comments around it in the file."
	return src, []score.Finding{f}, nil
}

func (s *Study) choosePart(r Request, found []score.Finding) (err error) {
	if s.PartIndex, err = ChoosePart(s.Score, r.Part); err != nil {
		return err
	}
	s.Part = s.Score.Parts[s.PartIndex]
	if !slices.ContainsFunc(s.Part.Notes, func(n score.Note) bool { return n.Struck() && !n.Unpitched && !n.Cue }) {
		return fmt.Errorf("part %d (%s) %w%s", s.PartIndex+1, partName(s.Part), errNoNotes, s.firstTrouble(found))
	}
	return s.refusePercussion()
}

// firstTrouble says what was wrong in the part, where something was, since that may be why
// it has no notes.
func (s *Study) firstTrouble(found []score.Finding) string {
	for _, f := range found {
		if f.Part == s.Part.ID && f.Grade != score.Remark {
			return ": at " + f.At.String() + ", " + strings.TrimSuffix(f.Text, ".")
		}
	}
	return ""
}

// OpenPart reads a file as it stands and finds one of its parts, as ChoosePart does. The
// error is one line that names the file.
func OpenPart(name string, data []byte, want string) (*musicxml.Source, *score.Score, int, error) {
	src, err := musicxml.Open(data, name)
	if err != nil {
		return nil, nil, 0, err
	}
	sc, _, err := musicxml.Decode(src)
	if err != nil {
		return nil, nil, 0, err
	}
	i, err := ChoosePart(sc, want)
	if err != nil {
		return nil, nil, 0, fmt.Errorf("%s: %w", name, err)
	}
	return src, sc, i, nil
}

// ChoosePart finds a part by its ID, name or number from 1; "" is the first for
// a bowed string instrument, else the first with notes.
func ChoosePart(sc *score.Score, want string) (int, error) {
	if len(sc.Parts) == 0 {
		return 0, errors.New("has no parts: nothing to do")
	}
	if want == "" {
		return defaultPart(sc), nil
	}
	i := findPart(sc, want)
	if i < 0 {
		return 0, OptionError{fmt.Errorf("no part %q; there is %s", want, partList(sc))}
	}
	return i, nil
}

func defaultPart(sc *score.Score) int {
	withNotes := -1
	for i, p := range sc.Parts {
		if !slices.ContainsFunc(p.Notes, func(n score.Note) bool { return n.Struck() && !n.Unpitched }) {
			continue
		}
		if withNotes < 0 {
			withNotes = i
		}
		if _, _, ok := instrument.Guess(p); ok {
			return i
		}
	}
	return max(0, withNotes)
}

func findPart(sc *score.Score, want string) int {
	for i, p := range sc.Parts {
		if p.ID == want {
			return i
		}
	}
	for i, p := range sc.Parts {
		if strings.EqualFold(strings.TrimSpace(p.Name), strings.TrimSpace(want)) {
			return i
		}
	}
	if n, err := strconv.Atoi(want); err == nil && n >= 1 && n <= len(sc.Parts) {
		return n - 1
	}
	return -1
}

func partName(p *score.Part) string {
	if p.Name != "" {
		return p.Name
	}
	return p.ID
}

func partList(sc *score.Score) string {
	var names []string
	for i, p := range sc.Parts {
		if i == 12 {
			names = append(names, fmt.Sprintf("and %d more", len(sc.Parts)-i))
			break
		}
		names = append(names, fmt.Sprintf("%d %s", i+1, partName(p)))
	}
	return strings.Join(names, ", ")
}

func (s *Study) chooseInstrument(r Request) error {
	kind := instrument.ViolinKind
	if r.Instrument != "" {
		k, err := instrument.ParseKind(r.Instrument)
		if err != nil {
			return err
		}
		kind = k
	} else {
		in, why, ok := instrument.Guess(s.Part)
		kind, s.Guessed = in.Kind, why
		if !ok {
			s.Guessed += "; say it with --instrument where that is wrong"
		}
	}
	var err error
	s.Instrument, err = instrument.Set(kind, r.Setup)
	return err
}

func (s *Study) paceFinding() []score.Finding {
	if s.Pace.Source == timeline.PacePrinted {
		return nil
	}
	f := score.Finding{Kind: "pace", Grade: score.Remark, Part: s.Part.ID, At: score.Nowhere, To: score.Nowhere}
	q := s.Pace.Quarter(0)
	f.Text = fmt.Sprintf("The file gives no metronome mark; times in seconds are reckoned at %.0f quarter notes a minute.", q)
	if s.Pace.Source == timeline.PaceWord {
		f.Why = "That is a usual pace for the tempo word that is printed, no more."
	} else {
		f.Why = "There is no tempo word that the program knows either, so a middle pace is taken."
	}
	if h := s.Pace.Held; h.Note > 0 {
		f.Why = fmt.Sprintf("%s That would be %.0f; it is kept down so that of the shortest common notes, %s long, no more than %d go into a second.",
			f.Why, h.Usual, s.quarters(h.Note), timeline.QuickestRun)
	}
	return []score.Finding{f}
}

// quarters says a length as a share of a quarter note.
func (s *Study) quarters(d score.Tick) string {
	if r := big.NewRat(int64(d), int64(max(1, s.Score.Quarter))); r.Cmp(big.NewRat(1, 1)) != 0 {
		return r.RatString() + " of a quarter note"
	}
	return "a quarter note"
}

package fingering

import (
	"fmt"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/instrument"
	"pochette/internal/musicxml/xmltest"
	"pochette/internal/score"
	"pochette/internal/testdata"
)

// onPage are the marks of a note as a reader sees them: what the score prints and what
// we add. ok is false where the page says something else than the plan does, which is a
// finding of its own.
func onPage(st *Study, s *Stop, added []score.Mark) (c cue, ok bool) {
	n := &st.part.Notes[s.Note]
	c, ok = cue{id: s.Note, pitch: n.Sounding, finger: -1}, true
	for _, m := range append(append([]score.Mark{}, n.Marks...), added...) {
		switch m.Kind {
		case score.Fingering:
			f, read := parseFinger(m.Text)
			if ok = ok && read && (c.finger < 0 || c.finger == f); c.finger < 0 {
				c.finger = f
			}
		case score.ThumbPosition:
			c.finger = instrument.Thumb
		case score.OpenString:
			c.finger = 0
		case score.String:
			c.str, _ = strconv.Atoi(m.Text)
		}
	}
	return c, ok && (c.finger < 0 || c.finger == int(s.Finger)) && (c.str == 0 || c.str == s.String)
}

// readPage plays a study from the printed marks alone: the reader knows nothing of the
// plan. It gives the notes where he plays something else, and how many were compared.
// Where print and plan contradict each other he is set right.
func readPage(st *Study, printed []score.NoteMark) (wrong []string, compared int) {
	added := map[score.NoteID][]score.Mark{}
	for _, m := range printed {
		added[m.Note] = append(added[m.Note], m.Mark)
	}
	r := newReader(&st.Instrument)
	var rest score.Tick
	for i := range st.Grips {
		e, g := &st.Events[i], &st.Grips[i]
		if i > 0 && e.Measure != st.Events[i-1].Measure {
			r.newBar()
		}
		if e.Rest {
			rest += e.Dur
			continue
		}
		if len(g.Stops) == 0 {
			continue
		}
		if rest >= 4*st.score.Quarter {
			r.rest()
		}
		rest = 0
		var cues []cue
		var want []taken
		agree := true
		for k := range g.Stops {
			s := &g.Stops[k]
			if s.Held {
				continue
			}
			c, ok := onPage(st, s, added[s.Note])
			if s.Touch != Pressed { // all of it must be told
				compared++
				if ok && c.finger < 0 {
					wrong = append(wrong, fmt.Sprintf("event %d: no finger on a harmonic", i))
				}
				continue
			}
			agree = agree && ok
			cues, want = append(cues, c), append(want, taken{s.String, int(s.Finger)})
		}
		if len(cues) == 0 {
			continue
		}
		got := r.read(cues, e.Held)
		if !agree {
			got = want
		}
		for k := range got {
			compared++
			if got[k] != want[k] {
				wrong = append(wrong, fmt.Sprintf("event %d (measure %d): %v read as string %d finger %d, planned %d and %d", i, e.Measure, cues[k].pitch, got[k].str, got[k].finger, want[k].str, want[k].finger))
			}
		}
		r.take(cues, got, e.Held)
	}
	return wrong, compared
}

// share of the notes that carry a finger, and a numeral, of ours.
func share(st *Study, printed []score.NoteMark) (fingers, strings float64) {
	notes := 0.0
	for _, g := range st.Grips {
		for _, s := range g.Stops {
			if !s.Held {
				notes++
			}
		}
	}
	for _, m := range printed {
		switch m.Mark.Kind {
		case score.Fingering, score.ThumbPosition:
			fingers++
		case score.String:
			strings++
		}
	}
	return 100 * fingers / max(notes, 1), 100 * strings / max(notes, 1)
}

// A reader who follows the printed marks and the habits of sightReader plays the plan on
// every note: of the shared solos, études and quartets (shared/data/README.md), as
// printed, with all printed fingers hidden, and on every string instrument among them.
func TestThePageIsPlayedAsPlanned(t *testing.T) {
	notes := 0
	for _, g := range []string{"musicxml/solo/*", "bowing/*/*", "musicxml/quartets/*"} {
		files := testdata.Scores(t, g)
		if testing.Short() {
			files = files[:1]
		}
		for _, file := range files {
			_, src, sc := xmltest.Read(t, file)
			for _, p := range sc.Parts {
				in, _, ok := instrument.Guess(p)
				if !ok || len(p.Notes) == 0 {
					continue
				}
				st := Analyze(sc, p, Options{Instrument: in})
				marks := Needed(st)
				wrong, n := readPage(st, marks)
				notes += n
				for k, w := range wrong {
					if k < 3 {
						t.Errorf("%s, %s: %s", src.Name, p.ID, w)
					}
				}
				f, s := share(st, marks)
				t.Logf("%s, %s: %d notes, %.0f %% with a finger, %.0f %% with a numeral, %d read otherwise", src.Name, p.ID, n, f, s, len(wrong))
			}
		}
	}
	if !testing.Short() && notes < 10000 {
		t.Errorf("only %d notes read", notes)
	}
}

// The same over random parts of every instrument, chords, rests and repeats in them.
func TestRandomPagesArePlayedAsPlanned(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := instrument.Kind(rapid.IntRange(0, 2).Draw(t, "kind"))
		sc, p := drawPart(t, k, rapid.IntRange(0, 20).Draw(t, "events"))
		st := Analyze(sc, p, Options{Instrument: instrument.Of(k)})
		if wrong, _ := readPage(st, Needed(st)); len(wrong) > 0 {
			t.Fatalf("%s\n%v", wrong[0], fingers(st))
		}
	})
}

// A line in third position on three strings of the viola: its first note has a finger, and
// each note whose first position lies on another string names its string once; in the next
// bar one finger reminds of the place. Without the marks it is read in first position.
func TestThirdPositionIsNamed(t *testing.T) {
	sc, p := notes(480, "D5 G4 Eb4 C5 G4 Eb4 C5 D5 G4 C5 Eb4 G4")
	decided := map[score.NoteID]Decision{}
	for i := range p.Notes {
		switch p.Notes[i].Sounding.String() {
		case "D5":
			decided[score.NoteID(i)] = Decision{Finger: Use(1), String: 1}
		case "G4":
			decided[score.NoteID(i)] = Decision{Finger: Use(1), String: 2}
		case "C5":
			decided[score.NoteID(i)] = Decision{Finger: Use(4), String: 2}
		default:
			decided[score.NoteID(i)] = Decision{Finger: Use(3), String: 3}
		}
	}
	st := Analyze(sc, p, Options{Instrument: instrument.Viola(), Decided: decided})
	marks := Needed(st)
	var got []string
	for _, m := range marks {
		got = append(got, fmt.Sprintf("%d:%v=%s", m.Note, m.Mark.Kind, m.Mark.Text))
	}
	bar := -1
	fingersIn := map[int]int{}
	strs := map[score.NoteID]string{}
	for _, m := range marks {
		if m.Mark.Kind == score.String {
			strs[m.Note] = m.Mark.Text
		} else {
			fingersIn[p.Notes[m.Note].Measure]++
		}
	}
	for i := range p.Notes {
		if m := p.Notes[i].Measure; m != bar {
			if bar = m; fingersIn[m] == 0 {
				t.Errorf("nothing reminds of third position in measure %d: %v", m, got)
			}
		}
	}
	if len(strs) != 2 || strs[2] != "3" || strs[3] != "2" {
		t.Errorf("numerals %v, wanted III on the first E flat and II on the first C: %v", strs, got)
	}
	if wrong, _ := readPage(st, marks); len(wrong) > 0 {
		t.Errorf("%v", wrong)
	}
	if wrong, n := readPage(st, nil); len(wrong) < n/2 {
		t.Errorf("without marks only %d of %d notes are read otherwise", len(wrong), n)
	}
}

package study

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"pochette/internal/demo"
	"pochette/internal/instrument"
	"pochette/internal/musicxml"
	"pochette/internal/musicxml/xmltest"
	"pochette/internal/pitch"
	"pochette/internal/timeline"
)

// Names of intervals against the theory of the rudiments: a perfect fifth is four
// steps and seven semitones, a major third two and four (common textbooks).
func TestMoved(t *testing.T) {
	for _, c := range []struct {
		d, ch int
		tonal bool
		want  string
	}{
		{0, 0, false, ""}, {4, 7, false, "a perfect fifth up"}, {-3, -5, false, "a perfect fourth down"}, {2, 4, false, "a major third up"},
		{2, 3, false, "a minor third up"}, {3, 6, false, "an augmented fourth up"}, {4, 6, false, "a diminished fifth up"}, {2, 4, true, "a third up"},
		{7, 12, false, "an octave up"}, {-14, -24, false, "a fifteenth down"}, {9, 16, false, "a major tenth up"}, {0, 1, false, "an augmented unison up"},
		{6, 10, false, "a minor seventh up"}, {-1, -1, false, "a minor second down"},
	} {
		if got := moved(pitch.Interval{Diatonic: c.d, Chromatic: c.ch}, c.tonal); got != c.want {
			t.Errorf("%d steps, %d semitones (to the key: %v): %q, want %q", c.d, c.ch, c.tonal, got, c.want)
		}
	}
}

// The tick of a place is what timeline named the place after.
func TestBeatComesBack(t *testing.T) {
	rd := readDemo(t, Player)
	for i := range rd.Part.Notes {
		n := &rd.Part.Notes[i]
		m := &rd.Part.Measures[n.Measure]
		if got := m.Start + rd.beat(timeline.AtNote(rd.Part, n.ID)); got != n.Onset {
			t.Errorf("note %d at %d comes back as %d", i, n.Onset, got)
		}
	}
}

func readDemo(t *testing.T, l Level) *Reading {
	t.Helper()
	rd, err := Read(ReadRequest{Name: "jig.musicxml", Data: demo.Jig, Level: l})
	if err != nil {
		t.Fatal(err)
	}
	return rd
}

var readingTopics = []Topic{HarmonyTopic, VoicesTopic, FormTopic, ParallelsTopic, OddTopic}

// Every real string part can be read; every sentence is one, every place lies in
// the part, every table has as many cells as columns, and the data are JSON.
func TestReadingsOfRealScores(t *testing.T) {
	files := realFiles(t)
	for k, file := range files {
		if testing.Short() && k%8 != 0 {
			continue
		}
		_, src, sc := xmltest.Read(t, file)
		for i, p := range sc.Parts {
			if _, _, ok := instrument.Guess(p); !ok || !slices.ContainsFunc(p.Notes, struckNote) {
				continue
			}
			rd := &Reading{Source: src, Score: sc, Part: p, PartIndex: i, Level: Level((k + i) % 3)}
			rd.read(i%2 == 0)
			checkReading(t, src.Name, rd)
		}
	}
}

func checkReading(t *testing.T, name string, rd *Reading) {
	t.Helper()
	for _, list := range [][]Said{rd.Harmony, rd.Form, rd.Voices, rd.Odd, rd.Once} {
		for i := range list {
			s := &list[i]
			if !strings.HasSuffix(s.Text, ".") || strings.Contains(s.Text, "%!") || s.Why != "" && !strings.HasSuffix(strings.TrimSpace(s.Why), ".") {
				t.Errorf("%s, part %d, %s: no sentence: %q %q", name, rd.PartIndex+1, s.Kind, s.Text, s.Why)
			}
			if s.From.Measure < 0 || s.From.Measure >= len(rd.Part.Measures) {
				t.Errorf("%s, part %d: %q stands in measure %d of %d", name, rd.PartIndex+1, s.Text, s.From.Measure, len(rd.Part.Measures))
			}
		}
	}
	for i := 1; i < len(rd.Chords); i++ {
		if c, before := &rd.Chords[i], &rd.Chords[i-1]; c.Start < before.Start+before.Len {
			t.Errorf("%s, part %d: chord %d begins at %d, before the last has ended", name, rd.PartIndex+1, i, c.Start)
		}
	}
	for _, topic := range readingTopics {
		table := rd.Table(topic, rd.all())
		for _, r := range table.Rows {
			if len(r.Cells) != len(table.Head) {
				t.Fatalf("%s, part %d: %s has a row of %d cells under %d heads", name, rd.PartIndex+1, topic, len(r.Cells), len(table.Head))
			}
		}
		text, err := rd.TopicJSON(topic, rd.all(), "test")
		if err != nil || !json.Valid(text) {
			t.Errorf("%s, part %d: %s: %v", name, rd.PartIndex+1, topic, err)
		}
	}
	for _, line := range rd.Summary() {
		if !strings.HasSuffix(line, ".") {
			t.Errorf("%s, part %d: no sentence: %q", name, rd.PartIndex+1, line)
		}
	}
}

// Tables of single bars together have what the table of all has: nothing is lost
// where a table is cut.
func TestBarsOfReadings(t *testing.T) {
	rd := readDemo(t, Scholar)
	for _, topic := range []Topic{VoicesTopic, HarmonyTopic} {
		whole, cut := map[string]bool{}, map[string]bool{}
		for _, r := range rd.Table(topic, rd.all()).Rows {
			whole[strings.Join(r.Cells[:2], " ")] = true
		}
		for m := range rd.Part.Measures {
			for _, r := range rd.Table(topic, Bars{m, m}).Rows {
				cut[strings.Join(r.Cells[:2], " ")] = true
			}
		}
		if len(whole) != len(cut) {
			t.Errorf("%s: %d rows in all, %d bar by bar", topic, len(whole), len(cut))
		}
	}
}

// The levels differ in words, not in what is found.
func TestLevelsTellTheSame(t *testing.T) {
	student, player, scholar := readDemo(t, Student), readDemo(t, Player), readDemo(t, Scholar)
	if len(student.Form) != len(player.Form) || len(player.Form) != len(scholar.Form) || len(student.Chords) != len(scholar.Chords) {
		t.Errorf("form: %d, %d and %d sentences; chords: %d and %d", len(student.Form), len(player.Form), len(scholar.Form), len(student.Chords), len(scholar.Chords))
	}
	same := 0
	for i := range player.Form {
		if student.Form[i].Text == scholar.Form[i].Text {
			same++
		}
	}
	if same == len(player.Form) {
		t.Error("student and scholar are told the same words")
	}
}

// Differences of one kind that come often are told as one, unless all are asked for.
func TestGathered(t *testing.T) {
	p := &Parallel{}
	for range 5 {
		p.Differences = append(p.Differences, Said{Kind: "pitch", Text: "Pitch: A4 here, A3 at measure 2, beat 1."})
	}
	p.Differences = append(p.Differences, Said{Kind: "slur", Text: "Slur: none here, a slur at measure 2, beat 1."})
	rd := &Reading{}
	if got := rd.gathered(p); len(got) != 2 || !strings.Contains(got[0].Text, "in 5 places") || got[1].Kind != "slur" {
		t.Errorf("gathered: %+v", got)
	}
	rd.strict = true
	if got := rd.gathered(p); len(got) != 6 {
		t.Errorf("strict: %d of 6 told", len(got))
	}
}

func BenchmarkReading(b *testing.B) {
	src, err := musicxml.Open(demo.Jig, "jig.musicxml")
	if err != nil {
		b.Fatal(err)
	}
	sc, _, err := musicxml.Decode(src)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		rd := &Reading{Source: src, Score: sc, Part: sc.Parts[0]}
		rd.read(false)
	}
}

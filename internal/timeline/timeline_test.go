package timeline

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// bars builds a part of empty measures from a shorthand: one word a measure,
// "|:" forward, ":|" or ":|3" backward, "[1" or "[1,2" an ending that starts,
// "1" one that goes on, "dc", "ds", "fine", "coda", "segno", "tocoda".
func bars(text string) *score.Part {
	p := &score.Part{}
	for i, w := range strings.Fields(text) {
		m := score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: score.Tick(i * 4), Len: 4, Meter: meter(4, 4, 1)}
		for _, s := range strings.Split(w, "/") {
			switch {
			case s == "|:":
				m.RepeatStart = true
			case strings.HasPrefix(s, ":|"):
				m.RepeatTimes = 2
				fmt.Sscanf(s, ":|%d", &m.RepeatTimes)
			case strings.HasPrefix(s, "["):
				m.EndingStart = true
				for _, n := range strings.Split(s[1:], ",") {
					var k int
					fmt.Sscan(n, &k)
					m.Endings = append(m.Endings, k)
				}
			case s >= "1" && s <= "9":
				m.Endings = []int{int(s[0] - '0')}
			case s == "dc":
				m.Jump.DaCapo = true
			case s == "ds":
				m.Jump.DalSegno = "s"
			case s == "segno":
				m.Jump.Segno = "s"
			case s == "fine":
				m.Jump.Fine = true
			case s == "tocoda":
				m.Jump.ToCoda = "c"
			case s == "coda":
				m.Jump.Coda = "c"
			}
		}
		p.Measures = append(p.Measures, m)
	}
	return p
}

func meter(num, den int, quarter score.Tick) score.Meter {
	l := 4 * quarter * score.Tick(num) / score.Tick(den)
	return score.Meter{Beats: fmt.Sprint(num), Unit: fmt.Sprint(den), Num: num, Den: den, Len: l, Groups: []score.Tick{l}}
}

// How repeats, endings and jumps are read: common practice, no source; the
// shapes are those of the test files 45a–45g of the unofficial MusicXML suite.
func TestPlayOrder(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"x x x", "1 2 3"},
		{"x :| x", "1 2 1 2 3"},
		{"x |: :|3", "1 2 3 2 3 2 3"},
		{"|: x :| |: x :|", "1 2 3 1 2 3 4 5 6 4 5 6"},
		{"|:/:| |:/:|", "1 1 2 2"},
		{"x x/:| x x/:| x", "1 2 1 2 3 4 3 4 5"},
		{"|: x [1/:| [2 x", "1 2 3 1 2 4 5"},
		{"|: [1 1/:| [2 2 x", "1 2 3 1 4 5 6"},
		{"|: [1,2/:|3 [3 x", "1 2 1 2 1 3 4"},
		{"|: [1/:| [2/:| [3 x", "1 2 1 3 1 4 5"},
		{"|: [1/:| x", "1 2 1 3"},
		{"|: [1/:| [2 |: [1/:| [2", "1 2 1 3 4 5 4 6"},
		{"|: x :| [2 x", "1 2 3 1 2 3 4 5"},
		{"x fine x dc", "1 2 3 4 1 2"},
		{"x segno x/fine x ds", "1 2 3 4 5 2 3"},
		{"x tocoda x dc coda x", "1 2 3 4 1 2 5 6"},
		{"|: :| fine dc", "1 2 1 2 3 4 1 2 3"},
		{"|: [1/:| [2 fine dc", "1 2 1 3 4 5 1 3 4"},
		{"x dc x", "1 2 1 2 3"},
		{"x ds", "1 2"}, // a sign that leads nowhere is passed over
	} {
		order, complete := PlayOrder(bars(c.in))
		var got []string
		for _, v := range order {
			got = append(got, fmt.Sprint(v.Measure+1))
		}
		if s := strings.Join(got, " "); s != c.want || !complete {
			t.Errorf("%q plays %s (complete %v), want %s", c.in, s, complete, c.want)
		}
	}
}

// A da capo in the third movement of a file returns to the head of the third.
func TestPlayOrderOfMovements(t *testing.T) {
	p := bars("x x x fine dc x x")
	for i, n := range []string{"1", "2", "0", "1", "2", "1", "2"} {
		p.Measures[i].Number = n
	}
	p.Measures[1].RightBar, p.Measures[4].RightBar = "light-heavy", "light-heavy"
	order, _ := PlayOrder(p)
	var got []string
	for _, v := range order {
		got = append(got, fmt.Sprint(v.Measure))
	}
	if s := strings.Join(got, " "); s != "0 1 2 3 4 2 3 5 6" {
		t.Errorf("plays %s", s)
	}
	if m := Movements(p); !slices.Equal(m, []int{0, 2, 5}) {
		t.Errorf("movements begin at %v", m)
	}
}

func TestPlayOrderEnds(t *testing.T) {
	words := []string{"x", "|:", ":|", ":|3", "[1", "[2", "[1,2", "1", "2", "dc", "ds", "segno", "fine", "coda", "tocoda", "|:/:|", "[1/:|", "[2/:|"}
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(rapid.SampledFrom(words), 1, 12).Draw(t, "bars"), " ")
		p := bars(text)
		order, complete := PlayOrder(p)
		if !complete {
			t.Fatalf("%q does not end", text)
		}
		for _, v := range order {
			if v.Measure < 0 || v.Measure >= len(p.Measures) || v.Round < 1 {
				t.Fatalf("%q: visit %v", text, v)
			}
		}
	})
	p := bars("|:/:|3")
	p.Measures[0].RepeatTimes = 1 << 30
	if order, complete := PlayOrder(p); complete || len(order) != maxVisits {
		t.Errorf("endless repeat: %d visits, complete %v", len(order), complete)
	}
}

// Metrical grids: Lerdahl and Jackendoff 1983, ch. 4 (relative strength in 4/4,
// 3/4, 6/8); the numbering of levels is ours.
func TestLevel(t *testing.T) {
	const q = 24
	for _, c := range []struct {
		num, den int
		step     score.Tick
		want     []int
	}{
		{4, 4, q / 2, []int{0, 3, 2, 3, 1, 3, 2, 3}},
		{3, 4, q / 2, []int{0, 2, 1, 2, 1, 2}},
		{2, 4, q / 2, []int{0, 2, 1, 2}},
		{2, 2, q, []int{0, 2, 1, 2}},
		{6, 8, q / 2, []int{0, 2, 2, 1, 2, 2}},
		{9, 8, q / 2, []int{0, 2, 2, 1, 2, 2, 1, 2, 2}},
		{12, 8, q / 2, []int{0, 3, 3, 2, 3, 3, 1, 3, 3, 2, 3, 3}},
		{3, 8, q / 4, []int{0, 2, 1, 2, 1, 2}},
	} {
		m := meter(c.num, c.den, q)
		for i, want := range c.want {
			if got := Level(m, score.Tick(i)*c.step); got != want {
				t.Errorf("%d/%d place %d: level %d, want %d", c.num, c.den, i, got, want)
			}
		}
	}
	// a triplet's second note lies below every sixteenth of its beat
	if m := meter(2, 4, q); Level(m, q/3) <= Level(m, q/4) {
		t.Errorf("triplet level %d, sixteenth level %d", Level(m, q/3), Level(m, q/4))
	}
	add := meter(5, 8, q)
	add.Groups = []score.Tick{q, q / 2 * 3}
	for i, want := range []int{0, 2, 1, 2, 2} {
		if got := Level(add, score.Tick(i)*q/2); got != want {
			t.Errorf("2+3/8 place %d: level %d, want %d", i, got, want)
		}
	}
}

func TestOffsetAndBeatName(t *testing.T) {
	p := bars("x x x x")
	ms := p.Measures
	ms[0].Len = 1                                     // pickup of a quarter
	ms[1].Len, ms[2].Len, ms[2].Implicit = 3, 1, true // a measure split by a repeat
	for i, want := range []score.Tick{3, 0, 3, 0} {
		if got := Offset(p, i); got != want {
			t.Errorf("offset of measure %d: %d, want %d", i+1, got, want)
		}
	}
	if got := At(p, 0, 0, score.NoNote).String(); got != "measure 1, beat 4" {
		t.Errorf("pickup is at %q", got)
	}
	if got := BeatName(meter(6, 8, 24), 18); got != "2+1/2" {
		t.Errorf("beat name %q", got)
	}
}

// line builds a one-voice part: "C4:4" lasts 4 ticks, "r:2" rests, "+" before a
// note joins it to the chord before, "g:D5" is a grace note, "~C4:4" is tied to
// the note before, "(" and ")" after a note start and stop slurs.
func line(text string) *score.Part {
	p := bars("x x x x")
	var at score.Tick
	var open []score.NoteID
	for _, w := range strings.Fields(text) {
		n := score.Note{ID: score.NoteID(len(p.Notes)), Voice: "1", TieFrom: score.NoNote, TieTo: score.NoNote}
		starts, stops := strings.Count(w, "("), strings.Count(w, ")")
		w = strings.Trim(w, "()")
		if strings.HasPrefix(w, "g:") {
			n.Grace, w = true, w[2:]
		}
		if strings.HasPrefix(w, "~") {
			w = w[1:]
			n.TieFrom = n.ID - 1
			p.Notes[n.ID-1].TieTo = n.ID
		}
		if strings.HasPrefix(w, "+") {
			w = w[1:]
			n.Chord = true
			at = p.Notes[n.ID-1].Onset
		}
		name, length, _ := strings.Cut(w, ":")
		fmt.Sscan(length, &n.Dur)
		n.Onset, n.Measure = at, int(at/4)
		if n.Rest = name == "r"; !n.Rest {
			n.Sounding, _ = pitch.Parse(name)
		}
		at += n.Dur
		p.Notes = append(p.Notes, n)
		for range stops {
			p.Slurs = append(p.Slurs, score.Slur{Start: open[len(open)-1], End: n.ID})
			open = open[:len(open)-1]
		}
		for range starts {
			open = append(open, n.ID)
		}
	}
	return p
}

func describe(p *score.Part) string {
	var out []string
	for _, e := range Events(p) {
		s := fmt.Sprintf("%d+%d", e.Onset, e.Dur)
		if e.Rest {
			s += "r"
		}
		for _, id := range e.Struck {
			s += p.Notes[id].Sounding.String()
		}
		if len(e.Held) > 0 {
			s += fmt.Sprintf("h%d", len(e.Held))
		}
		if e.Slurred {
			s += "s"
		}
		out = append(out, s)
	}
	return strings.Join(out, " ")
}

func TestEvents(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"C4:4 D4:4 E4:8", "0+4C4 4+4D4 8+8E4"},
		{"C4:4 r:4 E4:8", "0+4C4 4+4r 8+8E4"},
		{"C4:4 ~C4:4 E4:8", "0+8C4 8+8E4"},
		{"G4:4 +C4:4 E4:4 r:8", "0+4C4G4 4+4E4 8+8r"},
		{"C4:8 g:B3 g:D4 C4:8", "0+8C4 8+0B3 8+0D4 8+8C4"},
		{"C4:4( D4:4) E4:4( F4:4)", "0+4C4 4+4D4s 8+4E4 12+4F4s"},
		{"C4:4( D4:4 E4:4 F4:4)", "0+4C4 4+4D4s 8+4E4s 12+4F4s"},
		{"C4:4(( D4:4) E4:4( F4:4))", "0+4C4 4+4D4s 8+4E4 12+4F4s"}, // phrase over two slurs
		{"C4:4( D4:4( E4:4) F4:4)", "0+4C4 4+4D4s 8+4E4s 12+4F4s"},  // one inner slur: still bound
	} {
		if got := describe(line(c.in)); got != c.want {
			t.Errorf("%q\n got %s\nwant %s", c.in, got, c.want)
		}
	}
}

// Two written voices on one staff make one row of events.
func TestEventsTwoVoices(t *testing.T) {
	p := line("E5:8 D5:8")
	low := line("C4:4 B3:4 A3:4 G3:4")
	for _, n := range low.Notes {
		n.ID, n.Voice = score.NoteID(len(p.Notes)), "2"
		p.Notes = append(p.Notes, n)
	}
	slices.SortStableFunc(p.Notes, func(a, b score.Note) int { return int(a.Onset - b.Onset) })
	for i := range p.Notes {
		p.Notes[i].ID = score.NoteID(i)
	}
	if got, want := describe(p), "0+4C4E5 4+4B3h1 8+4A3D5 12+4G3h1"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

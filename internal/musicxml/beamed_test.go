package musicxml

import (
	"bytes"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"pochette/internal/score"
)

// unbeamed is a copy of a score without its beams and spans.
func unbeamed(s *score.Score) *score.Score {
	c := bare(s)
	for _, p := range c.Parts {
		for i := range p.Notes {
			p.Notes[i].Beams = nil
		}
	}
	return c
}

// checkBeams holds beams to what MusicXML means by them, per voice: a level that
// is begun is continued or ended by the next note of its kind, and nothing is
// continued that was not begun; a note has as many levels as its value has flags.
func checkBeams(t *testing.T, name string, p *score.Part) (groups int) {
	t.Helper()
	type line struct {
		voice string
		grace bool
	}
	open := map[line][]bool{}
	for i := range p.Notes {
		n := &p.Notes[i]
		k := line{n.Voice, n.Grace}
		at := open[k]
		if at == nil {
			at = make([]bool, 8)
			open[k] = at
		}
		if n.Chord {
			if len(n.Beams) > 0 {
				t.Fatalf("%s, measure %d: a beam on a further note of a chord", name, n.Measure)
			}
			continue
		}
		if len(n.Beams) > 0 && (n.Rest || len(n.Beams) != flags(n)) {
			t.Fatalf("%s, measure %d: %d beams on a %s", name, n.Measure, len(n.Beams), n.Value.Type)
		}
		if len(n.Beams) > 0 && n.Beams[0] == "begin" {
			groups++
		}
		for level := range at {
			what := ""
			if level < len(n.Beams) {
				what = n.Beams[level]
			}
			needs := what == "continue" || what == "end"
			if at[level] != needs {
				t.Fatalf("%s, measure %d, onset %d: level %d is open: %v, then %q", name, n.Measure, n.Onset, level+1, at[level], what)
			}
			at[level] = what == "begin" || what == "continue"
		}
	}
	for k, at := range open {
		if slices.Contains(at, true) {
			t.Fatalf("%s, voice %s: a beam never ends", name, k.voice)
		}
	}
	return groups
}

// Beamed leaves files with beams as they are, and puts sound beams into the others
// with no other change; what was valid stays valid.
func TestBeamed(t *testing.T) {
	plain, valid, groups := map[string][]byte{}, map[string][]byte{}, 0
	for _, f := range loadShared(t, append(suiteFiles, realFiles...)...) {
		got, err := Beamed(f.src.XML)
		if err != nil {
			t.Fatalf("%s: %v", f.name, err)
		}
		all := true
		for _, p := range f.score.Parts {
			all = all && hasBeams(p)
		}
		if all {
			if !bytes.Equal(got, f.src.XML) {
				t.Errorf("%s has beams and was changed", f.name)
			}
			continue
		}
		_, sc, _ := mustDecode(t, got)
		if a, b := unbeamed(f.score), unbeamed(sc); !reflect.DeepEqual(a, b) {
			t.Fatalf("%s: more than beams changed:\n%s", f.name, gocmp.Diff(a, b))
		}
		for i, p := range f.score.Parts {
			if !hasBeams(p) {
				groups += checkBeams(t, f.name, sc.Parts[i])
			}
		}
		if again, err := Beamed(got); err != nil || !bytes.Equal(again, got) {
			t.Errorf("%s: a second run changes the copy again (%v)", f.name, err)
		}
		if !f.src.Compressed && len(f.data) < 1<<20 && !bytes.Equal(got, f.src.XML) {
			plain[f.name], valid[f.name] = f.src.XML, got
		}
	}
	if groups < 1000 {
		t.Errorf("only %d groups were beamed", groups)
	}
	v := newValidator(t)
	before, _ := v.check(t, plain)
	after, log := v.check(t, valid)
	for _, n := range after {
		if !slices.Contains(before, n) {
			t.Errorf("%s does not validate with beams:\n%s", n, firstLinesWith(log, n))
		}
	}
	t.Logf("%d groups beamed in %d files; %d of them valid before, %d after", groups, len(valid), len(plain)-len(before), len(valid)-len(after))
}

var beamElement = regexp.MustCompile(`\s*<beam\b[^>]*>[^<]*</beam>`)

// The first beams of real scores, as their editors grouped them, against what
// Beamed makes of the same files without them: whether a beam joins two notes
// that follow each other in a voice. Compound meters leave no choice; in simple
// ones editors differ, even within a piece (4/4 by halves or by quarters), so the
// floor is lower there. Sources: ../shared/data/README.md.
func TestBeamedAgainstEditors(t *testing.T) {
	same, all := map[string]int{}, map[string]int{}
	for _, f := range loadShared(t, realFiles...) {
		if !bytes.Contains(f.src.XML, []byte("<beam")) {
			continue
		}
		got, err := Beamed(beamElement.ReplaceAll(f.src.XML, nil))
		if err != nil {
			t.Fatal(err)
		}
		_, sc, _ := mustDecode(t, got)
		for i, p := range f.score.Parts {
			for k := range p.Notes {
				n, g := &p.Notes[k], &sc.Parts[i].Notes[k]
				if n.Rest || n.Chord || n.Grace || flags(n) == 0 {
					continue
				}
				m := p.Measures[n.Measure].Meter
				key := fmt.Sprintf("%d/%d", m.Num, m.Den)
				all[key]++
				if joinsNext(n) == joinsNext(g) {
					same[key]++
				}
			}
		}
	}
	compared, agree := 0, 0
	for k, n := range all {
		compared, agree = compared+n, agree+same[k]
		t.Logf("%s: %d of %d (%.1f %%)", k, same[k], n, 100*float64(same[k])/float64(n))
		if floor := map[bool]float64{true: 0.99, false: 0.85}[strings.HasSuffix(k, "/8")]; float64(same[k]) < floor*float64(n) {
			t.Errorf("%s: %d of %d beams are as printed", k, same[k], n)
		}
	}
	t.Logf("in all: %d of %d (%.1f %%)", agree, compared, 100*float64(agree)/float64(compared))
	if compared < 5000 {
		t.Errorf("only %d notes were compared", compared)
	}
}

func joinsNext(n *score.Note) bool {
	return len(n.Beams) > 0 && (n.Beams[0] == "begin" || n.Beams[0] == "continue")
}

// beamLine makes notes of a measure from words: a value of 8 (eighth) to 128, with
// "." dotted, "r" a rest, "g" a grace note, "h" hidden, "v" in a second voice from
// the start, "c" a further chord note, "/5" in a tuplet of 5:4, "/3" of 3:2,
// "<" and ">" where a tuplet begins and ends.
func beamLine(q score.Tick, words string) []score.Note {
	types := map[string]string{"4": "quarter", "8": "eighth", "16": "16th", "32": "32nd", "64": "64th", "128": "128th"}
	den := map[string]score.Tick{"4": 4, "8": 8, "16": 16, "32": 32, "64": 64, "128": 128}
	var out []score.Note
	at := map[string]score.Tick{}
	for _, w := range strings.Fields(words) {
		digits := strings.Trim(w, "rghvc<>.")
		ratio := score.Value{Actual: 1, Normal: 1}
		if d, r, ok := strings.Cut(digits, "/"); ok {
			digits, ratio = strings.Trim(d, "rghvc<>."), map[string]score.Value{"5": {Actual: 5, Normal: 4}, "3": {Actual: 3, Normal: 2}}[r]
		}
		ratio.Type = types[digits]
		n := score.Note{Voice: "1", Value: ratio, Rest: strings.Contains(w, "r"), Grace: strings.Contains(w, "g"), Hidden: strings.Contains(w, "h"), Chord: strings.Contains(w, "c")}
		if strings.Contains(w, "v") {
			n.Voice = "2"
		}
		n.Onset = at[n.Voice]
		if !n.Grace {
			n.Dur = 4 * q / den[digits] * score.Tick(ratio.Normal) / score.Tick(ratio.Actual)
		}
		if strings.Contains(w, ".") {
			n.Dur, n.Value.Dots = n.Dur*3/2, 1
		}
		if strings.Contains(w, "<") {
			n.Tuplets = append(n.Tuplets, score.Tuplet{Number: 1, Start: true})
		}
		if strings.Contains(w, ">") {
			n.Tuplets = append(n.Tuplets, score.Tuplet{Number: 1})
		}
		if n.Chord {
			n.Onset = out[len(out)-1].Onset
		} else {
			at[n.Voice] += n.Dur
		}
		out = append(out, n)
	}
	return out
}

// What the beat does to beams (common practice, no source). A beam is written
// level by level: ( begins, - goes on, ) ends, > and < are hooks forward and
// backward, . is a note without a beam.
func TestBeamsByBeat(t *testing.T) {
	const q = 240
	short := strings.NewReplacer("begin", "(", "continue", "-", "end", ")", "forward hook", ">", "backward hook", "<")
	for _, c := range []struct {
		num, den    int
		pickup      score.Tick // length of a first measure that is short
		words, want string
	}{
		{3, 8, 0, "8 8 8", "( - )"},
		{3, 8, 0, "16 16 16 16 16 16", "(( -- -- -- -- ))"},
		{12, 8, 0, "8 8 8 4 8 8. 16 8 r8 8 8", "( - ) . . ( -< ) . ( )"},
		{4, 4, 0, "8 8 8 8 8 r8 r8 8", "( ) ( ) . . . ."},
		{2, 2, 0, "16 16 16 16 16 16 16 16 8 8 8 8", "(( -- -- -) -( -- -- )) ( - - )"},
		{2, 2, 0, "8. 16 16 8.", "( -< -> )"},
		{2, 4, 0, "32 32 32 32 32 32 32 32 8 8", "((( --- --- --) --( --- --- ))) ( )"},
		{3, 8, 0, "32 32 32 32 16 16 16 16", "((( --- --- --) -- -- -- ))"},
		{4, 4, 0, "8/5 8/5 8/5 8/5 8/5 4 4", "( - - - ) . ."},
		{2, 4, 0, "<8/3 8/3 8/3> <8/3 8/3 8/3>", "( - ) ( - )"},
		{2, 4, 0, "<16/3 16/3 16/3> <16/3 16/3 16/3> 8 8", "(( -- -) -( -- )) ( )"},
		{2, 4, 0, "8 g16 g16 8 8 g8 8", "( (( )) ) ( . )"},
		{2, 4, 0, "8 h8 8 8", ". . ( )"},
		{2, 4, 0, "8 v8 8 c8 v8 v8 v8", "( ( ) . ) ( )"},
		{4, 4, q + q/2, "8 8 8", ". ( )"},
		{2, 4, 0, "8 128 128", "( -(((( )))))"},
	} {
		m := &score.Measure{Meter: score.Meter{Num: c.num, Den: c.den, Len: score.Tick(c.num) * 4 * q / score.Tick(c.den)}}
		if m.Len = m.Meter.Len; c.pickup > 0 {
			m.Len = c.pickup
		}
		var got []string
		for _, b := range beamsOf(&score.Score{Quarter: q}, m, beamLine(q, c.words)) {
			word := "."
			if len(b) > 0 {
				word = ""
			}
			for _, level := range b {
				word += short.Replace(level)
			}
			got = append(got, word)
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%d/%d %s:\n got %s\nwant %s", c.num, c.den, c.words, s, c.want)
		}
	}
}

// Where the elements go and how they are laid out, byte by byte; the encoding of
// the file comes back.
func TestBeamedBytes(t *testing.T) {
	note := func(rest string) string { return strings.ReplaceAll(rest, "|", "\r\n        ") }
	doc := func(first, second string) []byte {
		return []byte("<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?>\r\n<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Violon \xe9</part-name></score-part></part-list>" +
			"<part id=\"P1\"><measure number=\"1\"><attributes><divisions>2</divisions><time><beats>1</beats><beat-type>4</beat-type></time></attributes>\r\n      " + first + second + "</measure></part></score-partwise>")
	}
	first := note("<note>|<pitch><step>C</step><octave>5</octave></pitch>|<duration>1</duration>|<voice>1</voice>|<type>eighth</type>|<staff>1</staff>%s|<notations><fermata/></notations>|<lyric><text>a</text></lyric></note>\r\n      ")
	second := "<note><pitch><step>D</step><octave>5</octave></pitch><duration>1</duration><voice>1</voice><type>eighth</type>%s</note>"
	got, err := Beamed(doc(fmt.Sprintf(first, ""), fmt.Sprintf(second, "")))
	if err != nil {
		t.Fatal(err)
	}
	want := doc(fmt.Sprintf(first, note(`|<beam number="1">begin</beam>`)), fmt.Sprintf(second, `<beam number="1">end</beam>`))
	if !bytes.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if _, err := Beamed([]byte("<html/>")); err == nil || strings.Contains(err.Error(), "\n") {
		t.Errorf("a page that is no score gives %v", err)
	}
}

// FuzzBeamed: what can be read can be beamed, and reads as before but for beams.
func FuzzBeamed(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		src, err := Open(data, "fuzz")
		if err != nil {
			return
		}
		before, _, err := Decode(src)
		if err != nil {
			return
		}
		got, err := Beamed(data)
		if err != nil {
			t.Fatal(err)
		}
		src, err = Open(got, "fuzz")
		if err != nil {
			t.Fatal(err)
		}
		after, _, err := Decode(src)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := unbeamed(before), unbeamed(after); !reflect.DeepEqual(a, b) {
			t.Fatalf("more than beams changed:\n%s", gocmp.Diff(a, b))
		}
	})
}

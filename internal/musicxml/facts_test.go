package musicxml

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pochette/internal/score"
)

// line is a note in one word: onset and length in quarters, what sounds.
func line(f readable, n *score.Note) string {
	q := func(t score.Tick) string {
		g := gcd(int64(t), int64(f.score.Quarter))
		if d := int64(f.score.Quarter) / g; d > 1 {
			return fmt.Sprintf("%d/%d", int64(t)/g, d)
		}
		return fmt.Sprint(int64(t) / g)
	}
	s := q(n.Onset) + "+" + q(n.Dur) + ":"
	switch {
	case n.Rest:
		s += "rest"
	default:
		s += n.Sounding.String()
	}
	if n.Grace {
		s += "g"
	}
	if n.Chord {
		s += "&"
	}
	if n.TieFrom != score.NoNote {
		s += "~"
	}
	return s
}

func lines(f readable, p *score.Part) string {
	var out []string
	for i := range p.Notes {
		out = append(out, line(f, &p.Notes[i]))
	}
	return strings.Join(out, " ")
}

// Notes of suite files, written down by hand from the files and from what their
// description says they test. Files: MusicXML test suite, named beside.
func TestSuiteNotes(t *testing.T) {
	for _, c := range []struct{ file, want string }{
		// "Some three-note chords, with various durations."
		{"21c-Chords-ThreeNotesDuration.xml", "0+3/2:F4 0+3/2:A4& 0+3/2:C5& 3/2+1/2:A4 3/2+1/2:G5& 2+1:A4 2+1:F4& 2+1:C5& 3+1:A4 3+1:F4& 3+1:C5& " +
			"4+1:A4 4+1:F4& 4+1:E5& 5+1:A4 5+1:F4& 5+1:F5& 6+2:A4 6+2:F4& 6+2:D5&"},
		// a 5:2 tuplet inside a 3:2 tuplet; divisions 30
		{"23d-Tuplets-Nested.xml", "0+1/3:B4 1/3+1/3:B4 2/3+2/15:B4 4/5+2/15:B4 14/15+2/15:B4 16/15+2/15:B4 6/5+2/15:B4 4/3+1/3:B4 5/3+1/3:B4"},
		// grace notes after a note, at the end of a measure too
		{"24d-AfterGrace.xml", "0+2:E5 2+0:G5g 2+0:A5g 2+0:A5g 2+2:E5 4+0:G5g 4+0:A5g"},
		// voice 2 begins at the second beat by <backup>
		{"03b-Rhythm-Backup.xml", "0+1:C4 1+1:C4 1+1:A3 2+1:A3"},
		// "Two tied notes"
		{"33b-Spanners-Tie.xml", "0+4:F4 4+4:F4~"},
		// divisions change from 1 to 8 to 38 in the piece
		{"03c-Rhythm-DivisionChange.xml", "0+1:C5 1+1:C5 2+1:C5 3+1:C5 4+2:C5 6+2:C5"},
		// a 3/8 pickup, a measure in two halves, an incomplete measure
		{"46d-PickupMeasure-ImplicitMeasures.xml", "0+1:E4 1+1/2:E4 3/2+1:F4 5/2+1:G4 7/2+1:A4 9/2+1:B4 11/2+1:C5 13/2+1:D5 15/2+1:rest"},
		// C-flat-and-a-half … : microtones keep their step
		{"01d-Pitches-Microtones.xml", "0+1:C♭4 1+1:D4 2+1:E4 3+1:F♯4 4+1:C♭5 5+1:D5 6+1:E5 7+1:F♯5"},
		// <pitch> under an octave line is the sounding pitch already
		{"33d-Spanners-OctaveShifts.xml", "0+1/2:A4 1/2+1/2:C5 1+1/2:A6 3/2+1/2:C3 2+1/2:B2 5/2+1/2:A5 3+1/2:A5 7/2+1/4:B3 15/4+1/4:C4"},
	} {
		f := suite(t, c.file)
		if got := lines(f, f.score.Parts[0]); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.file, got, c.want)
		}
	}
}

// Microtones (01d): quarter-tone flats and sharps, and three quarter tones.
func TestSuiteMicrotones(t *testing.T) {
	var got []int16
	f := suite(t, "01d-Pitches-Microtones.xml")
	for _, n := range f.score.Parts[0].Notes {
		got = append(got, int16(n.Written.Alter)*100+n.Written.Cents)
	}
	if want := []int16{-150, -50, 50, 150, -150, -50, 50, 150}; !slices.Equal(got, want) {
		t.Errorf("01d: alterations in cents %v, want %v", got, want)
	}
}

// The parts for B-flat trumpet and E-flat horn sound the same C
// major scale as the piano (72a).
func TestSuiteTransposition(t *testing.T) {
	f := suite(t, "72a-TransposingInstruments.xml")
	want := lines(f, f.score.Parts[2])
	for _, p := range f.score.Parts[:2] {
		if got := lines(f, p); got != want {
			t.Errorf("72a, part %s sounds %s, want %s", p.ID, got, want)
		}
	}
	if w := f.score.Parts[0].Notes[0].Written.String(); w != "D4" {
		t.Errorf("72a: the first note of part 1 is written %s, want D4", w)
	}
}

// 33c: slurs that meet on one note, and one slur inside another.
func TestSuiteSlurs(t *testing.T) {
	for _, c := range []struct{ file, want string }{
		{"33c-Spanners-Slurs.xml", "0-1 1-2 2-3 4-7 5-6"},
		{"42b-MultiVoice-MidMeasureClefChange.xml", "6-8 7-12 21-23"}, // one number in two voices
		{"24f-GraceNote-Slur.xml", ""},
	} {
		var got []string
		f := suite(t, c.file)
		for _, s := range f.score.Parts[0].Slurs {
			got = append(got, fmt.Sprintf("%d-%d", s.Start, s.End))
		}
		if c.want != "" && strings.Join(got, " ") != c.want {
			t.Errorf("%s: slurs %v, want %s", c.file, got, c.want)
		}
		if c.want == "" && len(got) == 0 {
			t.Errorf("%s: no slur was read", c.file)
		}
	}
}

// Repeats, endings and measures (45b, 45c, 46d, 11e, 46c, 13e).
func TestSuiteMeasures(t *testing.T) {
	b := suite(t, "45b-RepeatWithAlternatives.xml").score.Parts[0].Measures
	if b[1].RepeatTimes != 2 || !slices.Equal(b[1].Endings, []int{1}) || !slices.Equal(b[2].Endings, []int{2}) || b[3].Endings != nil || !b[2].EndingStop {
		t.Errorf("45b: endings were read wrong: %+v", b)
	}
	c := suite(t, "45c-RepeatMultipleTimes.xml").score.Parts[0].Measures
	if !c[1].RepeatStart || c[2].RepeatTimes != 5 || c[6].RepeatTimes != 3 {
		t.Errorf("45c: want a section played 5 times and one played 3 times, got %+v", c)
	}
	d := suite(t, "46d-PickupMeasure-ImplicitMeasures.xml")
	var lens []score.Tick
	for _, m := range d.score.Parts[0].Measures {
		lens = append(lens, m.Len*2/d.score.Quarter)
	}
	if !slices.Equal(lens, []score.Tick{3, 4, 4, 6}) || !d.score.Parts[0].Measures[0].Implicit || d.score.Parts[0].Measures[2].Number != "X1" {
		t.Errorf("46d: measures of %v eighths, want 3 4 4 6", lens)
	}
	e := suite(t, "11e-TimeSignatures-CompoundMixed.xml")
	m := e.score.Parts[0].Measures[0].Meter
	if m.Beats != "3+2 3" || m.Unit != "8 4" || m.Num != 11 || m.Den != 8 || m.Len*2 != 11*e.score.Quarter || len(m.Groups) != 3 {
		t.Errorf("11e: meter 3+2/8 + 3/4 was read as %+v", m)
	}
	g := suite(t, "46c-Midmeasure-Clef.xml").score.Parts[0].Measures
	if g[2].Clefs[0].Sign != "C" || len(g[3].Clefs) != 2 || g[3].Clefs[1].Sign != "G" || g[3].Clefs[1].At != g[3].Start+2 {
		t.Errorf("46c: want a change to C clef in X1 and back to G in the middle of measure 3, got %+v", g)
	}
	k := suite(t, "13e-KeySignatures-MidMeasure-Change.xml").score.Parts[0].Measures[0]
	if k.Key.Fifths != 2 || len(k.Keys) != 3 || k.Keys[0].Fifths != -2 || k.Keys[2].Fifths != 7 {
		t.Errorf("13e: keys %+v then %+v, want 2 then -2, 0, 7 sharps", k.Key, k.Keys)
	}
}

// 31c: metronome marks; "dotted quarter = 77" is 115.5 quarters a minute.
func TestSuiteTempo(t *testing.T) {
	var got []string
	for _, d := range suite(t, "31c-MetronomeMarks.xml").score.Parts[0].Directions {
		if d.Kind == "metronome" {
			got = append(got, fmt.Sprintf("%s (%g)", d.Text, d.Tempo))
		}
	}
	want := "quarter. = 100 (150); long = 100 (1600); quarter. = half. (0); long = 32nd. (0); quarter. = half. (0); quarter. = 77 (115.5)"
	if s := strings.Join(got, "; "); s != want {
		t.Errorf("31c: %s, want %s", s, want)
	}
}

// 32a: the description of each lyric names the notation on its note.
func TestSuiteNotations(t *testing.T) {
	want := map[score.NoteID]score.MarkKind{0: score.Fermata, 5: score.Arpeggiate, 8: score.NonArpeggiate, 11: "accidental-mark", 12: score.Accent,
		13: score.StrongAccent, 14: score.Staccato, 15: score.Tenuto, 16: score.DetachedLegato, 17: score.Staccatissimo, 18: score.Spiccato,
		23: score.BreathMark, 24: score.Caesura, 27: "soft-accent"}
	f := suite(t, "32a-Notations.xml")
	for id, k := range want {
		if n := f.score.Parts[0].Notes[id]; !n.Has(k) {
			t.Errorf("32a: note %d carries %v, want %s", id, n.Marks, k)
		}
	}
}

// Files made here for what the suite does not have.
func TestDecodeSmall(t *testing.T) {
	doc := func(body string) []byte {
		return []byte(`<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Viola</part-name></score-part></part-list><part id="P1">` + body + `</part></score-partwise>`)
	}
	note := func(step, dur, rest string) string {
		return `<note><pitch><step>` + step + `</step><octave>4</octave></pitch><duration>` + dur + `</duration>` + rest + `</note>`
	}
	for _, c := range []struct{ name, body, want, kinds string }{
		{"decimal durations", `<measure number="1"><attributes><divisions>1.5</divisions></attributes>` + note("C", "0.5", "<voice>1</voice><type>eighth</type>") + note("D", "1.0", "<voice>1</voice>") + `</measure>`,
			"0+1/3:C4 1/3+2/3:D4", "no-type value-and-length"},
		{"missing duration", `<measure number="1"><attributes><divisions>1</divisions></attributes><note><pitch><step>C</step><octave>4</octave></pitch><voice>1</voice><type>16th</type></note>` + note("D", "1", "<voice>1</voice><type>quarter</type>") + `</measure>`,
			"0+1/4:C4 1/4+1:D4", "no-duration"},
		{"no pitch", `<measure number="1"><attributes><divisions>1</divisions></attributes><note><duration>1</duration><voice>1</voice><type>quarter</type></note></measure>`, "0+1:rest", "no-pitch"},
		{"bad step", `<measure number="1"><attributes><divisions>1</divisions></attributes>` + note("H", "1", "<voice>1</voice><type>quarter</type>") + `</measure>`, "0+1:rest", "bad-pitch"},
		{"tie over voices", `<measure number="1"><attributes><divisions>1</divisions></attributes>` +
			note("C", "1", `<tie type="start"/><voice>1</voice><type>quarter</type>`) + `<forward><duration>1</duration></forward><backup><duration>1</duration></backup>` +
			note("C", "1", `<tie type="stop"/><voice>2</voice><type>quarter</type>`) + `</measure>`, "0+1:C4 1+1:C4~", ""},
		{"tie into the second ending", `<measure number="1"><attributes><divisions>1</divisions></attributes>` + note("C", "1", `<tie type="start"/><voice>1</voice><type>quarter</type>`) +
			`</measure><measure number="2"><barline location="left"><ending number="1" type="start"/></barline>` + note("C", "1", `<tie type="stop"/><voice>1</voice><type>quarter</type>`) +
			`<barline><ending number="1" type="stop"/><repeat direction="backward"/></barline></measure><measure number="3"><barline location="left"><ending number="2" type="start"/></barline>` +
			note("C", "1", `<tie type="stop"/><voice>1</voice><type>quarter</type>`) + `<barline><ending number="2" type="discontinue"/></barline></measure>`, "0+1:C4 1+1:C4~ 2+1:C4~", ""},
		{"chord note longer than its stem", `<measure number="1"><attributes><divisions>1</divisions></attributes>` + note("C", "1", "<voice>1</voice><type>quarter</type>") +
			`<note><chord/><pitch><step>E</step><octave>4</octave></pitch><duration>2</duration><voice>1</voice><type>quarter</type></note></measure>`, "0+1:C4 0+1:E4&", "chord-longer"},
		{"tiny divisions and huge durations", `<measure number="1"><attributes><divisions>0.000001</divisions></attributes>` + note("C", "999999999999", "<voice>1</voice><type>quarter</type>") +
			note("D", "0.00000123456", "<voice>1</voice><type>quarter</type>") + `</measure>`, "0+1:C4 1+1:D4", "bad-duration"},
		{"huge duration", `<measure number="1"><attributes><divisions>1</divisions></attributes>` + note("C", "999999999999", "<voice>1</voice><type>quarter</type>") + `</measure>`, "0+1:C4", "bad-duration"},
	} {
		src, sc, fs := mustDecode(t, doc(c.body))
		f := readable{name: c.name, src: src, score: sc}
		if got := lines(f, sc.Parts[0]); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
		var kinds []string
		for _, x := range fs {
			kinds = append(kinds, x.Kind)
		}
		slices.Sort(kinds)
		if got := strings.Join(slices.Compact(kinds), " "); got != c.kinds {
			t.Errorf("%s: findings %q, want %q", c.name, got, c.kinds)
		}
		checkRules(t, f)
	}
}

// Jumps, tempo and scordatura.
func TestDecodeDirections(t *testing.T) {
	_, sc, _ := mustDecode(t, []byte(`<score-partwise><part-list><score-part id="P1"><part-name/></score-part></part-list><part id="P1">
<measure number="1"><attributes><divisions>2</divisions></attributes>
<direction><direction-type><segno/></direction-type><sound segno="first"/></direction>
<direction><direction-type><scordatura><accord string="1"><tuning-step>A</tuning-step><tuning-octave>4</tuning-octave></accord></scordatura></direction-type></direction>
<note><rest/><duration>2</duration><voice>1</voice><type>quarter</type></note>
<direction placement="above"><direction-type><words>D.S. al Coda</words></direction-type><offset>1</offset><sound dalsegno="first" tempo="66"/></direction>
<note><rest/><duration>2</duration><voice>1</voice><type>quarter</type></note></measure></part></score-partwise>`))
	p := sc.Parts[0]
	if j := p.Measures[0].Jump; j.Segno != "first" || j.DalSegno != "first" {
		t.Errorf("jumps %+v", j)
	}
	var got []string
	for _, d := range p.Directions {
		got = append(got, fmt.Sprintf("%s %s@%d %d %g %v", d.Kind, d.Text, d.At, d.Number, d.Tempo, d.Above))
	}
	if s, want := strings.Join(got, "; "), "segno @0 0 0 false; scordatura A4@0 1 0 false; words D.S. al Coda@3 0 66 true"; s != want {
		t.Errorf("directions %s, want %s", s, want)
	}
}

// Words that ask for a jump are a caution where no <sound> of the measure encodes
// it, and none where one does. (Words of the trade: common practice, no source.)
func TestJumpInWords(t *testing.T) {
	for _, c := range []struct{ words, sound, attr string }{
		{"D.C. al Fine", "", "dacapo"},
		{"D. C.", "", "dacapo"},
		{"DC", "", "dacapo"},
		{"D.C al fine", "", "dacapo"},
		{"D.C.al Fine", "", "dacapo"},
		{"Da Capo", "", "dacapo"},
		{"Minuetto I\nda  capo", "", "dacapo"},
		{"Gavotta D.C. senza repliche", "", "dacapo"},
		{"D.S.", "", "dalsegno"},
		{"Dal Segno al Coda", "", "dalsegno"},
		{"Fine", "", "fine"},
		{"Fine.", "", "fine"},
		{"To Coda", "", "tocoda"},
		{"D.C. al Fine", `<sound dacapo="yes"/>`, ""},
		{"D.S.", `<sound dalsegno="one"/>`, ""},
		{"Fine", `<sound fine="yes"/>`, ""},
		{"To Coda", `<sound tocoda="coda"/>`, ""},
		{"D.C. al Fine", `<sound fine="yes"/>`, "dacapo"},
		{"dolce", "", ""},
		{"con finezza", "", ""},
		{"decresc. dim.", "", ""},
	} {
		_, _, fs := mustDecode(t, []byte(`<score-partwise><part-list><score-part id="P1"><part-name/></score-part></part-list><part id="P1"><measure number="1">
<attributes><divisions>1</divisions><time><beats>1</beats><beat-type>4</beat-type></time></attributes>
<direction><direction-type><words>`+c.words+`</words></direction-type></direction>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration><voice>1</voice><type>quarter</type></note>`+c.sound+`</measure></part></score-partwise>`))
		var got []score.Finding
		for _, f := range fs {
			if f.Kind == "jump-in-words" {
				got = append(got, f)
			}
		}
		switch {
		case c.attr == "" && len(got) > 0:
			t.Errorf("%q %s: %s", c.words, c.sound, got[0].Text)
		case c.attr == "":
		case len(got) != 1:
			t.Errorf("%q %s: %d findings, want 1", c.words, c.sound, len(got))
		case !strings.Contains(got[0].Text, "<sound "+c.attr+">") || !strings.Contains(got[0].Suggestion, c.attr) || got[0].Grade != score.Caution || got[0].At.Line != 3 || strings.Contains(got[0].Text, "\n"):
			t.Errorf("%q: %+v", c.words, got[0])
		}
	}
}

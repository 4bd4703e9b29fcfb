package musicxml

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"pochette/internal/score"
	"pochette/internal/testdata"
)

// What the files of the MusicXML test suite (cuthbertLab/musicxmlTestSuite) are
// found to have; every file that is not listed reads without a finding. The
// comment says why that is right.
var suiteFindings = map[string]string{
	"01a-Pitches-Pitches.xml":                   "under-full",                                      // the last measure holds two of four quarters
	"01c-Pitches-NoVoiceElement.xml":            "no-voice",                                        // its purpose
	"03aa-Rhythm-Durations.xml":                 "under-full",                                      // the third measure of 28/4 holds 14
	"11b-TimeSignatures-NoTime.xml":             "backup-too-far",                                  // goes back 384 divisions after a note of 4
	"23b-Tuplets-Styles.xml":                    "under-full",                                      // a measure of 5/4 holds four
	"24a-GraceNotes.xml":                        "tie-unmatched",                                   // a tie from D5 to C5
	"33e-Spanners-OctaveShifts-InvalidSize.xml": "over-full value-and-length",                      // quarters of two quarters each
	"33g-Slur-ChordedNotes.xml":                 "slur-unmatched",                                  // a slur that never ends
	"33i-Ties-NotEnded.xml":                     "tie-unmatched",                                   // its purpose
	"41g-PartNoId.xml":                          "no-divisions part-not-listed part-without-music", // its purpose
	"41h-TooManyParts.xml":                      "no-divisions part-not-listed",                    // its purpose
	"45f-Repeats-InvalidEndings.xml":            "bad-ending",                                      // its purpose
	"46d-PickupMeasure-ImplicitMeasures.xml":    "under-full",                                      // "an incomplete measure (containing 3/4)"
	"46f-IncompleteMeasures.xml":                "under-full",                                      // its purpose; the first short measure counts as a pickup
	"51b-Header-Quotes.xml":                     "no-divisions",                                    // none in the file
	"51c-MultipleRights.xml":                    "no-divisions",                                    // none in the file
	"51d-EmptyTitle.xml":                        "no-divisions",                                    // none in the file
	"61f-Lyrics-GracedNotes.xml":                "tie-unmatched",                                   // ties from D5 and E5 to other pitches
	"71f-AllChordTypes.xml":                     "under-full",                                      // the last measure holds half
	"74a-FiguredBass.xml":                       "value-and-length",                                // an eighth as long as a quarter
}

// 32ad is not well-formed: xmllint (libxml2) says the same of the same line.
var suiteErrors = map[string]string{
	"32ad-Notations5.musicxml": "32ad-Notations5.musicxml: line 141:3: </part> where </measure> should end the element of line 67: the file is damaged, get a whole copy",
}

func TestSuiteReads(t *testing.T) {
	paths := testdata.Scores(t, suiteFiles...)
	if len(paths) != 150 {
		t.Errorf("the suite has %d files, want 149 and the .mxl", len(paths))
	}
	for _, p := range paths {
		f, err := loadFile(t, p)
		if want := suiteErrors[f.name]; want != "" || err != nil {
			if err == nil || err.Error() != want {
				t.Errorf("%s: error %v, want %q", f.name, err, want)
			}
			continue
		}
		kinds := map[string]bool{}
		for _, x := range f.findings {
			kinds[x.Kind] = true
			if x.Text == "" || strings.Contains(x.Text, "\n") || x.At.Line == 0 && x.At.Measure >= 0 {
				t.Errorf("%s: a finding without text or place: %+v", f.name, x)
			}
		}
		if got := strings.Join(slices.Sorted(maps.Keys(kinds)), " "); got != suiteFindings[f.name] {
			t.Errorf("%s: findings %q, want %q", f.name, got, suiteFindings[f.name])
		}
		checkRules(t, f)
	}
}

// Real scores as people export them read without a finding of grade trouble.
func TestRealFilesRead(t *testing.T) {
	for _, p := range testdata.Scores(t, append(realFiles, "timing/*.mxl")...) {
		f, err := loadFile(t, p)
		if err != nil {
			t.Error(err)
			continue
		}
		for _, x := range f.findings {
			if x.Grade == score.Trouble {
				t.Errorf("%s: %s %v: %s", f.name, x.Kind, x.At, x.Text)
			}
		}
		checkRules(t, f)
	}
}

// checkRules holds every decoded score to what package score promises.
func checkRules(t *testing.T, f readable) {
	t.Helper()
	bad := func(format string, args ...any) { t.Errorf(f.name+": "+format, args...) }
	for _, p := range f.score.Parts {
		var at score.Tick
		for i, m := range p.Measures {
			if m.Index != i || m.Start != at || m.Len < 0 {
				bad("measure %d: index %d, start %d, length %d; want start %d", i, m.Index, m.Start, m.Len, at)
			}
			at += m.Len
			if !strings.HasPrefix(string(f.src.XML[m.Src.Start:m.Src.End]), "<") {
				bad("measure %d: its span holds no element", i)
			}
		}
		ranks := map[string]int{}
		for i := range p.Notes {
			n := &p.Notes[i]
			checkNote(t, f, p, n, i)
			if _, ok := ranks[n.Voice]; !ok {
				ranks[n.Voice] = len(ranks)
			}
			if i > 0 && !n.Chord {
				prev := &p.Notes[i-1]
				if n.Onset < prev.Onset || n.Onset == prev.Onset && n.Measure == prev.Measure && prev.Grace != n.Grace && n.Grace {
					bad("note %d stands before note %d in time", i, i-1)
				}
			}
		}
		for _, s := range p.Slurs {
			if s.Start >= s.End || p.Notes[s.Start].Onset > p.Notes[s.End].Onset {
				bad("a slur from %d to %d", s.Start, s.End)
			}
		}
	}
}

func checkNote(t *testing.T, f readable, p *score.Part, n *score.Note, i int) {
	t.Helper()
	m := p.Measures[n.Measure]
	xml := string(f.src.XML[n.Src.Start:n.Src.End])
	switch {
	case n.ID != score.NoteID(i):
		t.Errorf("%s: note %d has the ID %d", f.name, i, n.ID)
	case !strings.HasPrefix(xml, "<note") || !strings.HasSuffix(xml, "</note>"):
		t.Errorf("%s: the span of note %d holds %q", f.name, i, xml)
	case n.Onset < m.Start || n.End() > m.Start+m.Len:
		t.Errorf("%s: note %d (%d to %d) lies outside measure %d (%d to %d)", f.name, i, n.Onset, n.End(), n.Measure, m.Start, m.Start+m.Len)
	case n.Chord != (n.Head != n.ID) || n.Head > n.ID || p.Notes[n.Head].Onset != n.Onset || p.Notes[n.Head].Head != n.Head:
		t.Errorf("%s: note %d has the head %d", f.name, i, n.Head)
	case n.Grace && n.Dur != 0:
		t.Errorf("%s: grace note %d lasts %d", f.name, i, n.Dur)
	}
	if n.TieFrom != score.NoNote {
		o := p.Notes[n.TieFrom]
		if o.Sounding.MIDI() != n.Sounding.MIDI() || o.TieTo == score.NoNote {
			t.Errorf("%s: note %d is tied from note %d, which does not fit", f.name, i, n.TieFrom)
		}
	}
	if n.TieTo != score.NoNote && p.Notes[n.TieTo].TieFrom != n.ID {
		t.Errorf("%s: note %d is tied to note %d, which does not say so", f.name, i, n.TieTo)
	}
}

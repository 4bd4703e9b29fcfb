package musicxml

import (
	"cmp"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pochette/internal/score"
	"pochette/internal/testdata"
)

// The notes of a recorded solo movement as its data set lists them
// (salu133445/bach-violin-dataset, ../shared/data/timing/audio/take_a.notes.csv:
// onset and offset in 24ths of a quarter, MIDI pitch, repeats played out)
// against the score of the same movement.
func TestNotesOfTheDataSet(t *testing.T) {
	dir := testdata.Dir(t)
	f, err := loadFile(t, filepath.Join(dir, "musicxml", "solo", "bwv1002_mov6.mxl"))
	if err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(filepath.Join(dir, "timing", "audio", "take_a.notes.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, r := range rows[1:] {
		want = append(want, strings.Join(r[:3], " "))
	}
	got := playedOut(f)
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("%d notes read, %d in the data set", len(got), len(want))
		for i := range min(len(got), len(want)) {
			if got[i] != want[i] {
				t.Fatalf("first difference: %s, want %s", got[i], want[i])
			}
		}
	}
}

// playedOut plays the repeats and endings of a part without jumps: onset and end
// in 24ths of a quarter, MIDI pitch.
func playedOut(f readable) []string {
	p, q := f.score.Parts[0], f.score.Quarter
	var out []string
	var at score.Tick
	play := func(m *score.Measure) {
		for i := range p.Notes {
			n := &p.Notes[i]
			if n.Measure != m.Index || !n.Struck() {
				continue
			}
			end := n.End()
			for k := n; k.TieTo != score.NoNote; end = k.End() {
				k = &p.Notes[k.TieTo]
			}
			shift := at - m.Start
			out = append(out, fmt.Sprintf("%d %d %d", (n.Onset+shift)*24/q, (end+shift)*24/q, n.Sounding.MIDI()))
		}
		at += m.Len
	}
	from := 0
	for i := range p.Measures {
		for p.Measures[i].RepeatStart && from < i { // the last ending of the section before
			play(&p.Measures[from])
			from++
		}
		if i < len(p.Measures)-1 && p.Measures[i].RepeatTimes == 0 {
			continue
		}
		for pass := 1; pass <= max(1, p.Measures[i].RepeatTimes); pass++ {
			for k := from; k <= i; k++ {
				if m := &p.Measures[k]; m.Endings == nil || slices.Contains(m.Endings, pass) || m.Endings[0] > 1 {
					play(m)
				}
			}
		}
		from = i + 1
	}
	return out
}

// ../shared/data/README.md, "Traps, as measured": violin 1 of the finale
// (measures 445–730 by index from 1) has 1,121 onsets and one grace note.
func TestOnsetsOfTheFinale(t *testing.T) {
	f, err := loadFile(t, filepath.Join(testdata.Dir(t), "timing", "quartet_op74_1.mxl"))
	if err != nil {
		t.Fatal(err)
	}
	p := f.score.Parts[0]
	if len(p.Measures) < 730 {
		t.Fatalf("%d measures, want at least 730", len(p.Measures))
	}
	onsets, graces := map[score.Tick]bool{}, 0
	for i := range p.Notes {
		n := &p.Notes[i]
		switch {
		case n.Measure < 444 || n.Measure > 729 || !n.Struck():
		case n.Grace:
			graces++
		default:
			onsets[n.Onset] = true
		}
	}
	if len(onsets) != 1121 || graces != 1 {
		t.Errorf("%d onsets and %d grace notes, want 1121 and 1", len(onsets), graces)
	}
}

// A second reader for the same files, made from encoding/xml and big.Rat with
// nothing of this package: what each measure holds as (onset, length, step,
// alteration, octave) must agree.
func TestTwinReader(t *testing.T) {
	checked := 0
	for _, f := range loadShared(t, append(suiteFiles, realFiles...)...) {
		if f.name == "11b-TimeSignatures-NoTime.xml" || f.name == "41g-PartNoId.xml" {
			continue // a <backup> beyond the measure; a part without an id
		}
		twin := twinRead(t, f.src.XML)
		for _, p := range f.score.Parts {
			for i := range p.Measures {
				var ours []string
				for k := range p.Notes {
					n := &p.Notes[k]
					if n.Measure == i {
						ours = append(ours, twinLine(new(big.Rat).Sub(f.score.Whole(n.Onset), f.score.Whole(p.Measures[i].Start)), f.score.Whole(n.Dur), n))
						checked++
					}
				}
				theirs := slices.Clone(twin[p.ID+" "+strconv.Itoa(i)])
				slices.Sort(ours)
				slices.Sort(theirs)
				if !slices.Equal(ours, theirs) {
					t.Errorf("%s, part %s, measure index %d:\nread  %v\ntwin  %v", f.name, p.ID, i, ours, theirs)
					break
				}
			}
		}
	}
	t.Logf("%d notes and rests agree", checked)
}

func twinLine(on, dur *big.Rat, n *score.Note) string {
	what := "x"
	if !n.Rest && !n.Unpitched {
		what = fmt.Sprintf("%s%d %d", n.Written.Step, n.Written.Octave, 100*int(n.Written.Alter)+int(n.Written.Cents))
	}
	return on.RatString() + " " + dur.RatString() + " " + what
}

type twinScore struct {
	Parts []struct {
		ID       string `xml:"id,attr"`
		Measures []struct {
			Items []twinItem `xml:",any"`
		} `xml:"measure"`
	} `xml:"part"`
}

type twinItem struct {
	XMLName   xml.Name
	Divisions string    `xml:"divisions"`
	Duration  string    `xml:"duration"`
	Grace     *struct{} `xml:"grace"`
	Chord     *struct{} `xml:"chord"`
	Pitch     *struct {
		Step   string `xml:"step"`
		Alter  string `xml:"alter"`
		Octave string `xml:"octave"`
	} `xml:"pitch"`
}

func twinRead(t *testing.T, data []byte) map[string][]string {
	t.Helper()
	var s twinScore
	if err := xml.Unmarshal(data, &s); err != nil {
		t.Fatal(err)
	}
	rat := func(s string) *big.Rat {
		r, ok := new(big.Rat).SetString(cmp.Or(strings.TrimSpace(s), "0"))
		if !ok {
			t.Fatalf("no number: %q", s)
		}
		return r
	}
	out := map[string][]string{}
	for _, p := range s.Parts {
		div := big.NewRat(1, 1)
		for i, m := range p.Measures {
			at, head := new(big.Rat), new(big.Rat)
			for _, it := range m.Items {
				if it.Divisions != "" {
					div = rat(it.Divisions)
				}
				dur := new(big.Rat).Quo(rat(it.Duration), new(big.Rat).Mul(div, big.NewRat(4, 1)))
				switch it.XMLName.Local {
				case "backup":
					at = new(big.Rat).Sub(at, dur)
				case "forward":
					at = new(big.Rat).Add(at, dur)
				case "note":
					on := at
					if it.Chord != nil {
						on = head
					}
					what := "x"
					if it.Pitch != nil {
						cents := new(big.Rat).Mul(rat(it.Pitch.Alter), big.NewRat(100, 1))
						what = strings.TrimSpace(it.Pitch.Step) + strings.TrimSpace(it.Pitch.Octave) + " " + cents.FloatString(0)
					}
					if it.Grace != nil {
						dur = new(big.Rat)
					}
					key := p.ID + " " + strconv.Itoa(i)
					out[key] = append(out[key], on.RatString()+" "+dur.RatString()+" "+what)
					if it.Chord == nil {
						head, at = at, new(big.Rat).Add(at, dur)
					}
				}
			}
		}
	}
	return out
}

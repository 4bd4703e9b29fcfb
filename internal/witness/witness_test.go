package witness

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pochette/internal/demo"
	"pochette/internal/musicxml/xmltest"
	"pochette/internal/testdata"
)

func read(t testing.TB, name string, data []byte) Source {
	t.Helper()
	_, sc := xmltest.Decode(t, data, name)
	return Source{sc, sc.Parts[0]}
}

// shared reads scores of the shared data: transcriptions of solo movements
// (bach-violin-dataset, public domain).
func shared(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(testdata.Dir(t), "musicxml", "solo", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// A source does not differ from itself.
func TestEqualSourcesAgree(t *testing.T) {
	for name, data := range map[string][]byte{"demo": demo.Jig, "mov6": shared(t, "bwv1002_mov6.mxl"), "mov7": shared(t, "bwv1002_mov7.mxl")} {
		if d := Compare(read(t, name, data), read(t, name, data)); len(d) != 0 {
			t.Errorf("%s differs from itself: %+v", name, d[0])
		}
	}
}

// change edits the demonstration's movement by text.
func change(t *testing.T, pairs ...string) []byte {
	t.Helper()
	x := string(demo.Jig)
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(x, pairs[i]) {
			t.Fatalf("the movement has no %q", pairs[i])
		}
		x = strings.Replace(x, pairs[i], pairs[i+1], 1)
	}
	return []byte(x)
}

// measureOf is the text of the n-th measure.
func measureOf(t *testing.T, n int) string {
	t.Helper()
	x := string(demo.Jig)
	for range n {
		i := strings.Index(x[1:], "<measure ")
		if i < 0 {
			t.Fatal("too few measures")
		}
		x = x[i+1:]
	}
	end := strings.Index(x, "</measure>")
	return x[:end+len("</measure>")]
}

// One edit of one sort gives one difference of that sort, at its place, from both
// sides.
func TestOneEditOneDifference(t *testing.T) {
	m4 := measureOf(t, 4)
	for _, c := range []struct {
		what string
		data []byte
		kind Kind
		at   int
	}{
		{"a dynamic", change(t, "<f/>", "<ff/>"), Dynamic, 1},
		{"a pitch", change(t, m4, strings.Replace(m4, "<octave>5</octave>", "<octave>4</octave>", 1)), Pitch, 3},
		{"a measure", change(t, m4, ""), Measure, 3},
		{"an accent", change(t, m4, strings.Replace(m4, "</note>", "<notations><articulations><accent/></articulations></notations></note>", 1)), Articulation, 3},
	} {
		a, b := read(t, "a", demo.Jig), read(t, "b", c.data)
		for side, ds := range [][]Difference{Compare(a, b), Compare(b, a)} {
			if len(ds) != 1 || ds[0].Kind != c.kind {
				t.Errorf("%s, side %d: %d differences: %+v", c.what, side, len(ds), ds)
				continue
			}
			d := ds[0]
			at := d.Measure
			if side == 1 {
				at = d.MeasureThere
			}
			if at != c.at || d.Here == d.There || d.Key == "" {
				t.Errorf("%s, side %d: at %d, want %d; %q against %q", c.what, side, at, c.at, d.Here, d.There)
			}
		}
	}
}

// Slurs that end elsewhere are one difference with both slurs; a slur gone is one.
func TestSlurs(t *testing.T) {
	a := read(t, "a", demo.Jig)
	at := regexp.MustCompile(`<slur [^>]*/>`).FindAllIndex(demo.Jig, 2) // the start and the stop of the first
	x := slices.Concat(demo.Jig[:at[0][0]], demo.Jig[at[0][1]:at[1][0]], demo.Jig[at[1][1]:])
	b := read(t, "b", x)
	if len(b.Part.Slurs) != len(a.Part.Slurs)-1 {
		t.Fatalf("%d slurs of %d are left: the edit took away another thing", len(b.Part.Slurs), len(a.Part.Slurs))
	}
	ds := Compare(a, b)
	if len(ds) != 1 || ds[0].Kind != Slur || len(ds[0].RemoveSlurs) != 1 || len(ds[0].AddSlurs) != 0 || ds[0].There != "no slur" {
		t.Errorf("%+v", ds)
	}
	ds = Compare(b, a)
	if len(ds) != 1 || ds[0].Kind != Slur || len(ds[0].AddSlurs) != 1 {
		t.Errorf("from the other side %+v", ds)
	}
}

// A movement and its double (another music over the same harmony) are told apart
// without end and without a panic, and every measure is told of or paired.
func TestFarSources(t *testing.T) {
	a, b := read(t, "7", shared(t, "bwv1002_mov7.mxl")), read(t, "8", shared(t, "bwv1002_mov8.mxl"))
	ds := Compare(a, b)
	if len(ds) < 100 {
		t.Errorf("only %d differences between two movements", len(ds))
	}
	keys := map[string]bool{}
	for _, d := range ds {
		if keys[d.Key] {
			t.Fatalf("the key %q stands twice", d.Key)
		}
		keys[d.Key] = true
	}
}

func BenchmarkCompare(b *testing.B) {
	x, y := read(b, "7", shared(b, "bwv1002_mov7.mxl")), read(b, "8", shared(b, "bwv1002_mov8.mxl"))
	for b.Loop() {
		Compare(x, y)
	}
}

package musicxml

import (
	"bytes"
	"cmp"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"

	"pochette/internal/score"
)

// randomMarks draws marks and slur changes for a part.
func randomMarks(r *rand.Rand, p *score.Part) (marks []score.NoteMark, changes []score.SlurChange) {
	kinds := []score.Mark{
		{Kind: score.UpBow}, {Kind: score.DownBow}, {Kind: score.Fingering, Text: "0"}, {Kind: score.Fingering, Text: "1–2", Below: true},
		{Kind: score.Fingering, Text: "3", Substitution: true}, {Kind: score.Fingering, Text: "4", Alternate: true},
		{Kind: score.String, Text: "2"}, {Kind: score.OpenString}, {Kind: score.ThumbPosition}, {Kind: score.Tenuto}, {Kind: score.Harmonic, Text: "natural"},
	}
	var sounding []score.NoteID
	for i := range p.Notes {
		n := &p.Notes[i]
		if n.Rest {
			continue
		}
		sounding = append(sounding, n.ID)
		for r.Float64() < 0.3 {
			marks = append(marks, score.NoteMark{Note: n.ID, Mark: kinds[r.IntN(len(kinds))]})
		}
	}
	for i := range p.Slurs {
		if r.Float64() < 0.3 {
			changes = append(changes, score.SlurChange{Remove: []int{i}})
		}
	}
	for k := 0; k+4 < len(sounding); k += 5 {
		a, b := sounding[k], sounding[k+1+r.IntN(3)]
		if r.Float64() < 0.3 && p.Notes[a].Head != p.Notes[b].Head {
			changes = append(changes, score.SlurChange{Add: []score.Slur{{Start: a, End: b, Placement: "above"}}})
		}
	}
	return marks, changes
}

// withMarks is what the part should read as after the splice.
func withMarks(p *score.Part, marks []score.NoteMark, changes []score.SlurChange) *score.Part {
	q := *p
	q.Notes = slices.Clone(p.Notes)
	for i := range q.Notes {
		q.Notes[i].Marks = slices.Clone(q.Notes[i].Marks)
	}
	for _, m := range marks {
		q.Notes[m.Note].Marks = append(q.Notes[m.Note].Marks, m.Mark)
	}
	gone := map[int]bool{}
	for _, c := range changes {
		for _, i := range c.Remove {
			gone[i] = true
		}
	}
	q.Slurs = nil
	for i, s := range p.Slurs {
		if !gone[i] {
			q.Slurs = append(q.Slurs, s)
		}
	}
	for _, c := range changes {
		q.Slurs = append(q.Slurs, c.Add...)
	}
	return &q
}

// settled is a part in a form that reflect.DeepEqual can compare: no spans, marks
// on a note and slurs in a fixed order, no slur numbers, nil for empty.
func settled(p *score.Part) *score.Part {
	q := bare(&score.Score{Parts: []*score.Part{p}}).Parts[0]
	for i := range q.Notes {
		m := slices.Clone(q.Notes[i].Marks)
		slices.SortFunc(m, func(a, b score.Mark) int { return cmp.Compare(fmt.Sprint(a), fmt.Sprint(b)) })
		if q.Notes[i].Marks = m; len(m) == 0 {
			q.Notes[i].Marks = nil
		}
	}
	for i := range q.Slurs {
		q.Slurs[i].Number = 0
	}
	slices.SortFunc(q.Slurs, func(a, b score.Slur) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.End, b.End), cmp.Compare(a.Placement, b.Placement))
	})
	if len(q.Slurs) == 0 {
		q.Slurs = nil
	}
	return q
}

// spliceAndStrip splices once and checks the three promises: the bytes come
// back, the score is the same but for the marks, a second run works.
func spliceAndStrip(t *testing.T, f readable, r *rand.Rand) (marked []byte) {
	t.Helper()
	part := f.score.Parts[r.IntN(len(f.score.Parts))]
	index := slices.Index(f.score.Parts, part)
	marks, changes := randomMarks(r, part)
	marked, err := Splice(f.src, part, marks, changes)
	if err != nil {
		t.Fatalf("%s: %v", f.name, err)
	}
	want := f.data
	if f.src.Compressed {
		want = f.src.XML
	}
	back, err := Strip(marked, f.name)
	if err != nil {
		t.Fatalf("%s: strip: %v", f.name, err)
	}
	if !bytes.Equal(back, want) {
		t.Fatalf("%s: stripped bytes differ from the source", f.name)
	}
	src2, err := Open(marked, f.name)
	if err != nil {
		t.Fatalf("%s: marked: %v", f.name, err)
	}
	sc2, _, err := Decode(src2)
	if err != nil {
		t.Fatalf("%s: marked: %v", f.name, err)
	}
	for i, p := range f.score.Parts {
		w := p
		if i == index {
			w = withMarks(part, marks, changes)
		}
		if a, b := settled(w), settled(sc2.Parts[i]); !reflect.DeepEqual(a, b) {
			t.Fatalf("%s: part %s reads differently after the splice:\n%s", f.name, p.ID, gocmp.Diff(a, b))
		}
	}
	marks2, changes2 := randomMarks(r, sc2.Parts[index])
	twice, err := Splice(src2, sc2.Parts[index], marks2, changes2)
	if err != nil {
		t.Fatalf("%s: second run: %v", f.name, err)
	}
	if back, err = Strip(twice, f.name); err != nil || !bytes.Equal(back, want) {
		t.Fatalf("%s: stripped bytes differ from the source after a second run (%v)", f.name, err)
	}
	return marked
}

// Random marks on every shared file: Strip(Splice(x)) == x, the score reads the
// same but for the marks.
func TestSpliceProperty(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	for i, f := range loadShared(t, append(suiteFiles, realFiles...)...) {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		for range 3 {
			spliceAndStrip(t, f, r)
			if len(f.data) > 100_000 {
				break
			}
		}
	}
}

// Marked files validate against the 4.0 schema where their source did.
func TestSpliceValidates(t *testing.T) {
	v := newValidator(t)
	before, after := map[string][]byte{}, map[string][]byte{}
	for i, f := range loadShared(t, "musicxml/suite/*", "musicxml/solo/*", "bowing/etudes/*", "bowing/solos/*") {
		before[f.name] = f.src.XML
		after[f.name] = spliceAndStrip(t, f, rand.New(rand.NewPCG(7, uint64(i))))
	}
	badBefore, _ := v.check(t, before)
	badAfter, log := v.check(t, after)
	t.Logf("%d files, of which the schema refuses %v before", len(before), badBefore)
	for _, n := range badAfter {
		if !slices.Contains(badBefore, n) {
			t.Errorf("%s no longer validates:\n%s", n, firstLinesWith(log, n))
		}
	}
}

func firstLinesWith(log, name string) string {
	var out []string
	for _, l := range strings.Split(log, "\n") {
		if strings.Contains(l, name) && len(out) < 3 {
			out = append(out, l)
		}
	}
	return strings.Join(out, "\n")
}

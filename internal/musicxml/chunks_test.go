package musicxml

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
)

// timewise turns a decoded partwise document into a timewise one, from the spans
// of its measures.
func timewise(f readable) []byte {
	xml := f.src.XML
	first := f.score.Parts[0].Measures[0].Src.Start
	head := string(xml[:first])
	head = head[:strings.LastIndex(head, "<part")]
	root := strings.Index(head, "<score-partwise")
	head = strings.NewReplacer("score-partwise", "score-timewise", "Partwise", "Timewise", "partwise", "timewise").Replace(head[:root+len("<score-partwise")]) + head[root+len("<score-partwise"):]
	var b bytes.Buffer
	b.WriteString(head)
	for i := range f.score.Parts[0].Measures {
		for k, p := range f.score.Parts {
			if i >= len(p.Measures) {
				continue
			}
			chunk := xml[p.Measures[i].Src.Start:p.Measures[i].Src.End]
			open := bytes.IndexByte(chunk, '>')
			if k == 0 {
				b.Write(bytes.TrimSuffix(chunk[:open], []byte("/")))
				b.WriteByte('>')
			}
			inner := []byte{}
			if chunk[open-1] != '/' {
				inner = chunk[open+1 : bytes.LastIndex(chunk, []byte("</measure"))]
			}
			fmt.Fprintf(&b, "\n<part id=%q>%s</part>", p.ID, inner)
		}
		b.WriteString("</measure>\n")
	}
	b.WriteString("</score-timewise>\n")
	return b.Bytes()
}

// A timewise document reads as the partwise one it came from, and Partwise makes
// one again that reads the same and validates.
func TestTimewise(t *testing.T) {
	docs := map[string][]byte{}
	for _, f := range loadShared(t, "musicxml/suite/*", "musicxml/solo/*", "musicxml/quartets/*") {
		if f.name == "41g-PartNoId.xml" {
			continue // a part without an id cannot be found again by its id
		}
		tw := timewise(f)
		src, sc, _ := mustDecode(t, tw)
		if a, b := bare(f.score), bare(sc); !reflect.DeepEqual(a, b) {
			t.Fatalf("%s: the timewise copy reads differently:\n%s", f.name, gocmp.Diff(a, b))
		}
		back, err := Partwise(src)
		if err != nil {
			t.Fatalf("%s: %v", f.name, err)
		}
		_, sc2, _ := mustDecode(t, back)
		if a, b := bare(f.score), bare(sc2); !reflect.DeepEqual(a, b) {
			t.Fatalf("%s: Partwise reads differently:\n%s", f.name, gocmp.Diff(a, b))
		}
		if len(f.data) < 200_000 && !f.src.Compressed {
			docs[f.name] = back
		}
		same, err := Partwise(f.src)
		if err != nil || !bytes.Equal(same, f.src.XML) {
			t.Errorf("%s: a partwise document was changed (%v)", f.name, err)
		}
	}
	checkStillValid(t, newValidator(t), docs)
}

// checkStillValid holds documents, by suite file name, to the schema, but for
// the files that break it themselves (../shared/data/README.md lists them).
func checkStillValid(t *testing.T, v *validator, docs map[string][]byte) {
	t.Helper()
	invalidSources := map[string]bool{"41g-PartNoId.xml": true, "74a-FiguredBass.xml": true, "99d-AccordionInvalid.xml": true, "03e-Rhythm-SecondaryBeamBreaks.musicxml": true}
	bad, log := v.check(t, docs)
	for _, n := range bad {
		if !invalidSources[strings.SplitN(n, " ", 2)[0]] {
			t.Errorf("%s does not validate:\n%s", n, firstLinesWith(log, n))
		}
	}
}

// OnePart keeps one part, which reads as before, and validates.
func TestOnePart(t *testing.T) {
	docs := map[string][]byte{}
	for _, f := range loadShared(t, "musicxml/suite/41*", "musicxml/suite/72a*", "musicxml/suite/71e*", "musicxml/quartets/*") {
		for i, p := range f.score.Parts {
			one, err := OnePart(f.src.XML, p.ID)
			if f.name == "41g-PartNoId.xml" && err == nil && len(f.score.Parts) == 1 {
				continue
			}
			if err != nil {
				t.Fatalf("%s: %v", f.name, err)
			}
			_, sc, _ := mustDecode(t, one)
			if len(sc.Parts) != 1 || len(sc.Parts[0].Notes) != len(p.Notes) || sc.Parts[0].ID != p.ID || sc.Parts[0].Name != p.Name {
				t.Errorf("%s: part %s was not kept alone", f.name, p.ID)
				continue
			}
			for k := range p.Notes {
				if a, b := line(f, &p.Notes[k]), line(readable{score: sc}, &sc.Parts[0].Notes[k]); a != b && !f.src.Compressed {
					t.Errorf("%s, part %s: note %d reads %s, was %s", f.name, p.ID, k, b, a)
				}
			}
			if i < 3 && f.name != "41h-TooManyParts.xml" { // whose list lacks parts
				docs[fmt.Sprintf("%s %s", f.name, p.ID)] = one
			}
		}
		if _, err := OnePart(f.src.XML, "none such"); err == nil || !strings.Contains(err.Error(), "the parts are") {
			t.Errorf("%s: a missing part gives %v", f.name, err)
		}
	}
	checkStillValid(t, newValidator(t), docs)
}

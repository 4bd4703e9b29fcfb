package musicxml

import (
	"fmt"
	"strings"

	"pochette/internal/score"
)

// Beamed is a copy of a document with beams, for an engraver that draws a flag
// on every short note without them: each part that has no <beam> anywhere gets
// beams by its meter (beamsOf tells how). All other bytes stay, and a part with
// a beam of its own is left as it is. xml is plain XML in any encoding that Open
// reads and comes back in it.
func Beamed(xml []byte) ([]byte, error) {
	src, err := Open(xml, "score")
	if err != nil {
		return nil, err
	}
	sc, _, err := Decode(src)
	if err != nil {
		return nil, err
	}
	var edits []edit
	f := newForest()
	for _, p := range sc.Parts {
		if hasBeams(p) {
			continue
		}
		sp := &splicer{src: src, part: p, f: f}
		if err := sp.addBeams(sc); err != nil {
			return nil, err
		}
		edits = append(edits, sp.edits...)
	}
	return src.Bytes(applyEdits(src.XML, edits)), nil
}

func hasBeams(p *score.Part) bool {
	for i := range p.Notes {
		if len(p.Notes[i].Beams) > 0 {
			return true
		}
	}
	return false
}

// addBeams makes the edits that beam a part. They stand without the comments of
// Splice: a beamed copy is for drawing and not for keeping.
func (sp *splicer) addBeams(sc *score.Score) error {
	notes := sp.part.Notes
	for from := 0; from < len(notes); {
		to := from
		for to < len(notes) && notes[to].Measure == notes[from].Measure {
			to++
		}
		beams := beamsOf(sc, &sp.part.Measures[notes[from].Measure], notes[from:to])
		for i, b := range beams {
			if err := sp.beam(notes[from+i].ID, b); err != nil {
				return err
			}
		}
		from = to
	}
	return nil
}

// beam puts <beam> elements where the schema wants them, after <staff>.
func (sp *splicer) beam(id score.NoteID, beams []string) error {
	if len(beams) == 0 {
		return nil
	}
	note, err := sp.noteElem(id)
	if err != nil {
		return err
	}
	xml := sp.src.XML
	at, indent := slot(xml, note, indentUnit(xml, note), func(name string) bool {
		return name == "notations" || name == "lyric" || name == "play" || name == "listen"
	})
	var b strings.Builder
	for i, what := range beams {
		fmt.Fprintf(&b, `%s<beam number="%d">%s</beam>`, indent, i+1, what)
	}
	sp.edits = append(sp.edits, edit{at, at, b.String()})
	return nil
}

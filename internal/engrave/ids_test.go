package engrave

import (
	"encoding/xml"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pochette/internal/demo"
	"pochette/internal/testdata"
)

// A second reading once gave new elements the identifiers of notes, and slurs hung on
// the wrong ones. After the last reading each identifier stands once, and each slur joins
// the notes that it joins in the source.
func TestIdentifiersDoNotClash(t *testing.T) {
	p := openPool(t, 1)
	t.Run("demo", func(t *testing.T) { checkIdentifiers(t, p, demo.Jig) })
	for _, name := range []string{
		"musicxml/solo/bwv1002_mov7.mxl", "bowing/etudes/sitt-op32-1-16.musicxml", "bowing/solos/reger-op42-1-2.musicxml",
	} {
		t.Run(name, func(t *testing.T) {
			checkIdentifiers(t, p, readScore(t, filepath.Join(testdata.Dir(t), name)))
		})
	}
}

func checkIdentifiers(t *testing.T, p *Pool, score []byte) {
	s, err := p.Session(t.Context(), score)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.SVG(t.Context(), A4()); err != nil {
		t.Fatal(err)
	}
	held, err := s.in.mei(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for from, to := range values(held, ` xml:id="`) {
		id := held[from:to]
		if seen[id] {
			t.Errorf("the identifier %s stands twice", id)
		}
		seen[id] = true
	}
	if len(seen) < 50 {
		t.Errorf("only %d identifiers", len(seen))
	}
	want, got := sourceSlurs(t, score), engravedSlurs(t, held)
	if len(want) == 0 {
		t.Fatal("the source has no slurs: nothing is checked")
	}
	if !slices.Equal(got, want) {
		t.Errorf("%d slurs engraved, %d in the source; first difference: %s", len(got), len(want), firstDifference(got, want))
	}
}

func firstDifference(got, want []string) string {
	for i := range max(len(got), len(want)) {
		g, w := "none", "none"
		if i < len(got) {
			g = got[i]
		}
		if i < len(want) {
			w = want[i]
		}
		if g != w {
			return g + ", wanted " + w
		}
	}
	return ""
}

// sourceSlurs are the slurs of a MusicXML score, each as "measure pitches to measure
// pitches" (measures counted from 1, a chord by all its notes), sorted.
func sourceSlurs(t *testing.T, score []byte) []string {
	var doc struct {
		Parts []struct {
			Measures []struct {
				Notes []struct {
					Chord *struct{} `xml:"chord"`
					Grace *struct{} `xml:"grace"`
					Pitch struct {
						Step   string `xml:"step"`
						Octave int    `xml:"octave"`
					} `xml:"pitch"`
					Slurs []struct {
						Type   string `xml:"type,attr"`
						Number string `xml:"number,attr"`
					} `xml:"notations>slur"`
				} `xml:"note"`
			} `xml:"measure"`
		} `xml:"part"`
	}
	if err := xml.Unmarshal(score, &doc); err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, part := range doc.Parts {
		open := map[string]string{}
		for m, measure := range part.Measures {
			for i, n := range measure.Notes {
				first, last := i, i+1
				for first > 0 && measure.Notes[first].Chord != nil {
					first--
				}
				for last < len(measure.Notes) && measure.Notes[last].Chord != nil {
					last++
				}
				var pitches []string
				for _, c := range measure.Notes[first:last] {
					pitches = append(pitches, fmt.Sprintf("%s%d", c.Pitch.Step, c.Pitch.Octave))
				}
				slices.Sort(pitches)
				here := fmt.Sprintf("%d %s", m+1, strings.Join(pitches, "+"))
				for _, kind := range []string{"stop", "start"} { // one number may end and begin on a note
					for _, s := range n.Slurs {
						switch {
						case s.Type != kind:
						case kind == "start":
							open[s.Number] = here
						case open[s.Number] != "":
							out = append(out, open[s.Number]+" to "+here)
							delete(open, s.Number)
						}
					}
				}
			}
		}
	}
	slices.Sort(out)
	return out
}

// engravedSlurs are the same of the engraver's form of a score.
func engravedSlurs(t *testing.T, mei string) []string {
	places := map[string]string{} // identifier -> measure and pitches
	var ends [][2]string
	measure, chord := 0, ""
	chords := map[string][]string{}
	members := map[string]string{}
	dec := xml.NewDecoder(strings.NewReader(mei))
	for {
		token, err := dec.Token()
		if err != nil {
			break
		}
		switch e := token.(type) {
		case xml.StartElement:
			at := map[string]string{}
			for _, a := range e.Attr {
				at[a.Name.Local] = a.Value
			}
			switch e.Name.Local {
			case "measure":
				measure++
			case "chord":
				chord = at["id"]
				places[chord] = fmt.Sprint(measure)
			case "note":
				pitch := strings.ToUpper(at["pname"]) + at["oct"]
				places[at["id"]] = fmt.Sprintf("%d %s", measure, pitch)
				if chord != "" {
					chords[chord] = append(chords[chord], pitch)
					members[at["id"]] = chord
				}
			case "slur":
				ends = append(ends, [2]string{strings.TrimPrefix(at["startid"], "#"), strings.TrimPrefix(at["endid"], "#")})
			}
		case xml.EndElement:
			if e.Name.Local == "chord" {
				chord = ""
			}
		}
	}
	place := func(id string) string {
		if c := members[id]; c != "" {
			id = c
		}
		if notes := chords[id]; notes != nil {
			slices.Sort(notes)
			return places[id] + " " + strings.Join(notes, "+")
		}
		return places[id]
	}
	var out []string
	for _, e := range ends {
		out = append(out, place(e[0])+" to "+place(e[1]))
	}
	slices.Sort(out)
	return out
}

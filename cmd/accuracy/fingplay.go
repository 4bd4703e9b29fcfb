package main

import (
	"fmt"
	"io"
	"path/filepath"
	"sort"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
)

func init() { register("playability", measurePlayability) }

// measurePlayability studies every violin, viola and cello part of the shared
// scores, lists what is said to be unplayable, and compares with the printed
// fingerings: each hidden by itself (the others obeyed), and all hidden.
func measurePlayability(w io.Writer, data string) error {
	fmt.Fprint(w, "## Fingering: playability and printed fingerings of real scores\n\n")
	fmt.Fprintln(w, "| file | part | instrument | events | unplayable | marks passed over | let go | shifts | printed | agree, one hidden | agree, all hidden |\n|---|---|---|---|---|---|---|---|---|---|---|")
	var notes []string
	var sum, one, all int
	for _, dir := range []string{"bowing/solos", "bowing/etudes", "musicxml/solo", "musicxml/quartets"} {
		files, err := filepath.Glob(filepath.Join(data, dir, "*.*xl"))
		if err != nil {
			return err
		}
		more, _ := filepath.Glob(filepath.Join(data, dir, "*.musicxml"))
		files = append(files, more...)
		sort.Strings(files)
		for _, f := range files {
			sc, err := readScore(f)
			if err != nil {
				return fmt.Errorf("%s: %w", f, err)
			}
			for _, p := range sc.Parts {
				in, _, ok := instrument.Guess(p)
				if !ok {
					notes = append(notes, fmt.Sprintf("%s, part %q: none of the three instruments", filepath.Base(f), p.Name))
					continue
				}
				r := playPart(sc, p, in)
				sum, one, all = sum+r.printed, one+r.one, all+r.all
				fmt.Fprintf(w, "| %s | %s | %v | %d | %d | %d | %d | %d | %d | %d | %d |\n", filepath.Base(f), p.Name, in.Kind, r.events, r.unplayable, r.dropped, r.letGo, r.shifts, r.printed, r.one, r.all)
				for _, n := range r.notes {
					notes = append(notes, filepath.Base(f)+", "+n)
				}
			}
		}
	}
	fmt.Fprintf(w, "| **all** | | | | | | | | %d | %d | %d |\n\n", sum, one, all)
	for _, n := range notes {
		fmt.Fprintln(w, "- "+n)
	}
	fmt.Fprintln(w)
	return nil
}

type playResult struct {
	events, unplayable, dropped, letGo, shifts, printed, one, all int
	notes                                                         []string
}

func playPart(sc *score.Score, p *score.Part, in instrument.Instrument) (r playResult) {
	st := fingering.Analyze(sc, p, fingering.Options{Instrument: in})
	r.events, r.shifts = len(st.Events), len(st.Shifts)
	passed := map[score.NoteID]bool{}
	for _, f := range st.Findings {
		switch f.Kind {
		case "unplayable":
			r.unplayable++
			r.notes = append(r.notes, fmt.Sprintf("%s: %s", f.At, f.Text))
		case "let-go":
			r.letGo++
		case "quick-shift":
		default:
			r.dropped++
			passed[f.Notes[0]] = true
			r.notes = append(r.notes, fmt.Sprintf("%s: %s", f.At, f.Text))
		}
	}
	bare := fingering.Analyze(sc, p, fingering.Options{Instrument: in, HidePrinted: true})
	for i := range p.Notes {
		n := &p.Notes[i]
		want := printedFingers(n)
		if want == "" || passed[n.ID] || !n.Struck() {
			continue
		}
		r.printed++
		if strings.Contains(want, fingerOf(bare, n.ID)) {
			r.all++
		}
		lone := fingering.Analyze(sc, p, fingering.Options{Instrument: in, Hidden: map[score.NoteID]bool{n.ID: true}})
		if strings.Contains(want, fingerOf(lone, n.ID)) {
			r.one++
		}
	}
	return r
}

func printedFingers(n *score.Note) string {
	s := ""
	for _, m := range n.Marks {
		if m.Kind == score.Fingering && len(m.Text) == 1 && m.Text >= "0" && m.Text <= "4" {
			s += m.Text
		}
	}
	return s
}

func fingerOf(st *fingering.Study, id score.NoteID) string {
	for i := range st.Grips {
		for _, s := range st.Grips[i].Stops {
			if s.Note == id && !s.Held && s.Touch == fingering.Natural {
				return "0" // the sign of a natural harmonic
			}
			if s.Note == id && !s.Held {
				return fmt.Sprint(s.Finger)
			}
		}
	}
	return "?"
}

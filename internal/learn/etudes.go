package learn

import (
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/musicxml"
	"pochette/internal/score"
)

// etudeSet names the études among the sets.
const etudeSet = "etudes"

// ReadEtudes reads scores for violin with printed fingerings: where a finger is
// printed it is known, string and position are not.
func ReadEtudes(dir string) ([]*Work, error) {
	files, err := filepath.Glob(filepath.Join(dir, "*.musicxml"))
	if err != nil || len(files) == 0 {
		return nil, fmt.Errorf("no études in %s", dir)
	}
	sort.Strings(files)
	var out []*Work
	for _, f := range files {
		p, err := readEtude(f)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f, err)
		}
		out = append(out, &Work{Name: p.Name, Group: p.Name, Set: etudeSet, Pieces: []*Piece{p}})
	}
	return out, nil
}

func readEtude(path string) (*Piece, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	sc, _, err := musicxml.Read(f, filepath.Base(path))
	if err != nil {
		return nil, err
	}
	if len(sc.Parts) == 0 {
		return nil, fmt.Errorf("no part")
	}
	p := &Piece{Name: strings.TrimSuffix(filepath.Base(path), ".musicxml"), Score: sc}
	for i := range sc.Parts[0].Notes {
		n := &sc.Parts[0].Notes[i]
		fingers := ""
		for _, m := range n.Marks {
			if m.Kind == score.Fingering && len(m.Text) == 1 && m.Text >= "0" && m.Text <= "4" {
				fingers += m.Text
			}
		}
		p.Truth = append(p.Truth, Truth{OK: fingers != "" && n.Struck(), FingerOnly: true, Fingers: fingers})
	}
	return p, nil
}

// Printed counts the printed fingers of a work, all hidden from the search, and
// those that it finds.
func Printed(w *Work, weights *fingering.Weights) (n, found int) {
	for _, p := range w.Pieces {
		st := fingering.Analyze(p.Score, p.Score.Parts[0], fingering.Options{Instrument: instrument.Violin(), Weights: weights, HidePrinted: true})
		for _, t := range p.Truth {
			if t.OK {
				n++
			}
		}
		for i := range st.Grips {
			for k := range st.Grips[i].Stops {
				s := &st.Grips[i].Stops[k]
				if t := &p.Truth[s.Note]; t.OK && !s.Held && t.Agrees(s) {
					found++
				}
			}
		}
	}
	return n, found
}

// ReadAll reads all that the weights are learned from, under the folder of the
// shared data. A set whose folder is absent is left out; there must be one.
func ReadAll(data string) ([]*Work, error) {
	var out []*Work
	read := func(dir string, f func(string) ([]*Work, error)) error {
		if _, err := os.Stat(dir); os.IsNotExist(err) {
			return nil
		}
		w, err := f(dir)
		out = append(out, w...)
		return err
	}
	for _, set := range Sets {
		if err := read(filepath.Join(data, "fingering", set), ReadSet); err != nil {
			return nil, err
		}
	}
	if err := read(filepath.Join(data, "bowing", "etudes"), ReadEtudes); err != nil {
		return nil, err
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no fingered pieces under %s: want fingering/ytvf, fingering/tnua or bowing/etudes", data)
	}
	return out, nil
}

// Sets are the folders of fingered pieces.
var Sets = []string{"ytvf", "tnua"}

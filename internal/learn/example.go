package learn

import (
	"fmt"
	"path/filepath"
	"sort"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Work is a score with the fingerings of one or more players.
type Work struct {
	Name, Group, Set string
	Pieces           []*Piece
}

// ReadSet reads the fingered pieces of a folder; files named vioN_NAME.csv are
// players of one excerpt, and excerpts NAME1, NAME2_1 … of one group.
func ReadSet(dir string) ([]*Work, error) {
	files, err := filepath.Glob(filepath.Join(dir, "*.csv"))
	if err != nil || len(files) == 0 {
		return nil, fmt.Errorf("no fingered pieces in %s", dir)
	}
	sort.Strings(files)
	byName := map[string]*Work{}
	var out []*Work
	for _, f := range files {
		name := strings.TrimSuffix(filepath.Base(f), ".csv")
		group := name
		if player, rest, ok := strings.Cut(name, "_"); ok && strings.HasPrefix(player, "vio") {
			name = rest
			group = strings.TrimRight(rest, "_0123456789")
		}
		p, err := Read(f)
		if err != nil {
			return nil, err
		}
		w := byName[name]
		if w == nil {
			w = &Work{Name: name, Group: group, Set: filepath.Base(dir)}
			byName[name] = w
			out = append(out, w)
		}
		w.Pieces = append(w.Pieces, p)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Name < out[j].Name })
	return out, nil
}

// Examples lays works out: one example for all players whose text is the same.
func Examples(works []*Work) []*Example {
	var out []*Example
	for _, w := range works {
		same := map[string][]*Piece{}
		var order []string
		for _, p := range w.Pieces {
			k := textOf(p)
			if same[k] == nil {
				order = append(order, k)
			}
			same[k] = append(same[k], p)
		}
		for _, k := range order {
			ex := newExample(same[k])
			ex.Name, ex.Group = w.Name, w.Group
			ex.weight = float64(len(same[k])) / float64(len(w.Pieces))
			out = append(out, ex)
		}
	}
	return out
}

func textOf(p *Piece) string {
	var b strings.Builder
	for i := range p.Score.Parts[0].Notes {
		n := &p.Score.Parts[0].Notes[i]
		fmt.Fprint(&b, n.Onset, n.Dur, n.Sounding.MIDI(), n.Rest, ";")
	}
	return b.String()
}

func newExample(pieces []*Piece) *Example {
	sc := pieces[0].Score
	ex := &Example{pr: fingering.NewProblem(sc, sc.Parts[0], fingering.Options{Instrument: instrument.Violin(), HidePrinted: true}), weight: 1}
	ex.miss = make([][]float32, ex.pr.Layers())
	for range pieces {
		ex.golds = append(ex.golds, make([][]int32, ex.pr.Layers()))
	}
	for i := range ex.miss {
		ex.label(i, pieces)
	}
	return ex
}

// label compares the states of a layer with what the players did.
func (ex *Example) label(i int, pieces []*Piece) {
	states := make([][]fingering.Stop, ex.pr.States(i))
	for s := range states {
		states[s] = ex.pr.Stops(i, s)
	}
	for g, p := range pieces {
		known := 0
		for _, id := range ex.pr.Struck(i) {
			if p.Truth[id].OK {
				known++
			}
		}
		if known == 0 {
			continue
		}
		ex.Labels += known
		if ex.miss[i] == nil {
			ex.miss[i] = make([]float32, len(states))
		}
		least := len(states) * 8
		wrong := make([]int, len(states))
		for s := range states {
			wrong[s] = wrongNotes(states[s], ex.pr.Struck(i), p.Truth)
			least = min(least, wrong[s])
			ex.miss[i][s] += float32(wrong[s]) / float32(len(pieces))
		}
		ex.Beyond += least
		if least == known {
			continue // nothing of what the player did can be had: not learned from
		}
		for s := range states {
			if wrong[s] == least {
				ex.golds[g][i] = append(ex.golds[g][i], int32(s))
			}
		}
	}
}

// wrongNotes counts the struck notes with a known fingering that the stops take
// otherwise.
func wrongNotes(stops []fingering.Stop, struck []score.NoteID, truth []Truth) int {
	wrong := 0
	for _, id := range struck {
		t := truth[id]
		if !t.OK {
			continue
		}
		ok := false
		for k := range stops {
			ok = ok || stops[k].Note == id && !stops[k].Held && t.Agrees(&stops[k])
		}
		if !ok {
			wrong++
		}
	}
	return wrong
}

// Agrees: string, position and finger are the player's (the position of an open
// string is not compared, no finger is down), or, where the finger alone is
// known, the finger is one of those printed.
func (t *Truth) Agrees(s *fingering.Stop) bool {
	if t.FingerOnly {
		f := fmt.Sprint(s.Finger)
		if s.Touch == fingering.Natural {
			f = "0"
		}
		return strings.Contains(t.Fingers, f)
	}
	return s.String == t.String && int(s.Finger) == t.Finger && (samePosition(t.Position, s.Position) || s.Finger == 0)
}

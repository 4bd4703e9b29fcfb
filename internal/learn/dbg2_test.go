package learn

import (
	"fmt"
	"os"
	"pochette/internal/fingering"
	"testing"
)

func TestShow(t *testing.T) {
	want := os.Getenv("PIECE")
	if want == "" {
		t.Skip("no piece")
	}
	wt := fingering.UnlearnedWeights()
	if f := os.Getenv("W"); f != "" {
		b, _ := os.ReadFile(f)
		var err error
		wt, err = fingering.ParseWeights(string(b))
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range []string{"ytvf", "tnua"} {
		ws, _ := ReadSet("/work/shared/data/fingering/" + s)
		for _, w := range ws {
			if w.Name != want {
				continue
			}
			p := w.Pieces[0]
			same := []*Piece{}
			for _, q := range w.Pieces {
				if textOf(q) == textOf(p) {
					same = append(same, q)
				}
			}
			st := fingering.Analyze(p.Score, p.Score.Parts[0], fingering.Options{HidePrinted: true, Weights: wt})
			from, to := 0, 120
			fmt.Sscan(os.Getenv("FROM"), &from, &to)
			for i := from; i < min(to, len(st.Events)); i++ {
				g := st.Grips[i]
				e := st.Events[i]
				if e.Rest {
					fmt.Printf("      rest %v\n", float64(e.Dur)/960)
					continue
				}
				for _, sp := range g.Stops {
					n := p.Score.Parts[0].Notes[sp.Note]
					m := map[string]int{}
					for _, q := range same {
						t := q.Truth[sp.Note]
						m[fmt.Sprintf("%d-%d(p%d)", t.String, t.Finger, t.Position)]++
					}
					best := ""
					for k, v := range m {
						if best == "" || v > m[best] || v == m[best] && k < best {
							best = k
						}
					}
					our := fmt.Sprintf("%d-%d(p%d)", sp.String, sp.Finger, sp.Position)
					mk := ""
					if our != best {
						mk = "  <<<"
					}
					fmt.Printf("m%-3d %5.2f %-4s ours %s  theirs %s (%d/%d of %d kinds)%s\n", e.Measure, float64(e.Onset-p.Score.Parts[0].Measures[e.Measure].Start)/960, n.Sounding, our, best, m[best], len(same), len(m), mk)
				}
			}
		}
	}
}

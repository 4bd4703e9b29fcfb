package learn

import (
	"fmt"
	"os"
	"pochette/internal/fingering"
	"sort"
	"testing"
)

func TestConf(t *testing.T) {
	wt := fingering.UnlearnedWeights()
	if f := os.Getenv("W"); f != "" {
		b, _ := os.ReadFile(f)
		wt, _ = fingering.ParseWeights(string(b))
	} else {
		t.Skip("")
	}
	for _, s := range []string{"ytvf", "tnua"} {
		ws, _ := ReadSet("/work/shared/data/fingering/" + s)
		c := map[string]float64{}
		runs := map[int]int{}
		tot := 0.0
		spell := 0.0
		half := 0.0
		for _, w := range ws {
			plans := map[string]*fingering.Study{}
			for _, p := range w.Pieces {
				k := textOf(p)
				if plans[k] == nil {
					plans[k] = fingering.Analyze(p.Score, p.Score.Parts[0], fingering.Options{HidePrinted: true, Weights: wt})
				}
				st := plans[k]
				run := 0
				for i := range st.Grips {
					for _, sp := range st.Grips[i].Stops {
						tr := p.Truth[sp.Note]
						if !tr.OK {
							continue
						}
						tot++
						if tr.Agrees(&sp) {
							if run > 0 {
								runs[min(run, 30)] += run
							}
							run = 0
							continue
						}
						run++
						if sp.String == tr.String && int(sp.Finger) == tr.Finger {
							spell++
							if sp.Position == 0 && tr.Position == 1 {
								half++
							}
							continue
						}
						c[fmt.Sprintf("ours %d-p%d theirs %d-p%d", sp.String, sp.Position, tr.String, tr.Position)]++
					}
				}
			}
		}
		type kv struct {
			k string
			v float64
		}
		var l []kv
		for k, v := range c {
			l = append(l, kv{k, 100 * v / tot})
		}
		sort.Slice(l, func(i, j int) bool { return l[i].v > l[j].v })
		fmt.Println(s, "position only", 100*spell/tot, "of which half", 100*half/tot)
		for i := 0; i < 40; i++ {
			fmt.Printf("%s %.2f\n", l[i].k, l[i].v)
		}
		var ks []int
		for k := range runs {
			ks = append(ks, k)
		}
		sort.Ints(ks)
		for _, k := range ks {
			fmt.Printf("run%d:%.1f%% ", k, 100*float64(runs[k])/tot)
		}
		fmt.Println()
	}
}

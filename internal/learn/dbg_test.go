package learn

import (
	"fmt"
	"pochette/internal/fingering"
	"sort"
	"testing"
)

func TestDbg(t *testing.T) {
	for _, s := range []string{"ytvf", "tnua"} {
		ws, _ := ReadSet("/work/shared/data/fingering/" + s)
		cnt := map[string]int{}
		tot := 0
		for _, w := range ws {
			for _, p := range w.Pieces {
				pr := fingering.NewProblem(p.Score, p.Score.Parts[0], fingering.Options{HidePrinted: true})
				for i := 0; i < pr.Layers(); i++ {
					for _, id := range pr.Struck(i) {
						tr := p.Truth[id]
						if !tr.OK {
							continue
						}
						sf, all := false, false
						ps := map[int]bool{}
						for k := 0; k < pr.States(i); k++ {
							for _, st := range pr.Stops(i, k) {
								if st.Note == id && st.String == tr.String && int(st.Finger) == tr.Finger {
									sf = true
									ps[st.Position] = true
									if tr.Agrees(&st) {
										all = true
									}
								}
							}
						}
						if all {
							continue
						}
						tot++
						n := &p.Score.Parts[0].Notes[id]
						semi := n.Sounding.MIDI() - ViolinOpen[4-tr.String]
						var l []int
						for q := range ps {
							l = append(l, q)
						}
						sort.Ints(l)
						ch := len(pr.Struck(i)) > 1
						cnt[fmt.Sprintf("sf=%v chord=%v harm=%v f%d semi%d pos%d ours%v", sf, ch, len(n.Marks) > 0, tr.Finger, semi, tr.Position, l)]++
					}
				}
			}
		}
		type kv struct {
			k string
			v int
		}
		var l []kv
		for k, v := range cnt {
			l = append(l, kv{k, v})
		}
		sort.Slice(l, func(i, j int) bool { return l[i].v > l[j].v })
		fmt.Println(s, tot)
		for i := 0; i < len(l) && i < 40; i++ {
			fmt.Println(l[i])
		}
	}
}

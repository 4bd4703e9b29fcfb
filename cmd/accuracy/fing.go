package main

import (
	"fmt"
	"io"
	"path/filepath"
	"sort"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/score"
)

func init() { register("fingers", measureFingers) }

// agreement counts notes on which string, position, finger and all three agree.
type agreement struct{ n, str, pos, fin, all int }

func (a *agreement) add(b agreement) {
	a.n, a.str, a.pos, a.fin, a.all = a.n+b.n, a.str+b.str, a.pos+b.pos, a.fin+b.fin, a.all+b.all
}

func (a *agreement) note(t fingTruth, str, pos, fin int) {
	if !t.ok {
		return
	}
	a.n++
	s, p, f := str == t.str, pos == t.pos || t.finger == 0 && fin == 0, fin == t.finger
	for _, c := range []struct {
		ok bool
		n  *int
	}{{s, &a.str}, {p, &a.pos}, {f, &a.fin}, {s && p && f, &a.all}} {
		if c.ok {
			*c.n++
		}
	}
}

func (a agreement) row() string {
	pc := func(k int) float64 { return 100 * float64(k) / float64(max(1, a.n)) }
	return fmt.Sprintf("%.1f | %.1f | %.1f | %.1f", pc(a.str), pc(a.pos), pc(a.fin), pc(a.all))
}

// measureFingers prints the agreement with the two sets of fingered violin
// pieces. The split is by piece in sorted order: pieces of odd index (from 0)
// could be looked at when the weights were set, those of even index are the
// report. The position of an open string is not compared: no finger is down.
func measureFingers(w io.Writer, data string) error {
	for _, set := range []struct{ dir, title string }{
		{"ytvf", "20 fingered pieces (YTVF; by piece)"},
		{"tnua", "8 excerpts by 10 professionals (TNUA; by excerpt, all players)"},
	} {
		if err := measureSet(w, filepath.Join(data, "fingering", set.dir), set.title); err != nil {
			return err
		}
	}
	return nil
}

func measureSet(w io.Writer, dir, title string) error {
	files, err := filepath.Glob(filepath.Join(dir, "*.csv"))
	if err != nil || len(files) == 0 {
		return fmt.Errorf("no files in %s", dir)
	}
	groups := map[string][]string{}
	for _, f := range files {
		name := strings.TrimSuffix(filepath.Base(f), ".csv")
		if player, rest, ok := strings.Cut(name, "_"); ok && strings.HasPrefix(player, "vio") {
			name = rest
		}
		groups[name] = append(groups[name], f)
	}
	var names []string
	for n := range groups {
		names = append(names, n)
	}
	sort.Strings(names)
	fmt.Fprintf(w, "### Fingering: %s\n\nAgreement in %% of notes: string, position, finger, all three.\n\n", title)
	fmt.Fprintln(w, "| piece | use | notes | string | position | finger | all | baseline: string | position | finger | all |\n|---|---|---|---|---|---|---|---|---|---|---|")
	var sum, base [2]agreement
	for i, n := range names {
		var a, b agreement
		for _, f := range groups[n] {
			fp, err := readFingering(f)
			if err != nil {
				return err
			}
			st := fingering.Analyze(fp.sc, fp.sc.Parts[0], fingering.Options{})
			a.add(agreeWith(fp, st))
			b.add(baseline(fp))
		}
		use := [2]string{"report", "tune"}[i%2]
		sum[i%2].add(a)
		base[i%2].add(b)
		fmt.Fprintf(w, "| %s | %s | %d | %s | %s |\n", n, use, a.n, a.row(), b.row())
	}
	for i, use := range [2]string{"report", "tune"} {
		fmt.Fprintf(w, "| **all** | %s | %d | %s | %s |\n", use, sum[i].n, sum[i].row(), base[i].row())
	}
	fmt.Fprintln(w)
	return nil
}

func agreeWith(fp *fingPiece, st *fingering.Study) (a agreement) {
	got := map[score.NoteID]fingering.Stop{}
	for i := range st.Grips {
		for _, s := range st.Grips[i].Stops {
			if !s.Held {
				got[s.Note] = s
			}
		}
	}
	for id, t := range fp.truth {
		s, ok := got[score.NoteID(id)]
		if !ok {
			a.note(t, -1, -1, -1)
			continue
		}
		a.note(t, s.String, s.Position, int(s.Finger))
	}
	return a
}

// baseline takes every note as low as it goes: the highest string that has it,
// in first position, beyond it with the fourth finger in the lowest position.
func baseline(fp *fingPiece) (a agreement) {
	for id, t := range fp.truth {
		n := &fp.sc.Parts[0].Notes[id]
		for str := 1; str <= 4; str++ {
			open := violinOpen[4-str]
			semi := n.Sounding.MIDI() - open
			if semi < 0 {
				continue
			}
			steps := n.Sounding.Diatonic() - []int{37, 33, 29, 25}[str-1]
			switch {
			case semi == 0:
				a.note(t, str, 1, 0)
			case semi <= 7:
				a.note(t, str, 1, min(4, max(1, steps)))
			default:
				a.note(t, str, steps-3, 4)
			}
			break
		}
	}
	return a
}

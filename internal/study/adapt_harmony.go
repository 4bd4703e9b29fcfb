package study

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"strings"

	"pochette/internal/form"
	"pochette/internal/harmony"
	"pochette/internal/score"
)

// readHarmony takes keys, chords and sentences as package harmony tells them, and
// gives the cadences for the form.
func (rd *Reading) readHarmony() []form.Cadence {
	st := harmony.Analyze(rd.Part, rd.Score.Quarter)
	rd.harmonyFacts(st)
	if len(st.Chords) == 0 {
		return nil
	}
	rd.Home = st.Home.String()
	level := map[Level]harmony.Level{Student: harmony.Student, Player: harmony.Player, Scholar: harmony.Scholar}[rd.Level]
	reached := map[score.Tick]bool{} // where a cadence comes to its goal
	for _, c := range st.Cadences {
		reached[c.At] = c.Type != harmony.Evaded && c.Type != harmony.Deceptive
	}
	texts := map[score.Loc]string{} // of key spans, by place
	for _, f := range st.Findings(level) {
		switch f.Kind {
		case "home-key":
			continue // the summary says it
		case "local-key":
			texts[f.At] = strings.TrimSpace(f.Text + " " + rd.said(f).Why)
			continue
		}
		s := rd.said(f)
		s.Arrival = f.Kind == "cadence" && reached[s.At]
		rd.Harmony = append(rd.Harmony, s)
	}
	slices.SortStableFunc(rd.Harmony, func(a, b Said) int { return cmp.Compare(a.At, b.At) })
	for i := range st.Keys {
		rd.keySpan(&st.Keys[i], texts)
	}
	for i := range st.Chords {
		if !st.Chords[i].Silent {
			rd.Chords = append(rd.Chords, rd.chord(&st.Chords[i]))
		}
	}
	var out []form.Cadence
	for _, c := range st.Cadences {
		out = append(out, form.Cadence{At: c.At, Kind: cadenceKind(c.Type), Strength: c.Strength})
	}
	return out
}

func (rd *Reading) keySpan(k *harmony.KeySpan, texts map[score.Loc]string) {
	span := KeySpan{Key: k.Key.String(), From: rd.loc(k.From), To: rd.lastStruck(k.From, k.To)}
	if k.Key != k.Home {
		span.Numeral = k.Key.RomanIn(k.Home)
	}
	if span.Text = texts[span.From]; span.Text == "" {
		span.Text = fmt.Sprintf("The music is in %s.", span.Key)
	}
	rd.Keys = append(rd.Keys, span)
}

// lastStruck is the place of the last note struck in [from, to), which may lie some
// silent measures before the end.
func (rd *Reading) lastStruck(from, to score.Tick) score.Loc {
	notes := rd.Part.Notes
	for i := sort.Search(len(notes), func(i int) bool { return notes[i].Onset >= to }) - 1; i >= 0 && notes[i].Onset >= from; i-- {
		if notes[i].Struck() && !notes[i].Grace {
			return rd.loc(notes[i].Onset)
		}
	}
	return rd.before(to - 1)
}

func (rd *Reading) chord(c *harmony.ChordSpan) Chord {
	out := Chord{At: rd.loc(c.From), Start: c.From, Len: c.To - c.From, Key: c.Key.String(), Numeral: c.Label(), Name: c.Chord.Name(),
		Bass: c.BassTone.String(), Figures: c.Figures, Tension: c.Tension}
	if c.Guessed {
		out.Bass = ""
	}
	if c.Second.Roman != "" {
		out.Second = fmt.Sprintf("%s in %s (%s)", c.Second.Label(), c.Second.Key, c.Second.Chord.Name())
		out.Lead = c.Gap
	}
	return out
}

// cadenceKind is what form calls a cadence.
func cadenceKind(t harmony.CadenceType) string { return strings.TrimSuffix(t.String(), " cadence") }

// alone says what a reading of one part of several cannot know, "" for a solo.
func (rd *Reading) alone() string {
	if !rd.hasOthers() {
		return ""
	}
	return "Read from this part alone; the others may change the chords."
}

// hasOthers says that more parts than this one sound.
func (rd *Reading) hasOthers() bool {
	for i, p := range rd.Score.Parts {
		if i != rd.PartIndex && slices.ContainsFunc(p.Notes, struckNote) {
			return true
		}
	}
	return false
}

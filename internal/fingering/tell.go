package fingering

import (
	"fmt"
	"strings"

	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// sentence has a capital at its head and a stop at its end.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// list joins names as one says them: "G3, A3 and B3".
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

func (pr *Problem) names(ids []score.NoteID) string {
	out := make([]string, len(ids))
	for i, id := range ids {
		out[i] = pr.p.Notes[id].Sounding.String()
	}
	return list(out)
}

// octaves counts those by which a pitch of key must move to lie between low and
// high; 0 where none helps.
func octaves(key, low, high int) int {
	n := 0
	for ; key < low; key += 12 {
		n++
	}
	for ; key > high; key -= 12 {
		n++
	}
	if key < low || key > high {
		return 0
	}
	return n
}

func octaveText(n int) string {
	if n == 1 {
		return "an octave"
	}
	return fmt.Sprintf("%d octaves", n)
}

// tunedDown is how far, in semitones, a string is ever tuned down. Common practice,
// no source.
const tunedDown = 5

// beyond tells of a note that lies outside the range of the instrument.
func (pr *Problem) beyond(l *layer, id score.NoteID, key int) {
	in := &pr.o.Instrument
	low, high := in.Range()
	name := pr.p.Notes[id].Sounding.String()
	n := octaves(key, low, high)
	l.lost = append(l.lost, id)
	if key < low {
		open := in.Open[in.Strings()-1]
		var ways []string
		if n > 0 {
			ways = append(ways, fmt.Sprintf("play it %s higher", octaveText(n)))
		}
		ways = append(ways, "give it to another part")
		if low-key <= tunedDown {
			ways = append(ways, fmt.Sprintf("tune %s down to it (--tuning)", in.StringName(in.Strings())))
		}
		advice := strings.Join(ways[:len(ways)-1], ", ") + " or " + ways[len(ways)-1]
		if len(ways) == 1 {
			advice = ways[0]
		}
		l.say(fmt.Sprintf("%s lies below the open %s string (%v), the lowest", name, open.Name(), open), advice)
		return
	}
	advice := "give it to another part"
	if n > 0 {
		advice = fmt.Sprintf("play it %s lower or give it to another part", octaveText(n))
	}
	l.say(fmt.Sprintf("%s lies above the end of the fingerboard", name), advice)
}

// say adds a reason why notes are left out, and what helps.
func (l *layer) say(why, advice string) {
	for _, s := range []struct {
		to   *string
		text string
	}{{&l.why, why}, {&l.advice, advice}} {
		switch {
		case *s.to == "":
			*s.to = s.text
		case !strings.Contains(*s.to, s.text):
			*s.to += "; " + s.text
		}
	}
}

// namedLeftOut is how many notes that are left out are named one by one.
const namedLeftOut = 8

// unplayable tells which notes of an event are left out, why, and what is kept.
func (pr *Problem) unplayable(st *Study, l *layer, g *Grip) {
	e := &pr.Events[l.event]
	at := timeline.AtNote(pr.p, e.Struck[0])
	f := score.Finding{Kind: "unplayable", Grade: score.Trouble, At: at, To: at, Notes: e.Struck, Text: sentence(l.why), Suggestion: sentence(l.advice)}
	var kept []score.NoteID
	for _, s := range g.Stops {
		if !s.Held {
			kept = append(kept, s.Note)
		}
	}
	verb := func(ids []score.NoteID) string {
		if len(ids) == 1 {
			return "is"
		}
		return "are"
	}
	switch {
	case len(kept) == 0 && len(g.LeftOut) == 1:
		f.Why = fmt.Sprintf("The plan leaves %s out.", pr.names(g.LeftOut))
	case len(kept) == 0:
		f.Why = fmt.Sprintf("The plan leaves all %d notes out.", len(g.LeftOut))
	case len(g.LeftOut) > namedLeftOut:
		f.Why = fmt.Sprintf("%d of %d notes are left out; %s %s kept.", len(g.LeftOut), len(e.Struck), pr.names(kept), verb(kept))
	default:
		f.Why = fmt.Sprintf("%d of %d notes %s left out: %s; %s %s kept.", len(g.LeftOut), len(e.Struck), verb(g.LeftOut), pr.names(g.LeftOut), pr.names(kept), verb(kept))
	}
	if l.advice == "" && len(g.LeftOut) > 0 {
		f.Suggestion = fmt.Sprintf("Strike %s apart from the others, or leave out other notes than these.", pr.names(g.LeftOut))
	}
	if len(g.LeftOut) > namedLeftOut { // in short: nobody reads a list of them
		f.Text = fmt.Sprintf("%d notes are struck together on %d strings.", len(e.Struck), pr.o.Instrument.Strings())
		f.Suggestion = "Strike the others apart from these, or leave out other notes."
	}
	st.Findings = append(st.Findings, f)
}

// letGo tells that a held note is given up, and what for.
func (pr *Problem) letGo(st *Study, path []int, k int, id score.NoteID) {
	l := &pr.layers[k]
	at := timeline.AtNote(pr.p, pr.Events[l.event].Struck[0])
	share := 0.0
	b := &l.states[path[k]]
	for i, g := range b.gone {
		if g == id {
			share = b.rest[i]
		}
	}
	st.Findings = append(st.Findings, score.Finding{Kind: "let-go", Grade: score.Remark, At: at, To: at, Notes: []score.NoteID{id}, Weight: share,
		Text: fmt.Sprintf("The held %v is let go here, with %.0f %% of its length to come.", pr.p.Notes[id].Sounding, 100*share),
		Why:  sentence(pr.whyLetGo(&pr.layers[k-1].states[path[k-1]], b, id))})
}

// whyLetGo finds what stands against holding a note of grip a in grip b: its
// string, its finger, the hand, the bow, or the reach.
func (pr *Problem) whyLetGo(a, b *state, id score.NoteID) string {
	in := &pr.o.Instrument
	var c cell
	for i := range a.cells {
		if a.cells[i].note == id {
			c = a.cells[i]
		}
	}
	for i := range b.cells {
		if d := &b.cells[i]; d.str == c.str {
			return fmt.Sprintf("%s is needed for %v", in.StringName(int(c.str)), pr.p.Notes[d.note].Sounding)
		}
	}
	for i := range b.cells {
		d := &b.cells[i]
		if c.finger > 0 && d.finger == c.finger && (d.semi != c.semi || abs8(d.str-c.str) != 1) {
			return fmt.Sprintf("the %s is needed for %v on %s", fingerName(c.finger), pr.p.Notes[d.note].Sounding, in.StringName(int(d.str)))
		}
	}
	strs := []int{int(c.str)}
	for i := range b.cells {
		strs = append(strs, int(b.cells[i].str))
	}
	if instrument.Bow(strs) == instrument.Apart {
		return fmt.Sprintf("the bow cannot hold %s together with %s", in.StringName(int(c.str)), stringsOf(in, b))
	}
	if c.finger > 0 && a.hand != b.hand {
		return fmt.Sprintf("the hand leaves its place: %v lies %s", pr.struckOf(b), where(b))
	}
	return fmt.Sprintf("with the %s on it the other fingers do not reach %v as they lie here", fingerName(c.finger), pr.struckOf(b))
}

func stringsOf(in *instrument.Instrument, s *state) string {
	var out []string
	for i := range s.cells {
		out = append(out, in.StringName(int(s.cells[i].str)))
	}
	return list(out)
}

// struckOf names what a grip strikes.
func (pr *Problem) struckOf(s *state) string {
	var ids []score.NoteID
	for i := range s.cells {
		if !s.cells[i].held {
			ids = append(ids, s.cells[i].note)
		}
	}
	return pr.names(ids)
}

// where names the position of a grip.
func where(s *state) string {
	for i := range s.cells {
		if c := &s.cells[i]; c.finger > 0 && !c.held {
			return "in " + instrument.PositionName(int(c.pos))
		}
	}
	return "under the hand as it moves on"
}

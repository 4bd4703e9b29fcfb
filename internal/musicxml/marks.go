package musicxml

import (
	"strconv"
	"strings"

	"pochette/internal/score"
)

// notations reads one <notations>. Ties, slurs and tuplets become what they
// are in the score, everything else a mark under its element's name, with the
// text it holds or, where the element has none, the attribute that tells its
// kinds apart:
//
//	harmonic       "natural", "artificial" or ""; then marks base-pitch,
//	               touching-pitch or sounding-pitch: which one is written
//	tremolo        number of beams, after "start " or "stop " or "unmeasured "
//	               where it is not a single one: "3", "start 2"
//	glissando, slide, wavy-line, hammer-on, pull-off
//	               kind-start and kind-stop
//	fermata        its shape, "" for the usual one
//	strong-accent  "down" if it points down
//	arpeggiate     "up" or "down" if it has an arrow
//	let-ring       a <tied type="let-ring">
//	dynamics       one mark for each sign
func (ps *partState) notations(e elem, n *score.Note, r *rawNote) {
	for c := range e.children {
		switch c.name() {
		case "tied":
			switch c.get("type") {
			case "start":
				r.tieStart = true
			case "stop":
				r.tieStop = true
			case "continue":
				r.tieStart, r.tieStop = true, true
			case "let-ring":
				n.Marks = append(n.Marks, mark(c, "let-ring", ""))
			}
		case "slur":
			ps.slur(c, n.ID)
		case "tuplet":
			if t := c.get("type"); t == "start" || t == "stop" {
				n.Tuplets = append(n.Tuplets, score.Tuplet{Number: staffAttr(c, "number", 1), Start: t == "start"})
			}
		case "technical", "articulations", "ornaments":
			for m := range c.children {
				n.Marks = append(n.Marks, marksOf(m)...)
			}
		case "dynamics":
			for m := range c.children {
				text := m.name()
				if text == "other-dynamics" {
					text = m.text()
				}
				n.Marks = append(n.Marks, mark(c, score.NoteDynamics, text))
			}
		case "footnote", "level":
		default:
			n.Marks = append(n.Marks, marksOf(c)...)
		}
	}
}

func mark(e elem, kind score.MarkKind, text string) score.Mark {
	return score.Mark{Kind: kind, Text: text, Below: e.get("placement") == "below"}
}

// marksOf turns one element into one mark, a harmonic possibly into two.
func marksOf(e elem) []score.Mark {
	kind := score.MarkKind(e.name())
	switch kind {
	case score.Fingering:
		m := mark(e, kind, e.text())
		m.Substitution, m.Alternate = e.get("substitution") == "yes", e.get("alternate") == "yes"
		return []score.Mark{m}
	case score.Harmonic:
		text := ""
		for _, t := range []string{"natural", "artificial"} {
			if e.has(t) {
				text = t
			}
		}
		out := []score.Mark{mark(e, kind, text)}
		for _, t := range []string{"base-pitch", "touching-pitch", "sounding-pitch"} {
			if e.has(t) {
				out = append(out, mark(e, score.MarkKind(t), ""))
			}
		}
		return out
	case score.Tremolo:
		text := e.text()
		if t := e.get("type"); t != "" && t != "single" {
			text = strings.TrimSpace(t + " " + text)
		}
		return []score.Mark{mark(e, kind, text)}
	case "glissando", "slide", "wavy-line", "hammer-on", "pull-off":
		t := e.get("type")
		if t == "" {
			t = "start"
		}
		return []score.Mark{mark(e, kind+"-"+score.MarkKind(t), "")}
	case score.Fermata:
		text := e.text()
		if text == "normal" {
			text = ""
		}
		m := mark(e, kind, text)
		m.Below = m.Below || e.get("type") == "inverted"
		return []score.Mark{m}
	case score.StrongAccent:
		text := e.get("type")
		if text == "up" {
			text = ""
		}
		return []score.Mark{mark(e, kind, text)}
	case score.Arpeggiate:
		return []score.Mark{mark(e, kind, e.get("direction"))}
	}
	return []score.Mark{mark(e, kind, e.text())}
}

// slurEvent is one end of a slur, in file order.
type slurEvent struct {
	number    int
	start     bool
	note      score.NoteID // raw
	placement string
	span      score.Span
}

func (ps *partState) slur(e elem, raw score.NoteID) {
	t := e.get("type")
	if t != "start" && t != "stop" {
		return // continue: only the shape across a system break
	}
	number, err := strconv.Atoi(e.get("number"))
	if err != nil {
		number = 1
	}
	sp := e.span()
	placement := e.get("placement")
	if placement == "" {
		placement = map[string]string{"over": "above", "under": "below"}[e.get("orientation")]
	}
	ps.slurs = append(ps.slurs, slurEvent{number: number, start: t == "start", note: raw, placement: placement,
		span: score.Span{Start: int64(sp.start), End: int64(sp.end)}})
}

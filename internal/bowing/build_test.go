package bowing

import (
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

const quarter = 48

// build makes a one-voice part of text, for example
//
//	build(t, 3, 4, "c4 | (d8 e8) f4/D g4> | a2. :|")
//
// A note is a step or r, its denominator, dots; then /D /U (printed bow), >
// accent, ! staccato, ^ fermata, * breath, p pizzicato, ~ tie to the next, =n a
// chord of n notes, ' before it a grace note; ( ) slurs. Bars: | |: :| |] [1 [2.
func build(t testing.TB, num, den int, text string) (*score.Score, *score.Part) {
	t.Helper()
	return buildRapid(t, num, den, text)
}

type failer interface {
	Fatalf(format string, args ...any)
}

func buildRapid(t failer, num, den int, text string) (*score.Score, *score.Part) {
	b := builder{t: t, p: &score.Part{ID: "P1", Name: "Violin", Staves: 1}, tie: score.NoNote}
	full := score.Tick(num * 4 * quarter / den)
	b.meter = score.Meter{Num: num, Den: den, Len: full, Groups: []score.Tick{full}}
	b.open()
	for _, tok := range strings.Fields(text) {
		b.token(tok)
	}
	b.close()
	if n := len(b.p.Measures); n > 1 && b.p.Measures[n-1].Len == 0 {
		b.p.Measures = b.p.Measures[:n-1]
	}
	for i := range b.p.Measures {
		m := &b.p.Measures[i]
		m.Index, m.Number = i, string(rune('1'+i%9))
		m.Implicit = m.Len < full && i == 0
	}
	return &score.Score{Quarter: quarter, Parts: []*score.Part{b.p}}, b.p
}

type builder struct {
	t     failer
	p     *score.Part
	meter score.Meter
	at    score.Tick
	slurs []score.NoteID
	tie   score.NoteID
	end   []int
}

func (b *builder) open() {
	b.p.Measures = append(b.p.Measures, score.Measure{Start: b.at, Meter: b.meter, Endings: b.end})
}

func (b *builder) measure() *score.Measure { return &b.p.Measures[len(b.p.Measures)-1] }

func (b *builder) close() { m := b.measure(); m.Len = b.at - m.Start }

func (b *builder) token(tok string) {
	switch tok {
	case "|", ":|", "|]", "|:":
		if tok == ":|" {
			b.measure().RepeatTimes = 2
			b.measure().EndingStop = len(b.end) > 0
		}
		switch tok {
		case "|]":
			b.measure().RightBar = "light-heavy"
		case "|": // at the end of an excerpt too: the music goes on
			b.measure().RightBar = "regular"
		}
		if tok == "|:" && b.at == b.measure().Start {
			b.measure().RepeatStart = true
			return
		}
		b.close()
		if tok == ":|" {
			b.end = nil
		}
		b.open()
		b.measure().RepeatStart = tok == "|:"
	case "[1", "[2":
		b.end = []int{int(tok[1] - '0')}
		b.measure().Endings, b.measure().EndingStart = b.end, true
	default:
		b.note(tok)
	}
}

func (b *builder) note(tok string) {
	n := score.Note{ID: score.NoteID(len(b.p.Notes)), Measure: len(b.p.Measures) - 1, Onset: b.at, Voice: "1", Staff: 1, TieFrom: score.NoNote, TieTo: score.NoNote}
	n.Head = n.ID
	opens := strings.Count(tok, "(")
	closes := strings.Count(tok, ")")
	tok = strings.NewReplacer("(", "", ")", "").Replace(tok)
	if strings.HasPrefix(tok, "'") {
		n.Grace, tok = true, tok[1:]
	}
	if tok[0] == 'r' {
		n.Rest = true
	} else {
		n.Written = pitch.Pitch{Step: pitch.Step(strings.IndexByte("cdefgab", tok[0])), Octave: 4}
		n.Sounding = n.Written
	}
	den, i := 0, 1
	for ; i < len(tok) && tok[i] >= '0' && tok[i] <= '9'; i++ {
		den = den*10 + int(tok[i]-'0')
	}
	if den == 0 {
		b.t.Fatalf("token %q has no length", tok)
	}
	dur := score.Tick(4 * quarter / den)
	chord, tied := 1, false
	add := dur / 2
	for ; i < len(tok); i++ {
		switch tok[i] {
		case '.':
			dur += add
			add /= 2
		case '/':
			i++
			kind := score.DownBow
			if tok[i] == 'U' {
				kind = score.UpBow
			}
			n.Marks = append(n.Marks, score.Mark{Kind: kind})
		case '>':
			n.Marks = append(n.Marks, score.Mark{Kind: score.Accent})
		case '!':
			n.Marks = append(n.Marks, score.Mark{Kind: score.Staccato})
		case '^':
			n.Marks = append(n.Marks, score.Mark{Kind: score.Fermata})
		case '*':
			n.Marks = append(n.Marks, score.Mark{Kind: score.BreathMark})
		case 'p':
			n.Marks = append(n.Marks, score.Mark{Kind: score.NotePizzicato})
		case '~':
			tied = true
		case '=':
			i++
			chord = int(tok[i] - '0')
		default:
			b.t.Fatalf("token %q: %q", tok, tok[i])
		}
	}
	if !n.Grace {
		n.Dur = dur
	}
	if b.tie != score.NoNote {
		n.TieFrom = b.tie
		b.p.Notes[b.tie].TieTo = n.ID
		b.tie = score.NoNote
	}
	if tied {
		b.tie = n.ID
	}
	b.p.Notes = append(b.p.Notes, n)
	for k := 1; k < chord; k++ {
		c := n
		c.ID, c.Chord, c.Marks = n.ID+score.NoteID(k), true, nil
		c.Sounding.Octave += int8(k)
		b.p.Notes = append(b.p.Notes, c)
	}
	for ; opens > 0; opens-- {
		b.slurs = append(b.slurs, n.ID)
	}
	for ; closes > 0; closes-- {
		last := len(b.slurs) - 1
		b.p.Slurs = append(b.p.Slurs, score.Slur{Number: 1, Start: b.slurs[last], End: n.ID})
		b.slurs = b.slurs[:last]
	}
	b.at += n.Dur
}

// letters writes directions as D U and - for none.
func letters(ss []Stroke) string {
	var b strings.Builder
	for _, s := range ss {
		b.WriteString([...]string{"-", "D", "U"}[s.Direction])
	}
	return b.String()
}

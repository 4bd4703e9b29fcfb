package form

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Fact is something that the print leaves open or that the genre leads one to
// expect: told with its source, without a verdict.
type Fact struct {
	Kind        string // dotted-beside-triplets, halves-beside-triplets, meter-division, pickup, dance
	First, Last int    // measures
	Source      string // where the rule or the habit comes from
	Words       Words
}

func (g *grid) facts(s *Study) []Fact {
	var out []Fact
	for i := range s.Meters {
		m := &s.Meters[i]
		out = append(out, g.dotted(m)...)
		out = append(out, prevailing(m)...)
	}
	out = append(out, g.pickups(s)...)
	out = append(out, g.dance(s)...)
	return out
}

// The two answers of the eighteenth century to dots beside triplets, from memory.
const dotSource = "C. P. E. Bach 1753, ch. III §27, lets them fall together; Quantz 1752, ch. V §22, keeps the short note after the third of the triplet (both from memory)"

// dotted tells where figures in three and figures in two stand side by side.
func (g *grid) dotted(m *Meter) []Fact {
	if m.Triplets == 0 {
		return nil
	}
	var out []Fact
	beat := timeline.Beat(g.p.Measures[m.First].Meter)
	pairs, near := g.pairs(m, beat, 3, 4)
	if pairs > 0 {
		out = append(out, Fact{Kind: "dotted-beside-triplets", First: m.First, Last: m.Last, Source: dotSource, Words: pairWords(m, pairs, near)})
	}
	if halves, close := g.pairs(m, beat, 1, 2); close > 0 {
		f := Fact{Kind: "halves-beside-triplets", First: m.First, Last: m.Last, Source: dotSource}
		f.Words.Student = fmt.Sprintf("Beats of two equal notes stand beside triplets (%s).", plural(close, "time"))
		f.Words.Player = fmt.Sprintf("Of %s of two equal notes %d stand next to a triplet: two against three, or eased to long and short. The print leaves it open.", plural(halves, "beat"), close)
		f.Words.Scholar = f.Words.Player + " Even: 1:1; eased into the triplet: 2:1."
		out = append(out, f)
	}
	return out
}

// pairs counts beats of two notes, the second num/den of a beat after the first,
// and those of them with a triplet in the beat before or after.
func (g *grid) pairs(m *Meter, beat score.Tick, num, den score.Tick) (all, near int) {
	for i := m.First; i <= m.Last; i++ {
		if timeline.Offset(g.p, i) != 0 {
			continue
		}
		for k := range m.Beats {
			at := g.p.Measures[i].Start + score.Tick(k)*beat
			os := g.onsets[g.from(at):g.from(at+beat)]
			if len(os) != 2 || os[0].at != at || den*(os[1].at-at) != num*beat {
				continue
			}
			all++
			if g.inThree(at-beat, beat) || g.inThree(at+beat, beat) {
				near++
			}
		}
	}
	return all, near
}

// inThree says that the beat from a place on is divided in three and not in two.
func (g *grid) inThree(at, beat score.Tick) bool {
	os := g.onsets[g.from(at):max(g.from(at), g.from(at+beat))]
	if len(os) < 2 {
		return false
	}
	two, three := true, true
	for _, o := range os {
		two = two && divides(beat, 2, o.at-at)
		three = three && divides(beat, 3, o.at-at)
	}
	return three && !two
}

func pairWords(m *Meter, pairs, near int) Words {
	w := Words{Student: fmt.Sprintf("%s of the dotted rhythm and %s stand in the same music. Choose: fit the dotted ones to the triplets (2:1), or play them as written (3:1).",
		capital(plural(pairs, "beat")), plural(m.Triplets, "triplet"))}
	w.Player = fmt.Sprintf("%s of dotted figures beside %s, %d of them next to one. The player settles it once for all: fitted to the triplets (2:1), as written (3:1), or sharper.",
		capital(plural(pairs, "beat")), plural(m.Triplets, "triplet"), near)
	w.Scholar = w.Player + " As written the short note has 1/4 of the beat, fitted 1/3."
	return w
}

// prevailing compares the notated division of the beat with the one that the
// music has; three quarters count as prevailing.
func prevailing(m *Meter) []Fact {
	all := m.InTwo + m.InThree
	if all < 8 || 4*m.Triplets < 3*all {
		return nil
	}
	f := Fact{Kind: "meter-division", First: m.First, Last: m.Last, Source: "counted"}
	text := fmt.Sprintf("%s is printed, but %d of the %d divided beats go in threes", m.Printed, m.Triplets, all)
	f.Words = Words{Student: text + ".", Player: text + ": it moves like a compound time.",
		Scholar: text + ": the sounding meter is compound, the notated one simple."}
	return []Fact{f}
}

// pickups tells how the movement and its phrases begin.
func (g *grid) pickups(s *Study) []Fact {
	if len(s.Phrases) == 0 {
		return nil
	}
	count := 0
	for i := range s.Phrases {
		count += int(is(s.Phrases[i].Pickup > 0))
	}
	first, all := s.Phrases[0].Pickup, len(s.Phrases)
	f := Fact{Kind: "pickup", First: s.Phrases[0].First, Last: s.Phrases[0].First, Source: "counted"}
	switch {
	case first > 0:
		f.Words.Student = fmt.Sprintf("The movement begins with a pickup of %s.", g.pickupName(s.Phrases[0].From, first))
		f.Words.Player = f.Words.Student + g.othersBegin(s.Phrases, count)
	case count > 0:
		f.Words.Student = fmt.Sprintf("The movement begins without a pickup; %d of its %d phrases begin with one.", count, all)
		f.Words.Player = f.Words.Student
	default:
		return nil
	}
	f.Words.Scholar = f.Words.Player
	return []Fact{f}
}

// othersBegin compares the pickups of all phrases, of which count have one, with that
// of the first: their length, and the lengths of their notes.
func (g *grid) othersBegin(ps []Phrase, count int) string {
	same, alike, all := 0, 0, len(ps)
	for i := range ps {
		if ps[i].Pickup == ps[0].Pickup {
			same++
			alike += int(is(slices.Equal(g.rhythm(&ps[i]), g.rhythm(&ps[0]))))
		}
	}
	so := "so"
	if alike < same {
		so = "with a pickup of the same length"
	}
	switch {
	case all == 1:
		return ""
	case same == all && all == 2:
		return fmt.Sprintf(" Both phrases begin %s.", so)
	case same == all:
		return fmt.Sprintf(" All %d phrases begin %s.", all, so)
	}
	begin := []string{fmt.Sprintf("%d %s %s", same, verb(same), so)}
	if count > same {
		begin = append(begin, fmt.Sprintf("%d with a shorter or longer one", count-same))
	}
	if all > count {
		begin = append(begin, fmt.Sprintf("%d without", all-count))
	}
	return fmt.Sprintf(" Of its %d phrases %s.", all, join(begin))
}

func verb(n int) string {
	if n == 1 {
		return "begins"
	}
	return "begin"
}

// rhythm lists how far from the beginning of a phrase the notes of its pickup are
// struck.
func (g *grid) rhythm(p *Phrase) []score.Tick {
	var out []score.Tick
	for i := g.from(p.From); i < len(g.onsets) && g.onsets[i].at < p.From+p.Pickup; i++ {
		out = append(out, g.onsets[i].at-p.From)
	}
	return out
}

// dances are what dances of the suite usually have: the meters by their number of
// felt beats and division, and the pickup in quarters (a quarter or an eighth
// before the bar, or none). Common practice, no source.
var dances = []struct {
	names    []string
	word     string
	beats    []int // felt beats to the bar
	compound bool
	pickup   [2]float64 // least and most, in felt beats
	phrases  int        // usual phrases are multiples of it, 0 where there is no rule
}{
	{[]string{"allemand"}, "an allemande", []int{2, 4}, false, [2]float64{0.05, 1}, 0},
	{[]string{"courant", "corrente", "corrant"}, "a courante", []int{3}, false, [2]float64{0.1, 1}, 0},
	{[]string{"saraband"}, "a sarabande", []int{3}, false, [2]float64{0, 0}, 4},
	{[]string{"minuet", "menuet", "minuetto"}, "a minuet", []int{3}, false, [2]float64{0, 0}, 4},
	{[]string{"bourr", "bourée"}, "a bourrée", []int{2, 4}, false, [2]float64{0.25, 1}, 4},
	{[]string{"gavot"}, "a gavotte", []int{2, 4}, false, [2]float64{1, 2}, 4},
	{[]string{"gigue", "giga", "jig"}, "a gigue", []int{1, 2, 3, 4}, true, [2]float64{0.1, 1}, 4},
	{[]string{"siciliana", "siciliano", "sicilienne"}, "a siciliana", []int{2, 4}, true, [2]float64{0, 1}, 0},
	{[]string{"passepied"}, "a passepied", []int{1, 2, 3}, false, [2]float64{0.3, 1}, 4},
	{[]string{"loure"}, "a loure", []int{2}, true, [2]float64{0.3, 1}, 4},
	{[]string{"chaconne", "ciaccona", "passacagl"}, "a chaconne or passacaglia", []int{3}, false, [2]float64{0, 2}, 4},
}

// dance compares the movement with what its title leads one to expect.
func (g *grid) dance(s *Study) []Fact {
	title := strings.ToLower(g.in.Score.Title)
	if len(s.Meters) == 0 || len(s.Phrases) == 0 {
		return nil
	}
	for _, d := range dances {
		for _, n := range d.names {
			if strings.Contains(title, n) {
				f := Fact{Kind: "dance", First: 0, Last: len(g.p.Measures) - 1, Source: "common practice"}
				f.Words = g.danceWords(s, d.word, d.beats, d.compound, d.pickup, d.phrases)
				return []Fact{f}
			}
		}
	}
	return nil
}

func (g *grid) danceWords(s *Study, word string, beats []int, compound bool, pickup [2]float64, phrases int) Words {
	m := g.p.Measures[0].Meter
	n := int(m.Len / max(1, timeline.Beat(m)))
	var as, other []string
	note := func(ok bool, text string) {
		if ok {
			as = append(as, text)
		} else {
			other = append(other, text)
		}
	}
	meterOK := (timeline.Compound(m) == compound || compound && m.Num == 3) && slices.Contains(beats, n)
	note(meterOK, "the time ("+s.Meters[0].Printed+")")
	up := float64(s.Phrases[0].Pickup) / float64(max(1, timeline.Beat(m)))
	has := "no pickup"
	if up > 0 {
		has = "a pickup of " + g.pickupName(s.Phrases[0].From, s.Phrases[0].Pickup)
	}
	note(up >= pickup[0]-1e-9 && up <= pickup[1]+1e-9, has)
	if phrases > 0 {
		whole, even := 0, 0
		for i := range s.Phrases {
			whole++
			even += int(is(s.Phrases[i].Bars%phrases == 0))
		}
		note(2*even > whole, fmt.Sprintf("%d of %s in multiples of %d bars", even, plural(whole, "phrase"), phrases))
	}
	text := "The title says " + word + "."
	if len(as) > 0 {
		text += " As in most: " + join(as) + "."
	}
	if len(other) > 0 {
		text += " Unlike most: " + join(other) + "."
	}
	return Words{Student: text, Player: text, Scholar: text}
}

package study

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pochette/internal/pace"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Table lists the played bars of a range: when each begins, its tempo, give and take,
// breaths, dotted figures, level and accents, with the reasons under it. why adds
// those that are the same everywhere, and the curves with their sources.
func (p *Paced) Table(b Bars, why bool) Table {
	t := Table{Head: []string{"bar", "at", "tempo", "give/take", "pause", "dotted", "level", "accents"}}
	t.Before = p.summary()
	first := map[int]int{} // of each measure, the row's played bar
	same := 0
	for v := range p.Bars {
		bar := &p.Bars[v]
		if !b.Has(bar.Measure) {
			continue
		}
		if o, ok := first[bar.Measure]; ok && p.alike(o, v) {
			same++
			continue
		}
		if _, ok := first[bar.Measure]; !ok {
			first[bar.Measure] = v
		}
		t.Rows = append(t.Rows, p.row(v, why))
	}
	if same > 0 {
		t.After = append(t.After, fmt.Sprintf("%s played again as the first time %s not listed.", count(same, "bar", "bars"), isAre(same)))
	}
	t.After = append(t.After, p.steadyLine())
	t.After = append(t.After, p.figureLines()...)
	for _, f := range p.Findings {
		if b.Has(f.At.Measure) || f.Kind == "pace-decision-idle" {
			text := strings.TrimSpace(strings.Join([]string{f.Text, f.Why, f.Suggestion}, " "))
			if f.At.Measure >= 0 {
				text = f.At.String() + ": " + text
			}
			t.After = append(t.After, text)
		}
	}
	if why {
		t.After = append(t.After, "The curves:")
		for _, m := range pace.Models {
			t.After = append(t.After, fmt.Sprintf("  %s: %s. Source: %s. Sizes: %s.", m.Name, m.Formula, m.Source, m.Sizes))
		}
	}
	return t
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// summary says in a few sentences what is planned.
func (p *Paced) summary() []string {
	out := []string{fmt.Sprintf("%s: %s in %s.", p.study.title(), count(len(p.Bars), "played bar", "played bars"), clockText(p.Seconds))}
	if len(p.Bars) > 0 {
		from := map[timeline.PaceSource]string{timeline.PacePrinted: "as printed", timeline.PaceWord: "usual for the printed word", timeline.PaceAssumed: "assumed, since no tempo is printed"}[p.Source]
		for v := range p.Bars {
			if p.Bars[v].Base > 0 {
				decided := slices.ContainsFunc(p.Bars[v].Reasons, func(r string) bool { return strings.HasPrefix(r, "tempo: decided") })
				if decided || math.Abs(p.Bars[v].Base-p.printedTempo(p.Bars[v].Measure)) > 0.01 {
					from = "decided"
				}
				out[0] = strings.TrimSuffix(out[0], ".") + fmt.Sprintf(", from %.4g felt beats a minute (%s).", p.Bars[v].Base, from)
				break
			}
		}
	}
	out = append(out, "Tempo in felt beats a minute; level in dB over mf; accents by beat, in dB that meter, harmony, signs and pairs add.")
	if p.Inequality != 1 {
		out = append(out, fmt.Sprintf("%s of equal notes by step %s unequal, %.3g : 1.", capitalized(count(p.Unequal, "pair", "pairs")), isAre(p.Unequal), p.Inequality))
	}
	return out
}

// printedTempo of a measure in felt beats a minute.
func (p *Paced) printedTempo(measure int) float64 {
	m := &p.study.Part.Measures[measure]
	beat := timeline.Beat(m.Meter)
	if s := p.study.Pace.Seconds(m.Start, m.Start+m.Len); s > 0 && beat > 0 {
		return 60 * float64(m.Len) / float64(beat) / s
	}
	return 0
}

// clockText is a length or a moment as 1:05.3.
func clockText(seconds float64) string {
	tenths := int(math.Round(seconds * 10))
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
}

// alike says that two playings of a measure take the same time in the same way.
func (p *Paced) alike(a, b int) bool {
	x, y := &p.Bars[a], &p.Bars[b]
	return math.Abs(x.Seconds-y.Seconds) < 1e-6 && x.Power == y.Power && slices.Equal(x.Reasons, y.Reasons)
}

func (p *Paced) row(v int, why bool) Row {
	bar := &p.Bars[v]
	name := timeline.Label(p.study.Part, bar.Measure)
	if bar.Round > 1 {
		name += ", " + ordinal(bar.Round)
	}
	tempo := fmt.Sprintf("%.1f", bar.Tempo)
	take := ""
	if bar.Broadens {
		take = "broadens"
	} else if bar.Power > 1 {
		take = fmt.Sprintf("%.2f late", bar.Power)
	} else if bar.Power < 1 {
		take = fmt.Sprintf("%.2f early", bar.Power)
	}
	r := Row{Cells: []string{name, clockText(bar.Start), tempo, take, p.pauses(v), p.dottedCell(bar.Measure), p.levelCell(v), p.accents(v, why)}}
	for _, text := range bar.Reasons {
		if why || !strings.HasPrefix(text, "arch:") {
			r.Under = append(r.Under, text)
		}
	}
	return r
}

// ordinal of a playing: 2nd, 3rd.
func ordinal(n int) string {
	suffix := "th"
	switch tens := n / 10 % 10; {
	case tens != 1 && n%10 == 1:
		suffix = "st"
	case tens != 1 && n%10 == 2:
		suffix = "nd"
	case tens != 1 && n%10 == 3:
		suffix = "rd"
	}
	return fmt.Sprint(n) + suffix
}

func (p *Paced) pauses(v int) string {
	var out []string
	for _, n := range p.Breaths {
		if n.Bar == v {
			mark := ""
			if n.Taken {
				mark = " taken"
			} else if n.Hold {
				mark = " hold"
			}
			out = append(out, fmt.Sprintf("%.2f s%s", n.Seconds, mark))
		}
	}
	return strings.Join(out, ", ")
}

func (p *Paced) dottedCell(measure int) string {
	var out []string
	for _, f := range p.Figures {
		if f.Measure == measure {
			if text := fmt.Sprintf("%.3g", f.Fraction); !slices.Contains(out, text) {
				out = append(out, text)
			}
		}
	}
	return strings.Join(out, ", ")
}

// mezzoforte is the level of mf in the plan, dB.
const mezzoforte = -12

// mean level of the notes of a played bar, dB over mf.
func (p *Paced) mean(v int) (float64, bool) {
	sum, n := 0.0, 0
	for i := range p.Notes {
		if p.Notes[i].Bar == v {
			sum += p.Notes[i].Level - mezzoforte
			n++
		}
	}
	return sum / float64(max(n, 1)), n > 0
}

func (p *Paced) levelCell(v int) string {
	if m, ok := p.mean(v); ok {
		return fmt.Sprintf("%+.1f", m)
	}
	return ""
}

// accentOver is how much accents of all kinds have to add to be told: more than the
// first beat of a bar has in any case.
const accentOver = 2

// accents names the notes that stand out by meter, harmony, signs and pairs.
func (p *Paced) accents(v int, why bool) string {
	var out []string
	last := -1
	for i := range p.Notes {
		n := &p.Notes[i]
		over := 0.0
		for _, t := range n.Terms {
			if t.Name != "dynamics" && t.Name != "tension" {
				over += t.Value
			}
		}
		if n.Bar != v || over < accentOver || n.Event == last {
			continue
		}
		last = n.Event
		e := &p.events[n.Event]
		text := fmt.Sprintf("%s %+.1f", timeline.At(p.study.Part, e.Measure, e.Onset, score.NoNote).Beat, over)
		if why {
			text += " " + termText(n.Terms)
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// steadyLine tells the check of what should be steady.
func (p *Paced) steadyLine() string {
	s := &p.Steadiness
	if s.Steady == 0 {
		return "No bar should be steady: each broadens, pauses, or has a tempo of its own."
	}
	text := fmt.Sprintf("Of %s %d should be steady: they stay within %.2f %% of the metronome", count(s.Bars, "bar", "bars"), s.Steady, 100*s.Worst)
	if s.WorstBar >= 0 && s.Worst > 5e-5 {
		text += fmt.Sprintf(" (most in %s)", timeline.Called(p.study.Part, p.Bars[s.WorstBar].Measure))
	}
	text += fmt.Sprintf("; %d of them give and take inside, with every bar line on time", s.Bent)
	if s.Late > 5e-4 {
		text += fmt.Sprintf(" but for %.0f ms", 1000*s.Late)
	}
	if s.InsideBar >= 0 && s.Inside > 5e-4 {
		text += fmt.Sprintf(". The note farthest from an even division lies %.0f ms off it (%s)", 1000*s.Inside, timeline.Called(p.study.Part, p.Bars[s.InsideBar].Measure))
	}
	return text + "."
}

// figureLines tell the dotted figures by their value: share, ratio, what is heard of
// the long note, and the time of the short one, since all three make a dotted figure
// (Fabian and Schubert).
func (p *Paced) figureLines() []string {
	type kind struct {
		name  string
		share float64
	}
	counts := map[kind]int{}
	var order []kind
	for i := range p.Figures {
		f := &p.Figures[i]
		k := kind{f.Name(p.study.Score.Quarter), f.Fraction}
		if counts[k] == 0 {
			order = append(order, k)
		}
		counts[k]++
	}
	var out []string
	for _, k := range order {
		long, short, heard := p.figureTimes(k.name, k.share)
		text := fmt.Sprintf("%s: %s, the long note %.3g of the figure (%.3g : 1", capitalized(k.name), times(counts[k]), k.share, k.share/(1-k.share))
		if k.share == 0.75 {
			text += ", as written"
		}
		out = append(out, fmt.Sprintf("%s), on average %.0f and %.0f ms; the long one sounds for %.0f %% of its time.", text, 1000*long, 1000*short, 100*heard))
	}
	return append(out, p.study.Reading.dotted...)
}

// figureTimes measures the figures of a kind on the planned notes: seconds of the
// long and of the short part, and the share of the long part that sounds.
func (p *Paced) figureTimes(name string, share float64) (long, short, heard float64) {
	at := map[int]*pace.Figure{}
	for i := range p.Figures {
		if f := &p.Figures[i]; f.Name(p.study.Score.Quarter) == name && f.Fraction == share {
			at[f.Event] = f
		}
	}
	n := 0
	for i := range p.Notes {
		f := at[p.Notes[i].Event]
		if f == nil || p.Notes[i].InChord > 0 {
			continue
		}
		next, end := p.after(i, f.Onset+f.Long), p.after(i, f.Onset+f.Frame)
		if next <= p.Notes[i].Onset || end <= next {
			continue
		}
		long += next - p.Notes[i].Onset
		short += end - next
		heard += min(1, (p.Notes[i].Release-p.Notes[i].Onset)/(next-p.Notes[i].Onset))
		n++
	}
	d := float64(max(n, 1))
	return long / d, short / d, heard / d
}

// after is when the moment at of the bar of a played note comes.
func (p *Paced) after(i int, at score.Tick) float64 { return p.Moment(p.Notes[i].Bar, at) }

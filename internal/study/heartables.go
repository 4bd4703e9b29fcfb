package study

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pochette/internal/listen"
	"pochette/internal/score"
	"pochette/internal/take"
	"pochette/internal/timeline"
)

// AgainCount is how many spots a summary names.
const AgainCount = 3

// Summary says in a few sentences what was heard, and what is worth hearing again.
func (h *Heard) Summary() []string {
	s := h.Sound
	out := []string{fmt.Sprintf("%s is heard: %s of %s, %s; A4 is %.1f Hz%s.", h.title(), take.Clock(s.Seconds), s.Format, loudnessWords(s.Loudness), h.Alignment.A4, map[bool]string{true: ", as given", false: ""}[h.Given])}
	out = append(out, s.Notes...)
	out = append(out, h.foundSentence())
	if t := h.tempoSentence(); t != "" {
		out = append(out, t)
	}
	if len(h.Pitches) > 0 {
		out = append(out, fmt.Sprintf("Pitch: half of the notes lie within %.0f cents of %s tuning, nine in ten within %.0f.", h.quantileOff(0.5), h.Tuning.Name(), h.quantileOff(0.9)))
	}
	for _, f := range h.Figures {
		if f.Count >= 4 {
			out = append(out, fmt.Sprintf("The %s, %d times: the long note takes %.0f %% of the two (%.0f %% as written), give or take %.0f; that is %.1f : 1.", f.Name, f.Count, 100*f.Mean, 100*f.Written, 100*f.Spread, f.Mean/(1-f.Mean)))
		}
	}
	again := h.Again(AgainCount)
	if len(again) == 0 {
		return append(out, "Nothing stands out that is worth hearing again before the rest.")
	}
	out = append(out, "Worth hearing again:")
	for i, a := range again {
		out = append(out, fmt.Sprintf("  %d. %s, %s to %s: %s", i+1, h.Where(a.First, a.Last), take.Clock(a.Start), take.Clock(a.End), a.Text))
	}
	return out
}

func (h *Heard) title() string {
	if h.Title != "" {
		return h.Title
	}
	return h.Piece
}

func loudnessWords(lufs float64) string {
	if lufs <= -99 {
		return "too short for its loudness"
	}
	return fmt.Sprintf("%.0f LUFS", lufs)
}

// foundSentence tells how much of the line was found.
func (h *Heard) foundSentence() string {
	seen := map[int]bool{}
	resumed, skipped := 0, 0
	for _, n := range h.Notes {
		seen[n.Event] = true
		if n.Resumed {
			resumed++
		}
		if n.SkippedTo {
			skipped++
		}
	}
	wrong, missing := 0, 0
	for _, s := range h.Slips() {
		if s.Missing {
			missing++
		} else {
			wrong++
		}
	}
	text := fmt.Sprintf("%s of the %d in the order of play are there", count(len(seen), "note or chord", "notes and chords"), len(h.Line.Events))
	var more []string
	add := func(n int, one, many string) {
		if n > 0 {
			more = append(more, count(n, one, many))
		}
	}
	add(wrong, "sounds another pitch than is printed", "sound other pitches than are printed")
	add(missing, "is passed over", "are passed over")
	add(resumed, "time you went on from another place", "times you went on from another place")
	add(skipped, "repeat was not taken", "repeats were not taken")
	if len(more) > 0 {
		text += "; " + strings.Join(more, ", ")
	}
	return text + "."
}

func (h *Heard) tempoSentence() string {
	low, high := h.quartiles()
	if low == 0 {
		return ""
	}
	return fmt.Sprintf("Tempo: %.0f quarter notes a minute in the middle, half of the bars between %.0f and %.0f.", h.Quarter, low, high)
}

// quantileOff of the distances from the middle of all, in cents.
func (h *Heard) quantileOff(q float64) float64 {
	var v []float64
	for _, p := range h.Pitches {
		v = append(v, math.Abs(p.Off-h.Center))
	}
	slices.Sort(v)
	return v[min(len(v)-1, int(q*float64(len(v))))]
}

// BarTable lists the bars as they were played.
func (h *Heard) BarTable() Table {
	t := Table{Head: []string{"bar", "at", "tempo", "pitch", "loud", "inside the bar"}}
	off := map[int][]float64{}
	for _, p := range h.Pitches {
		off[p.Note] = append(off[p.Note], p.Off-h.Center)
	}
	late := map[int]float64{}
	for _, p := range h.Placed {
		late[p.Note] = p.Late
	}
	for _, b := range h.Bars {
		var v []float64
		far, at := 0.0, -1
		for n := b.First; n <= b.Last; n++ {
			v = append(v, off[n]...)
			if l := late[n]; math.Abs(l) > math.Abs(far) {
				far, at = l, n
			}
		}
		cells := []string{timeline.Label(h.Line.Part, h.Line.Visits[b.Visit].Measure), take.Clock(b.Start), tempoCell(b), centsCell(v), fmt.Sprintf("%.0f dB", b.Level), "even"}
		if at >= 0 && math.Abs(far) >= 0.03 {
			e := &h.Line.Events[h.Notes[at].Event]
			beat := timeline.At(h.Line.Part, e.Measure, h.Line.Part.Notes[e.Notes[0]].Onset, score.NoNote).Beat
			cells[5] = fmt.Sprintf("beat %s %.0f ms %s", beat, 1000*math.Abs(far), map[bool]string{true: "later", false: "earlier"}[far > 0])
		}
		if !b.Whole {
			cells[5] = "not played through"
		}
		t.Rows = append(t.Rows, Row{Cells: cells})
	}
	return t
}

func tempoCell(b listen.Bar) string {
	if !b.Whole {
		return fmt.Sprintf("(%.0f)", b.Quarter)
	}
	if b.Planned > 0 {
		return fmt.Sprintf("%.1f (%.1f planned)", b.Quarter, b.Planned)
	}
	return fmt.Sprintf("%.1f", b.Quarter)
}

// centsCell is the mean and the largest of some pitches: "+3 (-12)".
func centsCell(v []float64) string {
	if len(v) == 0 {
		return ""
	}
	sum, far := 0.0, 0.0
	for _, x := range v {
		sum += x
		if math.Abs(x) > math.Abs(far) {
			far = x
		}
	}
	return fmt.Sprintf("%+.0f (%+.0f)", sum/float64(len(v)), far)
}

// SlipTable lists what sounded otherwise than printed, and where play went on from
// another place.
func (h *Heard) SlipTable() Table {
	t := Table{Head: []string{"bar", "at", "what"}}
	for _, s := range h.Spots {
		if s.Kind == "slip" || s.Kind == "restart" || s.Kind == "scratch" || s.Kind == "touch" {
			t.Rows = append(t.Rows, Row{Cells: []string{timeline.Label(h.Line.Part, h.Line.Visits[s.First].Measure), take.Clock(s.Start + 0.3), s.Text}})
		}
	}
	slices.SortStableFunc(t.Rows, func(a, b Row) int { return strings.Compare(pad(a.Cells[1]), pad(b.Cells[1])) })
	return t
}

func pad(clock string) string { return strings.Repeat("0", max(0, 9-len(clock))) + clock }

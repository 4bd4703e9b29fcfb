package harmony

import "pochette/internal/score"

// BarRhythm is how many chords begin in a measure.
type BarRhythm struct{ Measure, Changes int }

// rhythm counts the chords that begin in each measure.
func (s *Study) rhythm() {
	n := make([]int, len(s.part.Measures))
	for i := range s.Chords {
		if m := s.Chords[i].Measure; m >= 0 && m < len(n) {
			n[m]++
		}
	}
	for m, c := range n {
		s.Rhythm = append(s.Rhythm, BarRhythm{m, c})
	}
}

// MeanLength is the mean length of a chord in quarters, those that only bridge a rest
// left out; 0 without chords.
func (s *Study) MeanLength() float64 {
	sum, n := score.Tick(0), 0
	for i := range s.Chords {
		if c := &s.Chords[i]; !c.Silent {
			sum += c.To - c.From
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return float64(sum) / float64(s.q) / float64(n)
}

// Pedal is a bass that stays while chords it does not belong to pass over it.
type Pedal struct {
	From, To score.Tick
	Tone     Tone
	Degree   string // of the local key at its start: I, V …
	Chords   [2]int // first and last
}

// pedalBeats is the least length of a pedal in quarters.
const pedalBeats = 6

// pedals looks for the same lowest key number in every chord of a run of three or
// more, one of which at least it is foreign to (common textbooks: a pedal point
// begins and ends as a chord tone).
func (s *Study) pedals() {
	low := s.lowest()
	for i := 0; i < len(s.Chords); {
		j := i + 1
		for j < len(s.Chords) && low[j] == low[i] && low[i] != score.NoNote || j < len(s.Chords) && s.sameKeyNumber(low[i], low[j]) {
			j++
		}
		for j > i+1 && s.Chords[j-1].Chord.role(s.toneOf(low[j-1])) == foreign {
			j--
		}
		if j-i >= 3 && s.isPedal(low[i], i, j) {
			t := s.toneOf(low[i])
			s.Pedals = append(s.Pedals, Pedal{s.Chords[i].From, s.Chords[j-1].To, t,
				degreeIn(t-s.Chords[i].Key.Tonic, s.Chords[i].Key.Minor), [2]int{i, j - 1}})
			i = j
			continue
		}
		i++
	}
}

func (s *Study) toneOf(id score.NoteID) Tone {
	if id == score.NoNote {
		return loTone - 1
	}
	return ToneOf(s.part.Notes[id].Sounding)
}

func (s *Study) sameKeyNumber(a, b score.NoteID) bool {
	return a != score.NoNote && b != score.NoNote && s.part.Notes[a].Sounding.MIDI() == s.part.Notes[b].Sounding.MIDI()
}

func (s *Study) isPedal(id score.NoteID, i, j int) bool {
	if s.Chords[i].Chord.role(s.toneOf(id)) == foreign || float64(s.Chords[j-1].To-s.Chords[i].From) < pedalBeats*float64(s.q) {
		return false
	}
	for k := i + 1; k < j-1; k++ {
		if s.Chords[k].Chord.role(s.toneOf(id)) == foreign {
			return true
		}
	}
	return false
}

// lowest is the lowest note that sounds in each chord.
func (s *Study) lowest() []score.NoteID {
	out := make([]score.NoteID, len(s.Chords))
	for i := range out {
		out[i] = score.NoNote
	}
	at := 0
	for i := range s.part.Notes {
		n := &s.part.Notes[i]
		if n.Rest || n.Grace || n.Cue || n.Unpitched {
			continue
		}
		for at < len(s.Chords) && s.Chords[at].To <= n.Onset {
			at++
		}
		for j := at; j < len(s.Chords) && s.Chords[j].From < n.End(); j++ {
			if out[j] == score.NoNote || n.Sounding.MIDI() < s.part.Notes[out[j]].Sounding.MIDI() {
				out[j] = n.ID
			}
		}
	}
	return out
}

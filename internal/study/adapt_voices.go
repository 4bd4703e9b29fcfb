package study

import (
	"sort"
	"strconv"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
	"pochette/internal/voices"
)

// jsonLine is one voice over the whole part.
type jsonLine struct {
	Name  string     `json:"name"`
	Low   string     `json:"lowest"`
	High  string     `json:"highest"`
	Notes []jsonTone `json:"notes"`
}

type jsonTone struct {
	Measure int    `json:"measure"`
	Place   string `json:"place"`
	Start   string `json:"start"`
	Pitch   string `json:"pitch"`
}

// readVoices takes the voices as package voices tells them.
func (rd *Reading) readVoices() {
	st := voices.Analyze(rd.Score, rd.Part, voices.Options{})
	rd.Of = st.Column
	if rd.Of == nil {
		rd.Of = st.Of
	}
	for _, f := range st.Findings {
		if rd.Level != Scholar && f.Kind != "bass-line" {
			f.Why = "" // figures for who asks how it was found
		}
		rd.Voices = append(rd.Voices, rd.said(f))
	}
	rd.lines = []jsonLine{}
	notes := make([][]score.NoteID, len(st.Voices))
	for id := range rd.Part.Notes {
		if x := &rd.Part.Notes[id]; rd.Of[id] >= 0 && x.Struck() && !x.Grace {
			notes[rd.Of[id]] = append(notes[rd.Of[id]], x.ID)
		}
	}
	for i := range notes {
		rd.lines = append(rd.lines, rd.line(i, len(notes), notes[i]))
	}
}

func (rd *Reading) line(i, n int, notes []score.NoteID) jsonLine {
	l := jsonLine{Name: voiceName(i, n), Notes: []jsonTone{}}
	low, high := score.NoNote, score.NoNote
	for _, id := range notes {
		x := &rd.Part.Notes[id]
		l.Notes = append(l.Notes, jsonTone{x.Measure, rd.loc(x.Onset).String(), rd.whole(x.Onset), x.Sounding.String()})
		if low < 0 || x.Sounding.MIDI() < rd.Part.Notes[low].Sounding.MIDI() {
			low = id
		}
		if high < 0 || x.Sounding.MIDI() > rd.Part.Notes[high].Sounding.MIDI() {
			high = id
		}
	}
	if low >= 0 {
		l.Low, l.High = rd.Part.Notes[low].Sounding.String(), rd.Part.Notes[high].Sounding.String()
	}
	return l
}

// VoiceOf names the implied voice of a note; "" where the line is one, or none was found.
func (rd *Reading) VoiceOf(id score.NoteID) string {
	if n := len(rd.lines); n > 1 && int(id) < len(rd.Of) && rd.Of[id] >= 0 {
		return voiceName(rd.Of[id], n)
	}
	return ""
}

// voiceName names voice i of n, 0 the highest.
func voiceName(i, n int) string {
	if n == 1 {
		return "the line"
	}
	return voices.Name(i, n)
}

// said turns a finding into a sentence of the reading: a student is told what, all
// others why as well.
func (rd *Reading) said(f score.Finding) Said {
	s := Said{Kind: f.Kind, From: f.At, To: rd.struckPlace(f.To), Text: f.Text, Weight: f.Weight}
	switch {
	case f.At.Note != score.NoNote && int(f.At.Note) < len(rd.Part.Notes):
		s.At = rd.Part.Notes[f.At.Note].Onset
	case f.At.Measure >= 0:
		s.At = rd.Part.Measures[f.At.Measure].Start + rd.beat(f.At)
	}
	if rd.Level != Student {
		s.Why = f.Why
		if f.Suggestion != "" {
			s.Why += " " + f.Suggestion
		}
	}
	return s
}

// beat is the tick within the measure of a place that timeline.At has named.
func (rd *Reading) beat(l score.Loc) score.Tick {
	m := &rd.Part.Measures[l.Measure]
	unit := timeline.Unit(m.Meter)
	whole, part, _ := strings.Cut(l.Beat, "+")
	n, err := strconv.Atoi(whole)
	if err != nil || unit <= 0 {
		return 0
	}
	at := unit * score.Tick(n-1)
	if num, den, ok := strings.Cut(part, "/"); ok {
		a, errA := strconv.Atoi(num)
		b, errB := strconv.Atoi(den)
		if errA == nil && errB == nil && b > 0 {
			at += unit * score.Tick(a) / score.Tick(b)
		}
	}
	return at - timeline.Offset(rd.Part, l.Measure)
}

// struckPlace brings a place between two notes back to the one before, in its
// measure: a stretch ends with a note, not with the last tick that it fills.
func (rd *Reading) struckPlace(l score.Loc) score.Loc {
	if l.Measure < 0 || l.Note != score.NoNote {
		return l
	}
	return rd.before(rd.Part.Measures[l.Measure].Start + rd.beat(l))
}

// before is the place of the last moment, at or before a tick, at which a note is
// struck in the same measure; the tick's own where there is none.
func (rd *Reading) before(at score.Tick) score.Loc {
	notes := rd.Part.Notes
	m := rd.measureAt(at)
	for i := sort.Search(len(notes), func(i int) bool { return notes[i].Onset > at }) - 1; i >= 0 && notes[i].Measure == m; i-- {
		if notes[i].Struck() && !notes[i].Grace {
			return rd.loc(notes[i].Onset)
		}
	}
	return rd.loc(at)
}

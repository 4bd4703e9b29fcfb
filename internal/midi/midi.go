// Package midi writes a programme of planned passages as a Standard MIDI File of
// format 1 (Standard MIDI Files 1.0, RP-001, MIDI Manufacturers Association 1996).
//
// The tempo map has one tempo for each played bar, such that every bar line falls
// where the plan has it and the bars stand as they are printed; what bends inside a
// bar is in the places of the notes. Tempi are whole microseconds a quarter note: the
// part that rounding leaves is carried to the next bar, so that no bar line is farther
// off than half a microsecond for each quarter of the bar.
package midi

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"

	gomidi "gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"

	"pochette/internal/pace"
	"pochette/internal/score"
)

// Quarter is the ticks of a quarter note in the file.
const Quarter = 960

// Song is what is written.
type Song struct {
	Title, Part string
	Program     int        // General MIDI program 1 to 128: violin 41, viola 42, cello 43
	A4          float64    // Hz; 0 is 440
	Quarter     score.Tick // of the score
	Programme   pace.Programme
}

// Channels, and keys of the click on the percussion channel (General MIDI percussion
// map: high and low wood block).
const (
	bowed, plucked, percussion = 0, 1, 9
	clickStrong, clickWeak     = 76, 77
	pizzicatoProgram           = 46 // General MIDI: pizzicato strings
)

// Limits of the file's form: microseconds a quarter in three bytes, and the ticks.
const (
	mostTempo = 1<<24 - 1
	mostTicks = 1 << 28
)

// segment is a stretch under one tempo.
type segment struct {
	start, seconds float64
	from, ticks    int64
	num, den       int // time signature, 0 none
	fifths         int
	minor, keyed   bool
	label          string
}

// event is a message at a tick; at one tick ends come before beginnings.
type event struct {
	at   int64
	rank int
	msg  []byte
}

// Encode writes the song.
func Encode(w io.Writer, s Song) error {
	e := encoder{song: s}
	e.segments()
	if e.ticks >= mostTicks {
		return fmt.Errorf("longer than a MIDI file holds (%d quarter notes)", mostTicks/Quarter)
	}
	file := smf.NewSMF1()
	file.TimeFormat = smf.MetricTicks(Quarter)
	for _, t := range []smf.Track{e.conductor(), e.strings(), e.clicks()} {
		if len(t) > 0 {
			if err := file.Add(t); err != nil {
				return fmt.Errorf("MIDI file: %w", err)
			}
		}
	}
	if _, err := file.WriteTo(w); err != nil {
		return err
	}
	return nil
}

type encoder struct {
	song  Song
	segs  []segment
	ticks int64
}

// segments lays all bars, count-ins and gaps one after the other.
func (e *encoder) segments() {
	at := 0.0
	for i := range e.song.Programme {
		t := &e.song.Programme[i]
		label := t.Label
		if t.Lead > 0 {
			e.add(segment{start: at, seconds: t.Lead, ticks: e.leadTicks(t), label: label})
			label = ""
		}
		var done score.Tick
		for k := range t.Passage.Bars {
			b := &t.Passage.Bars[k]
			ticks := e.scoreTicks(done+b.Length) - e.scoreTicks(done)
			done += b.Length
			num, den := signature(b, e.song.Quarter)
			e.add(segment{start: at + t.Lead + b.Start, seconds: b.Seconds, ticks: ticks, num: num, den: den, fifths: b.Fifths, minor: b.Minor, keyed: true, label: label})
			label = ""
		}
		if t.Gap > 0 {
			e.add(segment{start: at + t.Lead + t.Passage.Seconds, seconds: t.Gap, ticks: Quarter, num: 1, den: 4})
		}
		at += t.Seconds()
	}
}

func (e *encoder) scoreTicks(t score.Tick) int64 {
	return int64(math.Round(float64(t) * Quarter / float64(max(1, e.song.Quarter))))
}

// leadTicks is the length of a count-in at the tempo of the first bar.
func (e *encoder) leadTicks(t *pace.Turn) int64 {
	b := &t.Passage.Bars[0]
	return max(1, e.scoreTicks(score.Tick(math.Round(t.Lead*b.Base/60*float64(b.Beat)))))
}

func (e *encoder) add(s segment) {
	s.from = e.ticks
	e.ticks += s.ticks
	e.segs = append(e.segs, s)
}

// signature is the time signature of a bar as it is: of a pickup or half a bar its own
// length in the printed unit, or in a smaller one; 0 where no signature says it.
func signature(b *pace.PassageBar, quarter score.Tick) (num, den int) {
	if b.Length == b.Meter.Len && b.Meter.Num > 0 && b.Meter.Num < 256 && b.Meter.Den&(b.Meter.Den-1) == 0 {
		return b.Meter.Num, b.Meter.Den
	}
	for den := 4; den <= 64; den *= 2 {
		if n := b.Length * score.Tick(den); quarter > 0 && n%(4*quarter) == 0 && n/(4*quarter) < 256 && n > 0 {
			return int(n / (4 * quarter)), den
		}
	}
	return 0, 0
}

// tick is the place of a moment in seconds.
func (e *encoder) tick(seconds float64) int64 {
	i, found := slices.BinarySearchFunc(e.segs, seconds, func(s segment, t float64) int { return cmp.Compare(s.start, t) })
	if !found {
		i--
	}
	if i < 0 {
		return 0
	}
	s := &e.segs[i]
	if s.seconds <= 0 {
		return s.from
	}
	share := min((seconds-s.start)/s.seconds, 1)
	return s.from + int64(math.Round(share*float64(s.ticks)))
}

// conductor is the track of tempi, signatures, keys and names of the turns.
func (e *encoder) conductor() smf.Track {
	var evs []event
	meta := func(at int64, rank int, m smf.Message) { evs = append(evs, event{at, rank, m}) }
	meta(0, 0, smf.MetaTrackSequenceName(e.song.Title))
	num, den, key := 0, 0, ""
	played, wanted := 0.0, 0.0 // seconds so far, as the tempi give them and as planned
	for _, s := range e.segs {
		if s.label != "" {
			meta(s.from, 1, smf.MetaMarker(s.label))
		}
		if s.num > 0 && (s.num != num || s.den != den) {
			num, den = s.num, s.den
			meta(s.from, 2, smf.MetaTimeSig(uint8(num), uint8(den), uint8(max(1, 96/den)), 8))
		}
		if k := fmt.Sprint(s.fifths, s.minor); s.keyed && k != key {
			key = k
			meta(s.from, 3, keySignature(s.fifths, s.minor))
		}
		wanted += s.seconds
		if s.ticks <= 0 {
			continue
		}
		quarters := float64(s.ticks) / Quarter
		micros := min(max(math.Round((wanted-played)*1e6/quarters), 1), mostTempo)
		played += micros * quarters / 1e6
		meta(s.from, 4, smf.MetaTempo(60e6/micros))
	}
	return track(evs, e.ticks)
}

// keySignature of the file's form: sharps positive, minor or major.
func keySignature(fifths int, minor bool) smf.Message {
	f := min(max(fifths, -7), 7)
	return smf.MetaKey(0, !minor, uint8(max(f, -f)), f < 0)
}

// strings is the track of the instrument.
func (e *encoder) strings() smf.Track {
	evs := []event{{0, 0, smf.MetaTrackSequenceName(e.song.Part)}}
	usesPluck := false
	at := 0.0
	for i := range e.song.Programme {
		t := &e.song.Programme[i]
		for k := range t.Passage.Notes {
			n := &t.Passage.Notes[k]
			ch := uint8(bowed)
			if n.Plucked {
				ch, usesPluck = plucked, true
			}
			on := e.tick(at + t.Lead + n.Onset)
			off := max(on+1, e.tick(at+t.Lead+n.Release))
			evs = append(evs, noteEvents(ch, n.Key, n.Velocity(), on, off)...)
		}
		at += t.Seconds()
	}
	evs = append(evs, e.setUp(bowed, e.song.Program)...)
	if usesPluck {
		evs = append(evs, e.setUp(plucked, pizzicatoProgram)...)
	}
	return track(free(evs), e.ticks)
}

// noteEvents strike and end a note.
func noteEvents(ch uint8, key, velocity int, on, off int64) []event {
	k := uint8(min(max(key, 0), 127))
	return []event{{on, 6, gomidi.NoteOn(ch, k, uint8(velocity))}, {off, 5, gomidi.NoteOff(ch, k)}}
}

// setUp chooses the program of a channel, and its tuning where A4 is not 440 Hz:
// registered parameters 2 (coarse tuning, semitones) and 1 (fine tuning, of a
// semitone in 8192 steps), MIDI 1.0.
func (e *encoder) setUp(ch uint8, program int) []event {
	out := []event{{0, 1, gomidi.ProgramChange(ch, uint8(min(max(program, 1), 128)-1))}}
	if e.song.A4 == 0 || e.song.A4 == 440 {
		return out
	}
	semitones := 12 * math.Log2(e.song.A4/440)
	coarse := math.Round(semitones)
	fine := int(math.Round((semitones-coarse)*8192)) + 8192
	for _, c := range [][2]int{{101, 0}, {100, 2}, {6, 64 + int(coarse)}, {38, 0}, {101, 0}, {100, 1}, {6, fine >> 7}, {38, fine & 127}, {101, 127}, {100, 127}} {
		out = append(out, event{0, 1, gomidi.ControlChange(ch, uint8(c[0]), uint8(c[1]))})
	}
	return out
}

// clicks is the track of count-ins and clicks; empty where there are none.
func (e *encoder) clicks() smf.Track {
	evs := []event{{0, 0, smf.MetaTrackSequenceName("click")}}
	at := 0.0
	add := func(c pace.Click, from float64) {
		key, velocity := clickWeak, 80
		if c.Strong {
			key, velocity = clickStrong, 110
		}
		on := e.tick(from + c.At)
		evs = append(evs, noteEvents(percussion, key, velocity, on, on+Quarter/16)...)
	}
	for i := range e.song.Programme {
		t := &e.song.Programme[i]
		for _, c := range t.Count {
			add(c, at)
		}
		for _, c := range t.Clicks {
			if c.At < t.Passage.Seconds+t.Gap {
				add(c, at+t.Lead)
			}
		}
		at += t.Seconds()
	}
	if len(evs) == 1 {
		return nil
	}
	return track(free(evs), e.ticks)
}

// free ends a note before the same key is struck again: a receiver ends both with the
// first note-off. Note-offs follow their note-ons in the list.
func free(evs []event) []event {
	type voice struct{ channel, key byte }
	last := map[voice]*event{} // note-off of the note struck last
	var order []int
	for i := range evs {
		if isNote(evs[i].msg, 0x90) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(evs[a].at, evs[b].at) })
	for _, i := range order {
		v := voice{evs[i].msg[0] & 0x0f, evs[i].msg[1]}
		if off := last[v]; off != nil {
			off.at = min(off.at, evs[i].at)
		}
		last[v] = &evs[i+1]
	}
	return evs
}

func isNote(msg []byte, status byte) bool { return len(msg) == 3 && msg[0]&0xf0 == status }

func sortEvents(evs []event) {
	slices.SortStableFunc(evs, func(a, b event) int {
		if c := cmp.Compare(a.at, b.at); c != 0 {
			return c
		}
		return a.rank - b.rank
	})
}

// track turns events at places into events after each other.
func track(evs []event, end int64) smf.Track {
	sortEvents(evs)
	var t smf.Track
	last := int64(0)
	for _, ev := range evs {
		t.Add(uint32(ev.at-last), ev.msg)
		last = ev.at
	}
	t.Close(uint32(max(0, end-last)))
	return t
}

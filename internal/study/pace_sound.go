package study

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"pochette/internal/instrument"
	"pochette/internal/midi"
	"pochette/internal/pace"
	"pochette/internal/sound"
	"pochette/internal/timeline"
)

// ClickChoices are what a click track goes by: none, every beat of the plan, its bar
// lines with the bar divided evenly, or a metronome whatever is played.
var ClickChoices = []string{"none", "follow", "bars", "strict"}

// SoundOptions say what is to be heard.
type SoundOptions struct {
	Pace    PaceOptions
	Bars    string    // as Study.Bars takes them
	Slow    []float64 // speeds, each in turn; empty: 1
	Loop    int       // how often, 0 is once
	CountIn int       // bars
	Click   string    // one of ClickChoices, "" is none
	// ClickOnly leaves the music out.
	ClickOnly bool
	// Compare is two ways of one thing, one after the other, as in "dotting=2:1,3:1",
	// "slurs=printed,proposed", "pace=steady,planned", "tempo=66,76"; "" is one way.
	Compare string
	Gap     float64 // seconds of silence between turns
	A4      float64 // Hz, 0 is 440
	Vibrato float64 // cents
	Bits    int     // 16 or 24, 0 is 16
}

// Bounds of what is asked for.
const (
	lowestA4, highestA4 = 392, 466
	slowestStep         = 0.1
	quickestStep        = 2
	mostLoops           = 100
	mostCountIn         = 8
	mostGap             = 30
	mostVibrato         = 60
)

// Sounding is a programme with all that is needed to write it.
type Sounding struct {
	Programme pace.Programme
	// Order says what is heard and when, a line for each turn.
	Order []string
	// Notes are what a listener should know: what a comparison differs in, how far a
	// strict click goes astray.
	Notes []string

	study   *Study
	options SoundOptions
}

// check says which option cannot be taken.
func (o *SoundOptions) check() error {
	for _, f := range o.Slow {
		if !(f >= slowestStep && f <= quickestStep) {
			return fmt.Errorf("--slow %g: want speeds from %g to %d, 1 as planned", f, slowestStep, quickestStep)
		}
	}
	switch {
	case o.Loop < 0 || o.Loop > mostLoops:
		return fmt.Errorf("--loop %d: want 1 to %d", o.Loop, mostLoops)
	case o.CountIn < 0 || o.CountIn > mostCountIn:
		return fmt.Errorf("--count-in %d: want 0 to %d bars", o.CountIn, mostCountIn)
	case o.A4 != 0 && !(o.A4 >= lowestA4 && o.A4 <= highestA4):
		return fmt.Errorf("--a4 %g: want %d to %d Hz", o.A4, lowestA4, highestA4)
	case !(o.Vibrato >= 0 && o.Vibrato <= mostVibrato):
		return fmt.Errorf("--vibrato %g: want 0 to %d cents", o.Vibrato, mostVibrato)
	case !(o.Gap >= 0 && o.Gap <= mostGap):
		return fmt.Errorf("--gap %g: want 0 to %d seconds", o.Gap, mostGap)
	case o.Bits != 0 && o.Bits != 16 && o.Bits != 24:
		return fmt.Errorf("--bits %d: want 16 or 24", o.Bits)
	}
	_, _, err := o.follow()
	return err
}

// follow reads the kind of click; ok is false where none is wanted.
func (o *SoundOptions) follow() (f pace.Follow, ok bool, err error) {
	switch o.Click {
	case "", "none":
		if o.ClickOnly {
			return pace.FollowPlan, true, nil
		}
		return 0, false, nil
	case "follow":
		return pace.FollowPlan, true, nil
	case "bars":
		return pace.FollowBars, true, nil
	case "strict":
		return pace.FollowNothing, true, nil
	}
	return 0, false, fmt.Errorf("--click %q: want %s", o.Click, strings.Join(ClickChoices, ", "))
}

// way is one side of a comparison.
type way struct {
	label string
	o     PaceOptions
}

// ways reads a comparison. Decisions of a way come after the others and hold.
func (o *SoundOptions) ways() ([]way, error) {
	if o.Compare == "" {
		return []way{{"", o.Pace}}, nil
	}
	key, values, ok := strings.Cut(o.Compare, "=")
	a, b, two := strings.Cut(values, ",")
	if !ok || !two || a == "" || b == "" || strings.Contains(b, ",") {
		return nil, fmt.Errorf("--ab %q: want one thing in two ways, as in dotting=2:1,3:1", o.Compare)
	}
	var out []way
	for i, v := range []string{strings.TrimSpace(a), strings.TrimSpace(b)} {
		w := way{label: fmt.Sprintf("%s: %s %s", [...]string{"first", "second"}[i], key, v), o: o.Pace}
		w.o.Decide = append([]string(nil), o.Pace.Decide...)
		switch key + "=" + v {
		case "slurs=printed":
			w.o.AsWritten = true
		case "slurs=proposed":
			w.o.AsWritten = false
		case "pace=metronome":
			w.o.Metronome = true
		case "pace=steady":
			w.o.Steady = true
		case "pace=planned":
			w.o.Steady, w.o.Metronome = false, false
		default:
			switch key {
			case "slurs":
				return nil, fmt.Errorf("--ab %q: slurs are printed or proposed", o.Compare)
			case "pace":
				return nil, fmt.Errorf("--ab %q: a pace is metronome, steady or planned", o.Compare)
			}
			if !IsPace(key + "=") {
				return nil, fmt.Errorf("--ab %q: want slurs, pace, or one of %s", o.Compare, strings.Join(PaceKeys(), ", "))
			}
			w.o.Decide = append(w.o.Decide, key+"="+v)
		}
		out = append(out, w)
	}
	return out, nil
}

// Sound makes the programme: for each loop, each speed, each way a turn. An option that
// cannot be taken is an OptionError.
func (s *Study) Sound(o SoundOptions) (*Sounding, error) {
	if err := o.check(); err != nil {
		return nil, OptionError{err}
	}
	bars, err := s.Bars(strings.TrimPrefix(o.Bars, "m"))
	if err != nil {
		return nil, OptionError{err}
	}
	ways, err := o.ways()
	if err != nil {
		return nil, OptionError{err}
	}
	x := &Sounding{study: s, options: o}
	var passages []pace.Passage
	for i := range ways {
		p, err := s.PlanPace(ways[i].o)
		if err != nil {
			return nil, err
		}
		passage := p.Passage(bars.First, bars.Last)
		if len(passage.Notes) == 0 {
			return nil, fmt.Errorf("%s: no note is played in %s", s.Source.Name, timeline.Range(s.Part, bars.First, bars.Last))
		}
		passages = append(passages, passage)
	}
	x.compared(ways, passages)
	x.turns(ways, passages)
	x.tellOrder(bars)
	return x, nil
}

// turns lays the programme out.
func (x *Sounding) turns(ways []way, passages []pace.Passage) {
	o := &x.options
	follow, clicks, _ := o.follow() // checked before
	speeds := o.Slow
	if len(speeds) == 0 {
		speeds = []float64{1}
	}
	for range max(1, o.Loop) {
		for _, f := range speeds {
			for i := range ways {
				p := passages[i].Scaled(f)
				t := pace.Turn{Passage: p.PlayedOut(x.study.Part), Label: ways[i].label, Gap: o.Gap}
				if f != 1 {
					t.Label = strings.TrimPrefix(fmt.Sprintf("%s, at %.0f %% of the pace", t.Label, 100*f), ", ")
				}
				t.Count, t.Lead = p.CountIn(o.CountIn)
				if clicks {
					t.Clicks = p.Clicks(follow)
				}
				if clicks && follow == pace.FollowNothing && len(x.Programme) < len(ways) {
					x.Notes = append(x.Notes, strictLine(ways[i].label, &p))
				}
				if o.ClickOnly {
					t.Passage.Notes = nil
				}
				x.Programme = append(x.Programme, t)
			}
		}
	}
	x.Programme[len(x.Programme)-1].Gap = 0
}

// strictLine says how far a click that follows nothing goes astray.
func strictLine(label string, p *pace.Passage) string {
	text := fmt.Sprintf("The click keeps %.4g beats a minute from the first bar on", p.Bars[0].Base)
	if label != "" {
		text = fmt.Sprintf("%s: the click keeps %.4g beats a minute from the first bar on", capitalized(label), p.Bars[0].Base)
	}
	switch d := p.Apart(); {
	case d > 0.005:
		return fmt.Sprintf("%s; at the last beat it is %.2f s ahead of the plan.", text, d)
	case d < -0.005:
		return fmt.Sprintf("%s; at the last beat it is %.2f s behind the plan.", text, -d)
	}
	return text + "; at the last beat it is with the plan."
}

// compared says what two ways differ in.
func (x *Sounding) compared(ways []way, ps []pace.Passage) {
	if len(ways) < 2 {
		return
	}
	a, b := &ps[0], &ps[1]
	if len(a.Notes) != len(b.Notes) {
		x.Notes = append(x.Notes, fmt.Sprintf("The two ways have %d and %d notes.", len(a.Notes), len(b.Notes)))
		return
	}
	moved, attacks, bows, most := 0, 0, 0, 0.0
	for i := range a.Notes {
		m, n := &a.Notes[i], &b.Notes[i]
		if d := math.Abs(m.Onset - n.Onset); d > 1e-3 {
			moved++
			most = max(most, d)
		}
		if m.Begins != n.Begins {
			attacks++
		}
		if m.Bow != n.Bow {
			bows++
		}
	}
	if moved+attacks+bows == 0 {
		text := "The two ways are the same here."
		if strings.HasPrefix(x.options.Compare, "slurs") {
			text += " The proposal changes slurs only with --may-change slurs."
		}
		x.Notes = append(x.Notes, text)
		return
	}
	var parts []string
	if moved > 0 {
		parts = append(parts, fmt.Sprintf("%s at another time (at most %.0f ms from each other)", count(moved, "note", "notes"), 1000*most))
	}
	if attacks > 0 {
		parts = append(parts, fmt.Sprintf("%s slurred in one and attacked in the other", count(attacks, "note", "notes")))
	}
	if bows > 0 {
		parts = append(parts, fmt.Sprintf("%s in the other direction of the bow", count(bows, "note", "notes")))
	}
	x.Notes = append(x.Notes, "Of "+count(len(a.Notes), "note", "notes")+" the two ways play "+list(parts)+".")
}

// tellOrder says what is heard when.
func (x *Sounding) tellOrder(bars Bars) {
	part := x.study.Part
	what := timeline.Range(part, bars.First, bars.Last)
	if bars.First == 0 && bars.Last == len(part.Measures)-1 {
		what = "the whole, repeats played out"
	}
	starts := x.Programme.Starts()
	for i := range x.Programme {
		t := &x.Programme[i]
		text := fmt.Sprintf("%s  %s", clockText(starts[i]), what)
		if t.Label != "" {
			text += "; " + t.Label
		}
		if t.Lead > 0 {
			text += fmt.Sprintf("; after a count-in of %s", count(len(t.Count), "beat", "beats"))
		}
		x.Order = append(x.Order, text)
	}
}

// Seconds of the whole.
func (x *Sounding) Seconds() float64 { return x.Programme.Starts()[len(x.Programme)] }

// a4 in Hz.
func (x *Sounding) a4() float64 {
	if x.options.A4 == 0 {
		return 440
	}
	return x.options.A4
}

// WAV writes the sound. step, where not nil, is told how far it is.
func (x *Sounding) WAV(ctx context.Context, w io.Writer, step func(done, total int64)) error {
	body := map[instrument.Kind]sound.Body{instrument.ViolinKind: sound.Violin, instrument.ViolaKind: sound.Viola, instrument.CelloKind: sound.Cello}[x.study.Instrument.Kind]
	return sound.WAV(ctx, w, x.Programme, sound.Options{Body: body, Frequency: sound.Equal(x.a4()), Vibrato: x.options.Vibrato, Bits: x.options.Bits, Step: step})
}

// MIDI writes the same as a Standard MIDI File.
func (x *Sounding) MIDI(w io.Writer) error {
	program := map[instrument.Kind]int{instrument.ViolinKind: 41, instrument.ViolaKind: 42, instrument.CelloKind: 43}[x.study.Instrument.Kind]
	return midi.Encode(w, midi.Song{Title: x.study.title(), Part: partName(x.study.Part), Program: program, A4: x.a4(), Quarter: x.study.Score.Quarter, Programme: x.Programme})
}

// About says in a line what the sound is.
func (x *Sounding) About() string {
	bits := x.options.Bits
	if bits == 0 {
		bits = 16
	}
	text := fmt.Sprintf("%s, mono, %.1f kHz, %d bits, A4 = %g Hz, equal temperament. The tone is computed here: a plain bowed string, no recording.", clockText(x.Seconds()), sound.Rate/1000.0, bits, x.a4())
	if x.options.Vibrato > 0 {
		text += fmt.Sprintf(" Vibrato: %g cents to each side.", x.options.Vibrato)
	}
	return text
}

// SoundCaution is what to know about loudness.
func SoundCaution() string { return sound.Caution() }

// ParseSpeeds reads speeds such as "0.5,0.7,1" or "50%,100%".
func ParseSpeeds(text string) ([]float64, error) {
	var out []float64
	for _, w := range strings.Split(text, ",") {
		w = strings.TrimSpace(w)
		scale := 1.0
		if p, ok := strings.CutSuffix(w, "%"); ok {
			w, scale = p, 0.01
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(w), 64)
		if err != nil {
			return nil, fmt.Errorf("--slow %q: want speeds, as in 0.5,0.7,1", text)
		}
		out = append(out, v*scale)
	}
	if len(out) > 20 {
		return nil, errors.New("--slow: more than 20 steps")
	}
	return out, nil
}

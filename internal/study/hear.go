package study

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"pochette/internal/audio"
	"pochette/internal/harmony"
	"pochette/internal/instrument"
	"pochette/internal/listen"
	"pochette/internal/pitch"
	"pochette/internal/take"
)

// HearRequest is a take and the piece it is of.
type HearRequest struct {
	Take     io.Reader
	TakeName string // for messages
	TakeSize int64  // bytes, for the progress; 0 where not known

	Name       string // of the piece, for messages
	Data       []byte // MusicXML, plain or compressed
	Part       string // as in Request
	Instrument string
	A4         float64 // Hz, 0: as the take is tuned
	Tuning     string  // as listen.Tunings; "" is equal
	Plan       *listen.Plan
	// Step is told how far the work is; nil for no one.
	Step func(what string, done, total int)
}

// Sound says what the recording itself is.
type Sound struct {
	Name     string
	Format   string
	Rate     int
	Channels int
	Seconds  float64
	Loudness float64 // LUFS (ITU-R BS.1770)
	Peak     float64 // dB relative to full scale
	Notes    []string
}

// Heard is a take heard against a part.
type Heard struct {
	*listen.Hearing
	Sound  Sound
	Piece  string
	Title  string
	Around string // what instrument was taken, where it was guessed
	Given  bool   // A4 was given
}

// Hear reads a take and a piece and puts them beside each other. The error is one line
// that names the file; a done context stops it.
func Hear(ctx context.Context, r HearRequest) (*Heard, error) {
	tuning, err := listen.ParseTuning(r.Tuning)
	if err != nil {
		return nil, OptionError{err}
	}
	if r.A4 != 0 && (r.A4 < listen.LowestA4 || r.A4 > listen.HighestA4) {
		return nil, OptionError{fmt.Errorf("A4 of %g Hz: want one from %g to %g", r.A4, listen.LowestA4, listen.HighestA4)}
	}
	if r.Step == nil {
		r.Step = func(string, int, int) {}
	}
	h := &Heard{Piece: r.Name, Given: r.A4 != 0}
	line, in, chords, err := h.piece(r, tuning)
	if err != nil {
		return nil, err
	}
	f, err := h.listen(ctx, r, in)
	if err != nil {
		return nil, err
	}
	req := listen.Request{Tuning: tuning, Chords: chords, Plan: r.Plan, GivenA4: r.A4 != 0}
	req.A4 = r.A4
	req.Progress = func(done, total int) error {
		r.Step("Putting it beside the score", done, total)
		return ctx.Err()
	}
	for _, p := range in.Open {
		req.Open = append(req.Open, p.MIDI())
	}
	if h.Hearing, err = listen.Hear(f, line, req); err != nil {
		if errors.Is(err, listen.ErrSilent) {
			err = h.silent(f)
		}
		return nil, err
	}
	return h, h.believe()
}

// piece opens the score and unrolls the part.
func (h *Heard) piece(r HearRequest, tuning listen.Tuning) (*listen.Line, instrument.Instrument, []listen.Chord, error) {
	none := instrument.Instrument{}
	_, sc, i, err := OpenPart(r.Name, r.Data, r.Part)
	if err != nil {
		return nil, none, nil, err
	}
	p := sc.Parts[i]
	h.Title = titleOf(sc)
	line, err := listen.NewLine(sc, p)
	if err != nil {
		return nil, none, nil, fmt.Errorf("%s: part %d (%s): %w", r.Name, i+1, partName(p), err)
	}
	in, why, _ := instrument.Guess(p)
	h.Around = why
	if r.Instrument != "" {
		kind, err := instrument.ParseKind(r.Instrument)
		if err != nil {
			return nil, none, nil, OptionError{err}
		}
		if in, err = instrument.Set(kind, instrument.Setup{}); err != nil {
			return nil, none, nil, OptionError{err}
		}
		h.Around = ""
	}
	var chords []listen.Chord
	if tuning == listen.Just {
		for _, c := range harmony.Analyze(p, sc.Quarter).Chords {
			if root, err := pitch.Parse(c.Chord.Root.String() + "4"); err == nil {
				chords = append(chords, listen.Chord{From: c.From, To: c.To, Root: root})
			}
		}
	}
	return line, in, chords, nil
}

// listen reads the take through and makes its features.
func (h *Heard) listen(ctx context.Context, r HearRequest, in instrument.Instrument) (*audio.Features, error) {
	counted := &counter{r: r.Take}
	rd, err := take.Open(counted, r.TakeName)
	if err != nil {
		return nil, err
	}
	lowest := in.Open[len(in.Open)-1].Frequency(listen.LowestA4) * 0.94
	resample, analyze := audio.NewResampler(rd.Rate, audio.Rate), audio.NewAnalyzer(lowest)
	buf := make([]float32, 1<<14)
	var at24 []float32
	for {
		n, err := rd.Read(buf)
		at24 = resample.Push(at24[:0], buf[:n])
		analyze.Push(at24)
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if r.TakeSize > 0 {
			r.Step("Listening", int(min(counted.n, r.TakeSize)>>10), int(r.TakeSize>>10)+1)
		}
	}
	analyze.Push(resample.Flush(nil))
	f := analyze.Finish()
	h.Sound = Sound{Name: r.TakeName, Format: rd.Format, Rate: rd.Rate, Channels: rd.Channels, Seconds: rd.Seconds(), Loudness: f.Weighted, Peak: audio.Decibels(float64(f.Peak))}
	h.Sound.Notes = append(rd.Notes(), soundNotes(rd, f)...)
	return f, nil
}

// counter counts what is read.
type counter struct {
	r io.Reader
	n int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// soundNotes are sentences about the sound as such.
func soundNotes(rd *take.Reader, f *audio.Features) []string {
	var out []string
	if share := float64(f.Clipped) / float64(max(1, f.Samples)); f.Clipped > 20 {
		out = append(out, fmt.Sprintf("The loudest moments are cut off flat (%d samples, %.2g %% of the take): the microphone was set too high. Pitch and time are heard all the same; the loudness there is not true.", f.Clipped, 100*share))
	}
	if rd.Rate < 16000 {
		out = append(out, fmt.Sprintf("The recording has %d samples a second and so nothing above %d Hz: beginnings of notes are less sharp in it, and what is said of noise and touched strings less sure.", rd.Rate, rd.Rate/2))
	}
	if f.Weighted > audio.Silent && f.Weighted < -45 {
		out = append(out, fmt.Sprintf("The recording is very quiet (%.0f LUFS); set the microphone nearer or higher.", f.Weighted))
	}
	return out
}

// silent says that nothing sounds.
func (h *Heard) silent(f *audio.Features) error {
	if f.Samples < audio.Rate/4 {
		return fmt.Errorf("%s: is too short to hear (%.2f s)", h.Sound.Name, h.Sound.Seconds)
	}
	if f.Peak == 0 {
		return fmt.Errorf("%s: is silent, every sample is 0; check that the microphone is on and chosen", h.Sound.Name)
	}
	return fmt.Errorf("%s: nothing sounds in it (its loudest moment lies %.0f dB under the top); check the microphone and its level", h.Sound.Name, -h.Sound.Peak)
}

// believe refuses what is no take of this piece: then nothing that was measured holds.
func (h *Heard) believe() error {
	al := h.Alignment
	switch {
	case h.Sound.Peak < -66:
		return fmt.Errorf("%s: nothing sounds in it (its loudest moment lies %.0f dB under the top); check the microphone and its level", h.Sound.Name, -h.Sound.Peak)
	case al.Pitched < 0.25:
		return fmt.Errorf("%s: what sounds in it has a pitch only %.0f %% of the time, as noise or speech has; is it a recording of the instrument?", h.Sound.Name, 100*al.Pitched)
	case al.Fit < listen.LeastFit:
		return fmt.Errorf("%s: only %.0f %% of it goes with the notes of %s; is it another piece or part?", h.Sound.Name, 100*al.Fit, h.Piece)
	}
	if !al.A4Known {
		h.Sound.Notes = append(h.Sound.Notes, "The take is too short to tell its A4 from; 440 Hz is taken.")
	}
	return nil
}

// quartiles of the tempo of whole bars.
func (h *Heard) quartiles() (low, high float64) {
	var v []float64
	for _, b := range h.Bars {
		if b.Whole {
			v = append(v, b.Quarter)
		}
	}
	if len(v) == 0 {
		return 0, 0
	}
	slices.Sort(v)
	return v[len(v)/4], v[len(v)*3/4]
}

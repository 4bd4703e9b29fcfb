package study

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"

	"pochette/internal/audio"
	"pochette/internal/demo"
	"pochette/internal/listen"
	lt "pochette/internal/listentest"
	"pochette/internal/musicxml"
)

// jigTake is the beginning of the demo, played; made once.
var jigTake = sync.OnceValue(func() []float32 {
	src, err := musicxml.Open(demo.Jig, "jig")
	if err != nil {
		panic(err)
	}
	sc, _, err := musicxml.Decode(src)
	if err != nil {
		panic(err)
	}
	sound, _ := lt.Play(sc, sc.Parts[0], lt.Options{Seed: 3, Rate: audio.Rate, Vibrato: 15, Detune: 5, Quarter: 100})
	return sound[:12*audio.Rate]
})

func hearBytes(data []byte, piece []byte) (*Heard, error) {
	return Hear(context.Background(), HearRequest{Take: bytes.NewReader(data), TakeName: "take", TakeSize: int64(len(data)), Name: "piece", Data: piece})
}

// Everything comes out: sentences, tables, data that parses, pictures that are XML.
func TestHear(t *testing.T) {
	h, err := hearBytes(lt.WAV(jigTake(), audio.Rate), demo.Jig)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(h.Summary(), "\n")
	for _, want := range []string{"0:12.0 of WAV", "A4 is 4", "Tempo: ", "Pitch: half of the notes"} {
		if !strings.Contains(text, want) {
			t.Errorf("summary lacks %q:\n%s", want, text)
		}
	}
	if math.Abs(h.Quarter-100) > 3 {
		t.Errorf("tempo %.1f, truly 100", h.Quarter)
	}
	if len(h.BarTable().Rows) < 4 {
		t.Errorf("%d bars", len(h.BarTable().Rows))
	}
	files, err := h.Files("test")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if strings.HasSuffix(f.Name, ".svg") {
			for d := xml.NewDecoder(bytes.NewReader(f.Data)); ; {
				if _, err := d.Token(); err == io.EOF {
					break
				} else if err != nil {
					t.Fatalf("%s: %v", f.Name, err)
				}
			}
			continue
		}
		var d map[string]any
		if err := json.Unmarshal(f.Data, &d); err != nil || len(d["notes"].([]any)) != len(h.Notes) || Written(f.Data)[TempoSVG] == "" {
			t.Errorf("%s: %v", f.Name, err)
		}
	}
}

// Bad sound gets a true sentence each.
func TestHearBadSound(t *testing.T) {
	good := jigTake()
	rng := rand.New(rand.NewPCG(1, 1))
	noise := make([]float32, 4*audio.Rate)
	for i := range noise {
		noise[i] = float32(0.1 * rng.NormFloat64())
	}
	other, _ := func() ([]float32, lt.Truth) {
		sc, p := lt.Piece("running", 3, 57, 9)
		return lt.Play(sc, p, lt.Options{Seed: 4, Rate: audio.Rate})
	}()
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"nothing", nil, "is empty (0 bytes)"},
		{"text", []byte("not a recording, just words"), "is text"},
		{"silence", lt.WAV(make([]float32, 2*audio.Rate), audio.Rate), "every sample is 0"},
		{"nearly silence", lt.WAV(scaled(noise, 0.0003), audio.Rate), "nothing sounds in it"},
		{"short", lt.WAV(good[:800], audio.Rate), "too short"},
		{"noise", lt.WAV(noise, audio.Rate), "has a pitch only"},
		{"another piece", lt.WAV(other, audio.Rate), "is it another piece"},
	} {
		h, err := hearBytes(c.data, demo.Jig)
		if err == nil {
			t.Errorf("%s: fit %.2f, %v", c.name, h.Alignment.Fit, h.Summary())
			continue
		}
		if !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "take: ") {
			t.Errorf("%s: %v; want %q", c.name, err, c.want)
		}
	}
	if _, err := hearBytes(lt.WAV(good, audio.Rate), []byte("<nothing/>")); err == nil {
		t.Error("a piece that is none is heard")
	}
}

func scaled(x []float32, by float32) []float32 {
	out := make([]float32, len(x))
	for i, v := range x {
		out[i] = v * by
	}
	return out
}

// What is bad but can be heard is heard, and told.
func TestHearPoorSound(t *testing.T) {
	good := jigTake()
	cut := scaled(good, 8)
	for i, v := range cut {
		cut[i] = max(-0.9, min(0.9, v))
	}
	r := audio.NewResampler(audio.Rate, 8000)
	low := r.Flush(r.Push(nil, good))
	whole := lt.WAV(good, audio.Rate)
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"clipping", lt.WAV(cut, audio.Rate), "cut off flat"},
		{"8 kHz", lt.WAV(low, 8000), "nothing above 4000 Hz"},
		{"broken off", whole[:len(whole)*3/4], "breaks off after 0:09.0 of the 0:12.0"},
	} {
		h, err := hearBytes(c.data, demo.Jig)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if text := strings.Join(h.Sound.Notes, " "); !strings.Contains(text, c.want) {
			t.Errorf("%s: %q; want %q", c.name, text, c.want)
		}
		if h.Alignment.Fit < 0.5 {
			t.Errorf("%s: fit %.2f", c.name, h.Alignment.Fit)
		}
	}
}

// A done context stops, wrong options are the command line's fault.
func TestHearStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	data := lt.WAV(jigTake(), audio.Rate)
	if _, err := Hear(ctx, HearRequest{Take: bytes.NewReader(data), TakeName: "take", Name: "p", Data: demo.Jig}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	for _, r := range []HearRequest{{Tuning: "wild"}, {A4: 300}} {
		if _, err := Hear(context.Background(), r); err == nil {
			t.Error("taken: ", r)
		} else if _, ok := errors.AsType[OptionError](err); !ok {
			t.Errorf("no option's error: %v", err)
		}
	}
}

// The just tuning reads chords from the score: a take in equal temperament then has
// its thirds of major chords above the reference.
func TestHearJust(t *testing.T) {
	data := lt.WAV(jigTake(), audio.Rate)
	h, err := Hear(context.Background(), HearRequest{Take: bytes.NewReader(data), TakeName: "take", Name: "p", Data: demo.Jig, Tuning: "just", A4: 440})
	if err != nil {
		t.Fatal(err)
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range h.Pitches {
		low, high = min(low, p.Off), max(high, p.Off)
	}
	if h.Tuning != listen.Just || high-low < 20 {
		t.Errorf("%v: from %.1f to %.1f cents", h.Tuning, low, high)
	}
}

package midi

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gitlab.com/gomidi/midi/v2/smf"

	"pochette/internal/demo"
	"pochette/internal/musicxml/xmltest"
	"pochette/internal/pace"
	"pochette/internal/testdata"
	"pochette/internal/timeline"
)

// message is one of a file as the reader of these tests gives it.
type message struct {
	at   int64 // ticks
	data []byte
}

// file is a Standard MIDI File.
type file struct {
	format, quarter int
	tracks          [][]message
}

// readVar reads a variable-length quantity (RP-001, "Some Numbers Represented as
// Variable-Length Quantities").
func readVar(b []byte) (v int64, rest []byte, err error) {
	for i := 0; i < 4 && i < len(b); i++ {
		v = v<<7 | int64(b[i]&0x7f)
		if b[i] < 0x80 {
			return v, b[i+1:], nil
		}
	}
	return 0, nil, fmt.Errorf("no end of a quantity in % x", b[:min(4, len(b))])
}

// readFile reads strictly: chunks as RP-001 has them, running status, every track
// ended by its end-of-track event.
func readFile(b []byte) (*file, error) {
	if len(b) < 14 || string(b[:4]) != "MThd" || binary.BigEndian.Uint32(b[4:]) != 6 {
		return nil, fmt.Errorf("no header: % x", b[:min(14, len(b))])
	}
	f := &file{format: int(binary.BigEndian.Uint16(b[8:])), quarter: int(binary.BigEndian.Uint16(b[12:]))}
	n := int(binary.BigEndian.Uint16(b[10:]))
	b = b[14:]
	for range n {
		if len(b) < 8 || string(b[:4]) != "MTrk" {
			return nil, fmt.Errorf("no track where one should be")
		}
		size := int(binary.BigEndian.Uint32(b[4:]))
		if len(b) < 8+size {
			return nil, fmt.Errorf("track cut short")
		}
		t, err := readTrack(b[8 : 8+size])
		if err != nil {
			return nil, err
		}
		f.tracks, b = append(f.tracks, t), b[8+size:]
	}
	if len(b) > 0 {
		return nil, fmt.Errorf("%d bytes after the last track", len(b))
	}
	return f, nil
}

func readTrack(b []byte) (out []message, err error) {
	at := int64(0)
	status := byte(0)
	for len(b) > 0 {
		var d int64
		if d, b, err = readVar(b); err != nil {
			return nil, err
		}
		at += d
		if b[0] >= 0x80 {
			status, b = b[0], b[1:]
		}
		switch {
		case status == 0xff:
			kind := b[0]
			var n int64
			if n, b, err = readVar(b[1:]); err != nil {
				return nil, err
			}
			out = append(out, message{at, append([]byte{0xff, kind}, b[:n]...)})
			b = b[n:]
			if kind == 0x2f {
				if len(b) > 0 {
					return nil, fmt.Errorf("events after the end of the track")
				}
				return out, nil
			}
		case status&0xf0 == 0xc0 || status&0xf0 == 0xd0:
			out, b = append(out, message{at, []byte{status, b[0]}}), b[1:]
		case status >= 0x80 && status < 0xf0:
			out, b = append(out, message{at, []byte{status, b[0], b[1]}}), b[2:]
		default:
			return nil, fmt.Errorf("status %x", status)
		}
	}
	return nil, fmt.Errorf("no end of track")
}

// seconds of a tick by the tempo map: 500,000 microseconds a quarter before the first
// tempo (RP-001, "Set Tempo").
func (f *file) seconds(tick int64) float64 {
	now, last, tempo := 0.0, int64(0), 500000.0
	for _, m := range f.tracks[0] {
		if m.at > tick {
			break
		}
		if m.data[0] == 0xff && m.data[1] == 0x51 {
			now += float64(m.at-last) / float64(f.quarter) * tempo / 1e6
			last = m.at
			tempo = float64(int(m.data[2])<<16 | int(m.data[3])<<8 | int(m.data[4]))
		}
	}
	return now + float64(tick-last)/float64(f.quarter)*tempo/1e6
}

// The table of RP-001, page 2.
func TestQuantities(t *testing.T) {
	for _, c := range []struct {
		v int64
		b []byte
	}{{0, []byte{0}}, {0x40, []byte{0x40}}, {0x7f, []byte{0x7f}}, {0x80, []byte{0x81, 0}}, {0x2000, []byte{0xc0, 0}}, {0x3fff, []byte{0xff, 0x7f}},
		{0x4000, []byte{0x81, 0x80, 0}}, {0x100000, []byte{0xc0, 0x80, 0}}, {0x1fffff, []byte{0xff, 0xff, 0x7f}}, {0x200000, []byte{0x81, 0x80, 0x80, 0}},
		{0x8000000, []byte{0xc0, 0x80, 0x80, 0}}, {0xfffffff, []byte{0xff, 0xff, 0xff, 0x7f}}} {
		if v, rest, err := readVar(c.b); v != c.v || len(rest) != 0 || err != nil {
			t.Errorf("% x: %x, %v", c.b, v, err)
		}
		// a track that waits so long before a note writes these bytes
		tr := track([]event{{c.v, 0, []byte{0x90, 60, 1}}}, c.v)
		var buf bytes.Buffer
		if c.v > 0 {
			writeAlone(t, &buf, tr)
			if !bytes.Contains(buf.Bytes(), append(slices.Clone(c.b), 0x90, 60, 1)) {
				t.Errorf("%x is not written as % x", c.v, c.b)
			}
		}
	}
}

func planOf(t *testing.T, data []byte, o pace.Options) (*pace.Plan, Song) {
	t.Helper()
	_, sc := xmltest.Decode(t, data, "test")
	p := sc.Parts[0]
	in := pace.Input{Part: p, Quarter: sc.Quarter, Events: timeline.Events(p), Base: timeline.PaceOf(sc, p)}
	return pace.New(in, o), Song{Title: "test", Part: "part", Program: 42, Quarter: sc.Quarter}
}

// checkTimes reads what was written: every bar line and every note is where the plan
// has it.
func checkTimes(t *testing.T, name string, song Song) *file {
	t.Helper()
	var buf bytes.Buffer
	if err := Encode(&buf, song); err != nil {
		t.Fatal(err)
	}
	f, err := readFile(buf.Bytes())
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if f.format != 1 || f.quarter != Quarter {
		t.Errorf("%s: format %d, %d ticks a quarter", name, f.format, f.quarter)
	}
	e := encoder{song: song}
	e.segments()
	for _, s := range e.segs {
		if got := f.seconds(s.from); math.Abs(got-s.start) > 1e-4 {
			t.Errorf("%s: a bar line at %.6f s, planned %.6f", name, got, s.start)
			break
		}
	}
	var want []float64
	starts := song.Programme.Starts()
	for i, turn := range song.Programme {
		for _, n := range turn.Passage.Notes {
			want = append(want, starts[i]+turn.Lead+n.Onset)
		}
	}
	var got []float64
	sounding := map[byte]int{}
	for _, m := range f.tracks[1] {
		switch {
		case isNote(m.data, 0x90) && m.data[2] > 0:
			got = append(got, f.seconds(m.at))
			sounding[m.data[1]]++
		case isNote(m.data, 0x80):
			sounding[m.data[1]]--
		}
	}
	for k, n := range sounding {
		if n != 0 {
			t.Errorf("%s: key %d is left with %d", name, k, n)
		}
	}
	slices.Sort(want)
	slices.Sort(got)
	if len(got) != len(want) {
		t.Fatalf("%s: %d notes, want %d", name, len(got), len(want))
	}
	for i := range want {
		if math.Abs(got[i]-want[i]) > 0.002 { // a tick is half a millisecond at 60 quarters
			t.Errorf("%s: note %d at %.4f s, planned %.4f", name, i, got[i], want[i])
			break
		}
	}
	return f
}

func TestEncodeDemo(t *testing.T) {
	plan, song := planOf(t, demo.Jig, pace.Options{Amounts: pace.Proposed()})
	all := plan.Passage(0, 1<<20)
	count, lead := all.CountIn(1)
	some := plan.Passage(3, 6)
	slow := some.Scaled(0.5)
	song.A4 = 415
	song.Programme = pace.Programme{{Label: "all", Passage: all, Count: count, Lead: lead, Clicks: all.Clicks(pace.FollowPlan), Gap: 1.5}, {Label: "slow", Passage: slow}}
	f := checkTimes(t, "demo", song)
	if len(f.tracks) != 3 {
		t.Fatalf("%d tracks", len(f.tracks))
	}
	var buf bytes.Buffer
	if err := Encode(&buf, song); err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(buf.Bytes(), []byte{'M', 'T', 'h', 'd', 0, 0, 0, 6, 0, 1, 0, 3, 0x03, 0xc0}) { // RP-001, "Header Chunks"
		t.Errorf("header % x", buf.Bytes()[:14])
	}
	// 415 Hz: 101.27 cents down, by the registered parameters of MIDI 1.0
	coarse, fine := 0, 0
	reg := 0
	for _, m := range f.tracks[1] {
		if m.data[0] == 0xb0 {
			switch m.data[1] {
			case 100:
				reg = int(m.data[2])
			case 6:
				if reg == 2 {
					coarse = int(m.data[2]) - 64
				} else if reg == 1 {
					fine = int(m.data[2]) << 7
				}
			case 38:
				if reg == 1 {
					fine |= int(m.data[2])
				}
			}
		}
	}
	cents := 100*float64(coarse) + 100*float64(fine-8192)/8192
	if want := 1200 * math.Log2(415./440); math.Abs(cents-want) > 0.02 {
		t.Errorf("tuned by %.3f cents, want %.3f", cents, want)
	}
}

// Real scores, whole and in time.
func TestEncodeRealScores(t *testing.T) {
	seen := 0
	for _, name := range testdata.Scores(t, "musicxml/solo/*") {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if len(data) > 1<<20 {
			continue
		}
		plan, song := planOf(t, data, pace.Options{Amounts: pace.Proposed()})
		song.Programme = pace.Programme{{Passage: plan.Passage(0, 1<<20)}}
		checkTimes(t, filepath.Base(name), song)
		seen++
	}
	if seen < 3 {
		t.Fatalf("only %d scores", seen)
	}
	t.Logf("%d scores", seen)
}

func writeAlone(t *testing.T, buf *bytes.Buffer, tr smf.Track) {
	t.Helper()
	f := smf.New()
	f.TimeFormat = smf.MetricTicks(Quarter)
	if err := f.Add(tr); err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteTo(buf); err != nil {
		t.Fatal(err)
	}
}

// A key that is struck again while it sounds is ended first.
func TestSameKeyTwice(t *testing.T) {
	b := pace.PassageBar{Bar: pace.Bar{Seconds: 2, Base: 60, Tempo: 60}, Length: 8, Beat: 4}
	p := pace.Passage{Bars: []pace.PassageBar{b}, Seconds: 2}
	for _, on := range []float64{0, 0.5, 1} {
		p.Notes = append(p.Notes, pace.Note{Key: 60, Onset: on, Release: on + 0.8, Level: -12, Chord: 1})
	}
	var buf bytes.Buffer
	if err := Encode(&buf, Song{Quarter: 4, Programme: pace.Programme{{Passage: p}}}); err != nil {
		t.Fatal(err)
	}
	f, err := readFile(buf.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	var got string
	for _, m := range f.tracks[1] {
		if isNote(m.data, 0x90) || isNote(m.data, 0x80) {
			got += fmt.Sprintf("%x@%.1f ", m.data[0]>>4, f.seconds(m.at))
		}
	}
	if want := "9@0.0 8@0.5 9@0.5 8@1.0 9@1.0 8@1.8 "; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

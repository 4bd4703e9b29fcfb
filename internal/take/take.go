// Package take reads recordings: WAV, FLAC, MP3 and Ogg Vorbis, as a stream of mono
// samples, so that a long take never lies in memory whole. What a file is, its first
// bytes say, not its name.
package take

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"unicode/utf8"
)

// Limits of what is read.
const (
	MaxSeconds  = 3 * 3600
	MaxChannels = 8
	MinRate     = 4000
	MaxRate     = 384000
)

// ErrTooLong says that a take goes on after MaxSeconds.
var ErrTooLong = errors.New("is longer than three hours, the most that is heard; cut it")

// source gives interleaved samples in -1 … 1: it fills whole frames of dst and says
// how many frames it gave; io.EOF only with none.
type source interface {
	read(dst []float32) (frames int, err error)
}

// Reader is one open take.
type Reader struct {
	Format   string // WAV, FLAC, MP3 or Ogg Vorbis
	Rate     int    // Hz
	Channels int
	name     string
	src      source
	buf      []float32
	frames   int64
	notes    []string
	sums     [2]float64 // energy of the mix, and of the channels by themselves
	expected int64      // frames that the header promises, 0 where it does not
	ended    bool
}

// Open looks at the first bytes and makes a reader of the rest. The error is one line
// that names the file and says what to do.
func Open(r io.Reader, name string) (*Reader, error) {
	br := bufio.NewReaderSize(r, 1<<16)
	head, err := br.Peek(512)
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	t := &Reader{name: name}
	if err := t.open(br, head); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if t.Rate < MinRate || t.Rate > MaxRate {
		return nil, fmt.Errorf("%s: has %d samples a second; between %d and %d can be heard; record at 44100 or 48000", name, t.Rate, MinRate, MaxRate)
	}
	if t.Channels < 1 || t.Channels > MaxChannels {
		return nil, fmt.Errorf("%s: has %d channels; from 1 to %d can be heard; save it in one", name, t.Channels, MaxChannels)
	}
	return t, nil
}

func (t *Reader) open(br *bufio.Reader, head []byte) error {
	switch {
	case len(head) == 0:
		return errors.New("is empty (0 bytes): nothing was recorded; record again")
	case bytes.HasPrefix(head, []byte("RIFF")) || bytes.HasPrefix(head, []byte("RF64")):
		return guard(func() error { return t.openWAV(br) })
	case bytes.HasPrefix(head, []byte("fLaC")):
		return guard(func() error { return t.openFLAC(br) })
	case bytes.HasPrefix(head, []byte("OggS")):
		if bytes.Contains(head, []byte("OpusHead")) {
			return errors.New("holds Opus, which is not read here; save it as WAV or FLAC")
		}
		return guard(func() error { return t.openOgg(br) })
	case bytes.HasPrefix(head, []byte("ID3")) || len(head) > 1 && head[0] == 0xff && head[1]&0xe0 == 0xe0:
		return guard(func() error { return t.openMP3(br) })
	}
	return fmt.Errorf("%s; WAV, FLAC, MP3 and Ogg Vorbis are read", whatIs(head))
}

// whatIs says what bytes look like that are no sound.
func whatIs(head []byte) string {
	cut := head
	for len(cut) > 0 && len(head)-len(cut) < utf8.UTFMax && !utf8.Valid(cut) {
		cut = cut[:len(cut)-1] // a letter cut in two by the peek
	}
	text := len(cut) > 0 && utf8.Valid(cut)
	for _, b := range cut {
		text = text && (b >= 0x20 || b == '\n' || b == '\r' || b == '\t')
	}
	switch {
	case bytes.HasPrefix(head, []byte{0x1a, 0x45, 0xdf, 0xa3}):
		return "is a WebM or Matroska file"
	case len(head) > 8 && string(head[4:8]) == "ftyp":
		return "is an MPEG-4 file (M4A, MP4)"
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return "is a packed file (zip)"
	case bytes.Contains(head, []byte("<score-partwise")) || bytes.Contains(head, []byte("<?xml")):
		return "is XML, perhaps the score, not a recording"
	case text:
		return "is text, not sound"
	}
	return "is no sound file that is known"
}

// guard turns a panic of a decoder on a broken file into an error.
func guard(f func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("is broken in a way its decoder cannot read (%v); save it anew as WAV", r)
		}
	}()
	return f()
}

// Read fills dst with mono samples, the mean of the channels. It gives io.EOF at the
// end; a file that breaks off or goes wrong inside ends there and Notes says so.
func (t *Reader) Read(dst []float32) (n int, err error) {
	if t.ended {
		return 0, io.EOF
	}
	if t.frames > int64(t.Rate)*MaxSeconds {
		return 0, fmt.Errorf("%s: %w", t.name, ErrTooLong)
	}
	if need := len(dst) * t.Channels; cap(t.buf) < need {
		t.buf = make([]float32, need)
	}
	err = guard(func() (err error) {
		n, err = t.src.read(t.buf[:len(dst)*t.Channels])
		return err
	})
	t.mix(dst, n)
	t.frames += int64(n)
	if err == nil {
		return n, nil
	}
	t.ended = true
	t.close(err)
	if n > 0 {
		return n, nil
	}
	return 0, io.EOF
}

// close notes how the file ended.
func (t *Reader) close(err error) {
	at := float64(t.frames) / float64(t.Rate)
	switch {
	case err != io.EOF && err != io.ErrUnexpectedEOF:
		t.notes = append(t.notes, fmt.Sprintf("The file goes wrong after %s and is heard to there: %v.", Clock(at), err))
	case err == io.ErrUnexpectedEOF || t.expected > t.frames+1:
		s := fmt.Sprintf("The file breaks off after %s", Clock(at))
		if t.expected > 0 {
			s += fmt.Sprintf(" of the %s that its header promises", Clock(float64(t.expected)/float64(t.Rate)))
		}
		t.notes = append(t.notes, s+"; what is there is heard.")
	}
	if t.Channels > 1 && t.sums[1] > 0 && t.sums[0] < 0.05*t.sums[1] {
		t.notes = append(t.notes, "The channels nearly cancel each other when they are put together, as when one cable is turned about; save one of them alone.")
	}
}

func (t *Reader) mix(dst []float32, n int) {
	c := t.Channels
	for i := 0; i < n; i++ {
		sum, each := float32(0), float32(0)
		for _, v := range t.buf[i*c : (i+1)*c] {
			if math.IsNaN(float64(v)) || v > 64 || v < -64 {
				v = 0 // no sound: a slip of a float file
			}
			sum += v
			each += v * v
		}
		sum /= float32(c)
		dst[i] = sum
		t.sums[0] += float64(sum) * float64(sum)
		t.sums[1] += float64(each) / float64(c)
	}
}

// Notes are sentences about the file itself, whole after Read gave io.EOF.
func (t *Reader) Notes() []string { return t.notes }

// Seconds that were read so far.
func (t *Reader) Seconds() float64 { return float64(t.frames) / float64(t.Rate) }

// Expected is the length in seconds that the header promises, 0 where it does not.
func (t *Reader) Expected() float64 { return float64(t.expected) / float64(t.Rate) }

// Clock writes seconds as a player reads them off a clock: 0:07.3, 12:05.0.
func Clock(seconds float64) string {
	tenths := int(math.Round(seconds * 10))
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
}

package take

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/hajimehoshi/go-mp3"
	"github.com/jfreymuth/oggvorbis"
	"github.com/mewkiz/flac"
)

// flacSource gives the frames of a FLAC stream.
type flacSource struct {
	s        *flac.Stream
	channels int
	scale    float32
	pending  []float32
	done     error
}

func (t *Reader) openFLAC(r io.Reader) error {
	s, err := flac.New(r)
	if err != nil {
		return fmt.Errorf("is a FLAC file with a broken head (%v); save it anew", err)
	}
	t.Format, t.Rate, t.Channels = "FLAC", int(s.Info.SampleRate), int(s.Info.NChannels)
	t.expected = int64(min(s.Info.NSamples, 1<<40))
	t.src = &flacSource{s: s, channels: t.Channels, scale: 1 / float32(int64(1)<<(s.Info.BitsPerSample-1))}
	return nil
}

func (f *flacSource) read(dst []float32) (int, error) {
	for len(f.pending) == 0 {
		if f.done != nil {
			return 0, f.done
		}
		frame, err := f.s.ParseNext()
		if err != nil {
			f.done = err
			continue
		}
		if len(frame.Subframes) != f.channels {
			f.done = errors.New("the number of channels changes")
			continue
		}
		for i := 0; i < int(frame.BlockSize); i++ {
			for _, sub := range frame.Subframes {
				f.pending = append(f.pending, float32(sub.Samples[i])*f.scale)
			}
		}
	}
	n := copy(dst, f.pending)
	n -= n % f.channels
	f.pending = f.pending[n:]
	return n / f.channels, nil
}

// oggSource gives the samples of an Ogg Vorbis stream.
type oggSource struct {
	r        *oggvorbis.Reader
	channels int
}

func (t *Reader) openOgg(r io.Reader) error {
	// without seeking: the length would be sought at the end of the file
	o, err := oggvorbis.NewReader(struct{ io.Reader }{r})
	if err != nil {
		return fmt.Errorf("is an Ogg file that holds no Vorbis that can be read (%v); save it as WAV or FLAC", err)
	}
	t.Format, t.Rate, t.Channels = "Ogg Vorbis", o.SampleRate(), o.Channels()
	t.src = &oggSource{o, t.Channels}
	return nil
}

func (o *oggSource) read(dst []float32) (int, error) {
	n, err := o.r.Read(dst)
	n -= n % o.channels
	if n > 0 {
		return n / o.channels, nil
	}
	if err == nil {
		err = io.ErrNoProgress
	}
	return 0, err
}

// mp3Source gives the samples of an MP3 stream, which its decoder always makes 16-bit
// stereo. What the encoder put in front is left out where the file tells it.
type mp3Source struct {
	d    *mp3.Decoder
	skip int64 // frames yet to leave out
	raw  []byte
	have int
}

// decoderDelay of an MP3 decoder in samples (the usual 528 and one; from memory), and
// the samples of a frame.
const (
	decoderDelay = 529
	mp3Frame     = 1152
)

func (t *Reader) openMP3(r *bufio.Reader) error {
	head, _ := r.Peek(1 << 14) // what is there is enough
	s := &mp3Source{skip: mp3Delay(head)}
	var err error
	if s.d, err = mp3.NewDecoder(struct{ io.Reader }{r}); err != nil {
		return fmt.Errorf("begins like an MP3 file but cannot be read as one (%v); save it as WAV or FLAC", err)
	}
	t.Format, t.Rate, t.Channels, t.src = "MP3", s.d.SampleRate(), 2, s
	return nil
}

// mp3Delay looks for the information frame that encoders write: that frame itself is
// silence, and its 12 bits of delay say how much more silence stands in front. 0 where
// there is none.
func mp3Delay(head []byte) int64 {
	at := bytes.Index(head, []byte("Xing"))
	if at < 0 {
		at = bytes.Index(head, []byte("Info"))
	}
	if at < 0 || at+8 > len(head) {
		return 0
	}
	flags := head[at+7]
	p := at + 8
	for bit, size := range [...]int{4, 4, 100, 4} { // frames, bytes, table of contents, quality
		if flags&(1<<bit) != 0 {
			p += size
		}
	}
	p += 21 // version, and what does not matter here
	if p+3 > len(head) {
		return mp3Frame
	}
	return mp3Frame + decoderDelay + int64(head[p])<<4 + int64(head[p+1])>>4
}

func (m *mp3Source) read(dst []float32) (int, error) {
	const frame = 4
	if len(m.raw) < len(dst)*2 {
		m.raw = append(m.raw, make([]byte, len(dst)*2-len(m.raw))...)
	}
	for {
		n, err := m.d.Read(m.raw[m.have : len(dst)*2])
		m.have += n
		whole := m.have / frame
		if whole == 0 {
			if err != nil {
				return 0, err
			}
			if n == 0 {
				return 0, io.ErrNoProgress
			}
			continue
		}
		drop := int(min(m.skip, int64(whole)))
		m.skip -= int64(drop)
		for i := range 2 * (whole - drop) {
			b := m.raw[drop*frame+2*i:]
			dst[i] = float32(int16(uint16(b[0])|uint16(b[1])<<8)) / (1 << 15)
		}
		m.have = copy(m.raw, m.raw[whole*frame:m.have])
		if whole > drop {
			return whole - drop, nil
		}
	}
}

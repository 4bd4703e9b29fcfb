package take

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Sample codes of a WAV file's fmt chunk (Multimedia Programming Interface and Data
// Specifications 1.0, 1991, and its WAVE_FORMAT_EXTENSIBLE of 2001).
const (
	codePCM        = 1
	codeFloat      = 3
	codeExtensible = 0xfffe
)

// wav reads the samples of the data chunk.
type wav struct {
	r        io.Reader
	bits     int
	float    bool
	channels int
	left     int64 // bytes, -1: to the end of the file
	raw      []byte
}

func (t *Reader) openWAV(r io.Reader) error {
	var head [12]byte
	if _, err := io.ReadFull(r, head[:]); err != nil || string(head[8:]) != "WAVE" {
		return errors.New("begins like a WAV file but is none; save it anew as WAV")
	}
	w := &wav{r: r}
	known := false
	for {
		var c [8]byte
		if _, err := io.ReadFull(r, c[:]); err != nil {
			return errors.New("is a WAV file without sound in it (no data chunk): it breaks off too soon; record or save it again")
		}
		size := binary.LittleEndian.Uint32(c[4:])
		switch string(c[:4]) {
		case "fmt ":
			if err := t.wavFormat(w, size); err != nil {
				return err
			}
			known = true
			continue
		case "data":
			if !known {
				return errors.New("is a WAV file that does not say what its samples are (no fmt chunk); save it anew")
			}
			t.wavData(w, size, string(head[:4]) == "RF64")
			return nil
		}
		if _, err := io.CopyN(io.Discard, r, int64(size)+int64(size&1)); err != nil {
			return errors.New("is a WAV file that breaks off before its sound; record or save it again")
		}
	}
}

// wavFormat reads a fmt chunk.
func (t *Reader) wavFormat(w *wav, size uint32) error {
	if size < 16 || size > 1<<12 {
		return fmt.Errorf("is a WAV file with a broken header (fmt chunk of %d bytes); save it anew", size)
	}
	b := make([]byte, size+size&1)
	if _, err := io.ReadFull(w.r, b); err != nil {
		return errors.New("is a WAV file that breaks off in its header; record or save it again")
	}
	code := binary.LittleEndian.Uint16(b)
	t.Channels = int(binary.LittleEndian.Uint16(b[2:]))
	t.Rate = int(min(binary.LittleEndian.Uint32(b[4:]), math.MaxInt32))
	w.bits = int(binary.LittleEndian.Uint16(b[14:]))
	if code == codeExtensible && size >= 40 {
		code = binary.LittleEndian.Uint16(b[24:])
	}
	w.float, w.channels = code == codeFloat, t.Channels
	switch {
	case code == codePCM && (w.bits == 8 || w.bits == 16 || w.bits == 24 || w.bits == 32):
	case code == codeFloat && (w.bits == 32 || w.bits == 64):
	default:
		return fmt.Errorf("holds samples of a kind that is not read (code %d, %d bits); save it as plain PCM of 16 or 24 bits", code, w.bits)
	}
	if t.Channels == 0 {
		return errors.New("is a WAV file of no channels; save it anew")
	}
	if align := int(binary.LittleEndian.Uint16(b[12:])); align != t.Channels*w.bits/8 {
		return fmt.Errorf("is a WAV file whose header contradicts itself (%d bytes a frame for %d channels of %d bits); save it anew", align, t.Channels, w.bits)
	}
	return nil
}

// wavData sets how much sound there is. Programs that write while they record leave
// 0 or the largest number there: then it goes on to the end of the file.
func (t *Reader) wavData(w *wav, size uint32, large bool) {
	t.Format, t.src = "WAV", w
	w.left = int64(size)
	if size == 0 || size >= 0xffffff00 || large {
		w.left = -1
		return
	}
	t.expected = int64(size) / int64(t.Channels*w.bits/8)
}

func (w *wav) read(dst []float32) (int, error) {
	each := w.bits / 8
	frame := each * w.channels
	want := len(dst) / w.channels * frame
	if w.left >= 0 {
		want = int(min(int64(want), w.left/int64(frame)*int64(frame)))
	}
	if want == 0 {
		return 0, io.EOF
	}
	if cap(w.raw) < want {
		w.raw = make([]byte, want)
	}
	n, err := io.ReadFull(w.r, w.raw[:want])
	if w.left >= 0 {
		w.left -= int64(n)
	}
	n -= n % frame
	for i := 0; i < n/each; i++ {
		dst[i] = w.sample(w.raw[i*each:])
	}
	if err == io.ErrUnexpectedEOF && w.left < 0 {
		err = io.EOF // it goes to the end, wherever that is
	}
	return n / frame, err
}

// sample reads one; 8 bits are unsigned, the others two's complement.
func (w *wav) sample(b []byte) float32 {
	switch {
	case w.float && w.bits == 64:
		return float32(math.Float64frombits(binary.LittleEndian.Uint64(b)))
	case w.float:
		return math.Float32frombits(binary.LittleEndian.Uint32(b))
	case w.bits == 8:
		return (float32(b[0]) - 128) / 128
	case w.bits == 16:
		return float32(int16(binary.LittleEndian.Uint16(b))) / (1 << 15)
	case w.bits == 24:
		return float32(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)>>8) / (1 << 23)
	}
	return float32(int32(binary.LittleEndian.Uint32(b))) / (1 << 31)
}

// Package wave writes sound as RIFF WAVE files. It knows no music.
package wave

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Writer writes mono PCM as a RIFF WAVE file (Multimedia Programming Interface and Data
// Specifications 1.0, IBM and Microsoft 1991): header, "fmt " chunk of 16 bytes,
// "data" chunk padded to an even length. The number of samples is told beforehand, so
// that the stream is written once from its beginning to its end.
type Writer struct {
	w    io.Writer
	bits int
	left int64
	odd  bool
	buf  []byte
	seed uint64
}

// New writes the header for so many samples, of 16 or 24 bits.
func New(w io.Writer, rate, bits int, samples int64) (*Writer, error) {
	if bits != 16 && bits != 24 {
		return nil, fmt.Errorf("%d bits: a WAV is written with 16 or 24", bits)
	}
	width := bits / 8
	size := samples * int64(width)
	pad := size % 2
	if samples < 0 || size+pad > math.MaxUint32-36 {
		return nil, fmt.Errorf("%d samples: longer than a WAV file holds", samples)
	}
	h := make([]byte, 0, 44)
	h = append(h, "RIFF"...)
	h = binary.LittleEndian.AppendUint32(h, uint32(36+size+pad))
	h = append(h, "WAVEfmt "...)
	h = binary.LittleEndian.AppendUint32(h, 16)
	h = binary.LittleEndian.AppendUint16(h, 1) // PCM
	h = binary.LittleEndian.AppendUint16(h, 1) // channels
	h = binary.LittleEndian.AppendUint32(h, uint32(rate))
	h = binary.LittleEndian.AppendUint32(h, uint32(rate*width))
	h = binary.LittleEndian.AppendUint16(h, uint16(width))
	h = binary.LittleEndian.AppendUint16(h, uint16(bits))
	h = append(h, "data"...)
	h = binary.LittleEndian.AppendUint32(h, uint32(size))
	if _, err := w.Write(h); err != nil {
		return nil, err
	}
	return &Writer{w: w, bits: bits, left: samples, odd: pad == 1, seed: 1}, nil
}

// Write takes samples between -1 and 1; what is beyond is cut. To 16 bits a dither of
// triangular density and two steps is added (Lipshitz, Wannamaker and Vanderkooy 1992).
func (f *Writer) Write(xs []float64) error {
	if int64(len(xs)) > f.left {
		return errors.New("wave: more samples than were told")
	}
	f.left -= int64(len(xs))
	f.buf = f.buf[:0]
	top := float64(int(1) << (f.bits - 1))
	for _, x := range xs {
		v := x * top
		if f.bits == 16 {
			v += f.uniform() - f.uniform()
		}
		n := int32(min(max(math.Round(v), -top), top-1))
		f.buf = append(f.buf, byte(n), byte(n>>8))
		if f.bits == 24 {
			f.buf = append(f.buf, byte(n>>16))
		}
	}
	_, err := f.w.Write(f.buf)
	return err
}

// uniform is between 0 and 1.
func (f *Writer) uniform() float64 {
	f.seed ^= f.seed << 13
	f.seed ^= f.seed >> 7
	f.seed ^= f.seed << 17
	return float64(f.seed>>11) / (1 << 53)
}

// Close ends the data chunk. It does not close the writer under it.
func (f *Writer) Close() error {
	if f.left != 0 {
		return fmt.Errorf("wave: %d samples fewer than were told", f.left)
	}
	if f.odd {
		_, err := f.w.Write([]byte{0})
		return err
	}
	return nil
}

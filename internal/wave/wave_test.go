package wave

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"
)

const rate = 44100

// The file as RIFF has it: sizes, format, and the samples as they were given.
func TestWave(t *testing.T) {
	for _, bits := range []int{16, 24} {
		var buf bytes.Buffer
		w, err := New(&buf, rate, bits, 5)
		if err != nil {
			t.Fatal(err)
		}
		in := []float64{0, 0.5, -0.5, 1, -1}
		if err := w.Write(in[:2]); err != nil {
			t.Fatal(err)
		}
		if w.Close() == nil {
			t.Error("closed with samples missing")
		}
		if err := w.Write(in[2:]); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		b := buf.Bytes()
		u32 := func(at int) int { return int(binary.LittleEndian.Uint32(b[at:])) }
		u16 := func(at int) int { return int(binary.LittleEndian.Uint16(b[at:])) }
		size := 5 * bits / 8
		if string(b[:4]) != "RIFF" || string(b[8:16]) != "WAVEfmt " || string(b[36:40]) != "data" || u32(4) != len(b)-8 || u32(40) != size || len(b)%2 != 0 {
			t.Errorf("%d bits: header % x of %d bytes", bits, b[:44], len(b))
		}
		if u32(16) != 16 || u16(20) != 1 || u16(22) != 1 || u32(24) != rate || u32(28) != rate*bits/8 || u16(32) != bits/8 || u16(34) != bits {
			t.Errorf("%d bits: format % x", bits, b[20:36])
		}
		for i, want := range in {
			v := 0
			for k := bits/8 - 1; k >= 0; k-- {
				v = v<<8 | int(b[44+i*bits/8+k])
			}
			v = v << (64 - bits) >> (64 - bits)
			if got := float64(v) / float64(int(1)<<(bits-1)); math.Abs(got-want) > 2.0/float64(int(1)<<(bits-1)) {
				t.Errorf("%d bits: sample %d is %v, want %v", bits, i, got, want)
			}
		}
	}
	if _, err := New(&bytes.Buffer{}, rate, 8, 1); err == nil {
		t.Error("8 bits were taken")
	}
}

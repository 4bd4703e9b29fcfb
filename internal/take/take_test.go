package take

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"

	lt "pochette/internal/listentest"
	"pochette/internal/testdata"
)

// tone is some of a sine of 440 Hz.
func tone(n, rate int) []float32 {
	x := make([]float32, n)
	for i := range x {
		x[i] = float32(0.5 * math.Sin(2*math.Pi*440*float64(i)/float64(rate)))
	}
	return x
}

// all reads a take to its end.
func all(t testing.TB, data []byte) ([]float32, *Reader, error) {
	t.Helper()
	r, err := Open(bytes.NewReader(data), "t")
	if err != nil {
		return nil, nil, err
	}
	var out []float32
	buf := make([]float32, 1000)
	for {
		n, err := r.Read(buf)
		out = append(out, buf[:n]...)
		if err == io.EOF {
			return out, r, nil
		}
		if err != nil {
			return out, r, err
		}
	}
}

// pack makes a WAV file of any kind of sample, each channel the same.
func pack(x []float32, rate, channels, bits int, float, extensible bool, dataSize int64) []byte {
	var body []byte
	for _, v := range x {
		for range channels {
			switch {
			case float && bits == 32:
				body = binary.LittleEndian.AppendUint32(body, math.Float32bits(v))
			case float:
				body = binary.LittleEndian.AppendUint64(body, math.Float64bits(float64(v)))
			case bits == 8:
				body = append(body, byte(int(v*127)+128))
			default:
				s := int64(float64(v) * float64(int64(1)<<(bits-1)))
				for b := 0; b < bits; b += 8 {
					body = append(body, byte(s>>b))
				}
			}
		}
	}
	code := uint16(1)
	if float {
		code = 3
	}
	format := binary.LittleEndian.AppendUint16(nil, code)
	if extensible {
		format = binary.LittleEndian.AppendUint16(nil, 0xfffe)
	}
	format = binary.LittleEndian.AppendUint16(format, uint16(channels))
	format = binary.LittleEndian.AppendUint32(format, uint32(rate))
	format = binary.LittleEndian.AppendUint32(format, uint32(rate*channels*bits/8))
	format = binary.LittleEndian.AppendUint16(format, uint16(channels*bits/8))
	format = binary.LittleEndian.AppendUint16(format, uint16(bits))
	if extensible {
		format = append(format, 22, 0, byte(bits), 0, 4, 0, 0, 0)
		format = binary.LittleEndian.AppendUint16(format, code)
		format = append(format, make([]byte, 14)...)
	}
	if dataSize < 0 {
		dataSize = int64(len(body))
	}
	out := []byte("RIFF\x00\x00\x00\x00WAVE")
	out = append(out, "junk\x03\x00\x00\x00abc\x00"...) // a chunk of odd length, padded
	out = append(out, "fmt "...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(format)))
	out = append(out, format...)
	out = append(out, "data"...)
	out = binary.LittleEndian.AppendUint32(out, uint32(dataSize))
	return append(out, body...)
}

func TestWAVKinds(t *testing.T) {
	x := tone(3000, 44100)
	for _, c := range []struct {
		channels, bits    int
		float, extensible bool
		size              int64
		tolerance         float64
	}{
		{1, 8, false, false, -1, 0.016}, {1, 16, false, false, -1, 1e-4}, {2, 16, false, true, -1, 1e-4}, {1, 24, false, false, -1, 1e-6},
		{6, 32, false, true, -1, 1e-6}, {1, 32, true, false, -1, 0}, {2, 64, true, false, -1, 0}, {1, 16, false, false, 0, 1e-4}, {2, 16, false, false, 0xffffffff, 1e-4},
	} {
		got, r, err := all(t, pack(x, 44100, c.channels, c.bits, c.float, c.extensible, c.size))
		if err != nil || len(got) != len(x) || r.Channels != c.channels || r.Rate != 44100 || len(r.Notes()) > 0 {
			t.Errorf("%+v: %d samples, %v, %v", c, len(got), err, r)
			continue
		}
		for i := range x {
			if math.Abs(float64(got[i]-x[i])) > c.tolerance+1e-7 {
				t.Errorf("%+v: sample %d is %v, want %v", c, i, got[i], x[i])
				break
			}
		}
	}
}

// What package wave writes is read back; what is beyond full scale was cut.
func TestWrittenWAVReadsBack(t *testing.T) {
	x := append(tone(1000, 48000), 2, -2)
	got, r, err := all(t, lt.WAV(x, 48000))
	if err != nil || r.Rate != 48000 || len(got) != len(x) || math.Abs(float64(got[500]-x[500])) > 1.0/(1<<15) || got[1000] < 0.9999 || got[1001] != -1 {
		t.Fatalf("%v %v %v", err, r, got[998:])
	}
}

// Every bad file gives one line that is true and says what to do.
func TestBadFiles(t *testing.T) {
	good := pack(tone(44100, 44100), 44100, 1, 16, false, false, -1)
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"nothing", nil, "is empty (0 bytes)"},
		{"text", []byte("Dear Mia,\nI recorded the minuet."), "is text, not sound"},
		{"text with a letter cut at the peek", []byte(strings.Repeat("é", 255) + "aé" + strings.Repeat("é", 300)), "is text, not sound"},
		{"score", []byte(`<?xml version="1.0"?><score-partwise/>`), "perhaps the score"},
		{"bytes", []byte{0, 1, 2, 200, 7}, "no sound file that is known"},
		{"head alone", []byte("RIFF"), "is none"},
		{"no data", good[:52], "breaks off"},
		{"channels", pack(tone(10, 44100), 44100, 12, 16, false, false, -1), "12 channels"},
		{"rate", pack(tone(10, 44100), 100, 1, 16, false, false, -1), "100 samples a second"},
		{"bits", pack(tone(10, 44100), 44100, 1, 40, false, false, -1), "not read (code 1, 40 bits)"},
		{"mp4", []byte("\x00\x00\x00\x20ftypM4A more"), "MPEG-4"},
		{"opus", append([]byte("OggS"), "....OpusHead"...), "Opus"},
		{"flac", []byte("fLaC nothing of the kind"), "broken"},
	} {
		_, _, err := all(t, c.data)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), "t: ") {
			t.Errorf("%s: %v; want %q", c.name, err, c.want)
		}
	}
	got, r, err := all(t, good[:len(good)/2])
	if err != nil || len(got) < 20000 || len(r.Notes()) != 1 || !strings.Contains(r.Notes()[0], "breaks off after 0:00.5 of the 0:01.0") {
		t.Errorf("half a file: %d samples, %v, %v", len(got), err, r.Notes())
	}
}

// Channels that cancel are told.
func TestOpposedChannels(t *testing.T) {
	data := pack(tone(3000, 44100), 44100, 2, 16, false, false, -1)
	for i := len(data) - 4*3000; i < len(data); i += 4 {
		v := int16(binary.LittleEndian.Uint16(data[i:]))
		binary.LittleEndian.PutUint16(data[i+2:], uint16(-v))
	}
	if _, r, err := all(t, data); err != nil || len(r.Notes()) != 1 || !strings.Contains(r.Notes()[0], "cancel") {
		t.Errorf("%v %v", err, r)
	}
}

func TestFLAC(t *testing.T) {
	x := tone(5000, 48000)
	var b bytes.Buffer
	info := &meta.StreamInfo{BlockSizeMin: 1000, BlockSizeMax: 1000, SampleRate: 48000, NChannels: 1, BitsPerSample: 16, NSamples: 5000}
	enc, err := flac.NewEncoder(&b, info)
	if err != nil {
		t.Fatal(err)
	}
	for at := 0; at < len(x); at += 1000 {
		s := &frame.Subframe{SubHeader: frame.SubHeader{Pred: frame.PredVerbatim}, NSamples: 1000}
		for _, v := range x[at : at+1000] {
			s.Samples = append(s.Samples, int32(v*(1<<15)))
		}
		if err := enc.WriteFrame(&frame.Frame{Header: frame.Header{BlockSize: 1000, SampleRate: 48000, Channels: frame.ChannelsMono, BitsPerSample: 16}, Subframes: []*frame.Subframe{s}}); err != nil {
			t.Fatal(err)
		}
	}
	enc.Close()
	got, r, err := all(t, b.Bytes())
	if err != nil || r.Rate != 48000 || len(got) != len(x) || math.Abs(float64(got[1234]-x[1234])) > 1e-4 {
		t.Fatalf("%d samples, %v", len(got), err)
	}
	if got, r, err := all(t, b.Bytes()[:b.Len()/2]); err != nil || len(got) == 0 || len(r.Notes()) == 0 {
		t.Errorf("half a file: %d samples, %v", len(got), err)
	}
}

// The recorded movement of the shared data (CC BY 3.0, see its README): it is as long
// as its alignment says, and something sounds.
func TestMP3(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(testdata.Dir(t), "timing", "audio", "take_a.mp3"))
	if err != nil {
		t.Fatal(err)
	}
	got, r, err := all(t, data)
	if err != nil || r.Format != "MP3" {
		t.Fatal(err)
	}
	t.Logf("%d Hz, %.2f s, notes %v", r.Rate, float64(len(got))/float64(r.Rate), r.Notes())
	sum := 0.0
	for _, v := range got {
		sum += float64(v) * float64(v)
	}
	if rms := math.Sqrt(sum / float64(len(got))); rms < 0.005 || rms > 0.5 {
		t.Errorf("rms %v", rms)
	}
	if half, r, err := all(t, data[:len(data)/2]); err != nil || len(half) < len(got)*4/10 {
		t.Errorf("half a file: %d of %d samples, %v, %v", len(half), len(got), err, r.Notes())
	}
}

// The decoder's own fixture: its raw floats beside its Ogg file.
func TestOgg(t *testing.T) {
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/jfreymuth/oggvorbis").Output()
	if err != nil {
		t.Skip("the module's folder is not to be found: ", err)
	}
	dir := filepath.Join(strings.TrimSpace(string(out)), "testdata")
	data, err := os.ReadFile(filepath.Join(dir, "test.ogg"))
	if err != nil {
		t.Skip("the module has no test file here: ", err)
	}
	raw, err := os.ReadFile(filepath.Join(dir, "test.raw"))
	if err != nil {
		t.Fatal(err)
	}
	got, r, err := all(t, data)
	if err != nil || r.Format != "Ogg Vorbis" || len(got) != len(raw)/4/r.Channels {
		t.Fatalf("%d samples, %v", len(got), err)
	}
	for i, v := range got {
		sum := float32(0)
		for c := range r.Channels {
			sum += math.Float32frombits(binary.LittleEndian.Uint32(raw[4*(i*r.Channels+c):]))
		}
		if d := v - sum/float32(r.Channels); d > 2e-4 || d < -2e-4 {
			t.Fatalf("sample %d differs by %v", i, d)
		}
	}
}

func FuzzWAV(f *testing.F) {
	f.Add(pack(tone(100, 8000), 8000, 1, 16, false, false, -1))
	f.Add(pack(tone(100, 8000), 8000, 2, 24, false, true, 0))
	f.Add(pack(tone(10, 8000), 8000, 1, 64, true, false, 0xffffffff))
	f.Add([]byte("RIFF    WAVEdata"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if !bytes.HasPrefix(data, []byte("RIFF")) {
			return // another reader's: those are fuzzed by their makers
		}
		got, _, err := all(t, data)
		if err != nil && strings.Contains(err.Error(), "broken in a way") {
			t.Fatal("panic inside: ", err)
		}
		if len(got) > len(data) {
			t.Fatalf("%d samples from %d bytes", len(got), len(data))
		}
		for _, v := range got {
			if math.IsNaN(float64(v)) || v > 64 || v < -64 {
				t.Fatalf("sample %v", v)
			}
		}
	})
}

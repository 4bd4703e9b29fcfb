package audio

import "math"

// Peak is one partial of a spectrum: its frequency in Hz and its amplitude (a sine
// of amplitude 1 has 1).
type Peak struct{ Hz, Amp float32 }

// Candidate is one reading of the pitch of a frame: its frequency in Hz and how
// periodic the sound is at it, up to 1.
type Candidate struct{ Hz, Clarity float32 }

// Features are what is kept of a take: some 20 kB a second.
type Features struct {
	Samples int // at Rate

	// By fine frame.
	Level []float32 // dB relative to full scale, over 10 ms
	Flux  []float32 // rise of the log spectrum, see flux.go

	// By coarse frame.
	Hz      []float32 // of the pitch track, 0 where there is no pitch
	Clarity []float32 // of the track, 0 … 1
	Rough   []float32 // share of the energy that lies in no partial, 0 … 1

	Peak      float32 // largest magnitude of the input
	Clipped   int     // samples that stand in runs at the top
	Weighted  float64 // loudness of the whole, LUFS (ITU-R BS.1770), Silent where there is none
	cands     []Candidate
	candStart []int32
	peaks     []Peak
	peakStart []int32
	loud      gatedLoudness
}

// Seconds is the length of the take.
func (f *Features) Seconds() float64 { return float64(f.Samples) / Rate }

// Frames is the number of coarse frames.
func (f *Features) Frames() int { return len(f.Rough) }

// Peaks are the partials of a coarse frame, by rising frequency.
func (f *Features) Peaks(frame int) []Peak {
	return f.peaks[f.peakStart[frame]:f.peakStart[frame+1]]
}

// Candidates are the readings of the pitch of a coarse frame.
func (f *Features) Candidates(frame int) []Candidate {
	return f.cands[f.candStart[frame]:f.candStart[frame+1]]
}

// LevelAt is the level at a coarse frame.
func (f *Features) LevelAt(frame int) float64 {
	if i := 2 * frame; i < len(f.Level) {
		return float64(f.Level[i])
	}
	return Silent
}

// history is how many samples before a frame's middle some window needs.
const history = 1024

// Analyzer makes features of a stream of samples at Rate.
type Analyzer struct {
	f     Features
	buf   []float32 // from sample base on; begins with silence
	base  int
	fine  int // next frames
	seen  int
	flux  *fluxer
	pitch *pitcher
	parts *partials
	clip  clipper
}

// NewAnalyzer makes one that looks for pitches from lowest Hz up.
func NewAnalyzer(lowest float64) *Analyzer {
	a := &Analyzer{flux: newFluxer(), pitch: newPitcher(lowest), parts: newPartials()}
	a.buf, a.base = make([]float32, history), -history
	a.f.candStart, a.f.peakStart = []int32{0}, []int32{0}
	a.f.loud = newGatedLoudness()
	return a
}

// Push takes more samples.
func (a *Analyzer) Push(in []float32) {
	a.buf = append(a.buf, in...)
	a.seen += len(in)
	a.clip.push(in)
	a.f.loud.push(in)
	a.advance(a.seen - history)
}

// Finish closes the take, follows the pitch through it and gives the features.
func (a *Analyzer) Finish() *Features {
	a.buf = append(a.buf, make([]float32, history+FineHop)...)
	a.advance(a.seen)
	a.f.Samples, a.f.Peak, a.f.Clipped = a.seen, a.clip.top, a.clip.done()
	a.f.Weighted = a.f.loud.integrated()
	a.f.follow()
	return &a.f
}

// advance works out the frames whose windows are whole: middle before the limit.
func (a *Analyzer) advance(limit int) {
	for ; a.fine*FineHop < limit; a.fine++ {
		mid := a.fine*FineHop - a.base
		a.f.Level = append(a.f.Level, float32(level(a.buf[mid-FineHop:mid+FineHop])))
		a.f.Flux = append(a.f.Flux, a.flux.next(a.buf[mid-fluxSize/2:mid+fluxSize/2]))
		if a.fine%2 == 0 {
			a.coarse(mid)
		}
	}
	if drop := a.fine*FineHop - history - a.base; drop > 1<<15 {
		a.buf = append(a.buf[:0], a.buf[drop:]...)
		a.base += drop
	}
}

func (a *Analyzer) coarse(mid int) {
	f := &a.f
	f.cands = a.pitch.candidates(f.cands, a.buf[mid-a.pitch.size/2:mid+a.pitch.size/2])
	f.candStart = append(f.candStart, int32(len(f.cands)))
	var rough float64
	f.peaks, rough = a.parts.find(f.peaks, a.buf[mid-partialSize/2:mid+partialSize/2])
	f.peakStart = append(f.peakStart, int32(len(f.peaks)))
	f.Rough = append(f.Rough, float32(rough))
}

func level(x []float32) float64 {
	sum := 0.0
	for _, v := range x {
		sum += float64(v) * float64(v)
	}
	return Decibels(math.Sqrt(sum / float64(len(x))))
}

// clipper counts samples in runs of three or more that stay within a hair of the
// top so far: the flat heads of waves cut off by a converter, whatever level the
// file was brought to afterwards.
type clipper struct {
	top    float32
	run, n int
}

func (c *clipper) push(in []float32) {
	for _, v := range in {
		m := max(v, -v)
		if m > c.top*1.001 { // a new top: what was counted was no ceiling
			c.n, c.run = 0, 0
		}
		c.top = max(c.top, m)
		if m < c.top*0.999 || m < 0.25 {
			c.close()
			continue
		}
		c.run++
	}
}

func (c *clipper) close() {
	if c.run >= 3 {
		c.n += c.run
	}
	c.run = 0
}

func (c *clipper) done() int {
	c.close()
	return c.n
}

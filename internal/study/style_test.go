package study

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"

	"pochette/internal/decide"
	"pochette/internal/demo"
	"pochette/internal/fingering"
	"pochette/internal/technique/joint"
)

// invented are slow tunes in the middle of the violin, by steps and thirds.
func invented(r *rand.Rand) string {
	scale := strings.Fields("A4 B4 C5 D5 E5 F5 G5 A5 B5 C6 D6")
	var out []string
	for at := 3; len(out) < 32; at = min(max(at+r.IntN(5)-2, 0), len(scale)-1) {
		out = append(out, scale[at])
	}
	return strings.Join(out, " ")
}

// What is learned from soloists leaves first position sooner: over invented tunes the
// hand stands higher on the whole, and the plan is the joint solver's with the learned
// weights. Data, summary and tables name the taste; the usual one is not spoken of.
func TestTasteOfSoloists(t *testing.T) {
	const seed = 20261125
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	places := func(s *Study) (sum int) {
		for i := range s.Hand.Grips {
			sum += s.Hand.Grips[i].Position
		}
		return sum
	}
	usual, sooner := 0, 0
	for range 4 {
		text := invented(r)
		a, b := small(t, text, Request{}), small(t, text, Request{Style: Style{Taste: soloist}})
		usual, sooner = usual+places(a), sooner+places(b)
		o := b.handOptions(Request{})
		o.Weights = fingering.LearnedWeights()
		if want := joint.NewSolver(b.Score, plucked(b.Part), joint.Options{Bow: b.bowOptions(Request{}), Hand: o}).Plan(); want.Cost != b.Joint.Cost || !joint.Same(want, b.Joint) {
			t.Errorf("%s: costs %v, with the learned weights %v", text, b.Joint.Cost, want.Cost)
		}
		for _, c := range []struct {
			s    *Study
			name bool
		}{{a, false}, {b, true}} {
			data, err := c.s.JSON("test")
			if err != nil {
				t.Fatal(err)
			}
			topic, err := c.s.TopicJSON(Fingers, Bars{0, 1}, "test")
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range [][]byte{data, topic} {
				if bytes.Contains(d, []byte(`"taste": "soloist"`)) != c.name {
					t.Errorf("%+v: the data", c.s.Style)
				}
			}
			said := strings.Join(append(c.s.Summary(), c.s.Table(Fingers, Bars{0, 1}, false).Before...), " ")
			if strings.Count(said, "as soloists take it") != map[bool]int{true: 2}[c.name] {
				t.Errorf("%+v: %s", c.s.Style, said)
			}
		}
	}
	t.Logf("positions, summed: usual %d, soloist %d", usual, sooner)
	if sooner <= usual {
		t.Errorf("positions, summed: usual %d, soloist %d", usual, sooner)
	}
}

// The taste goes together with the others, and is refused where nothing was learned.
func TestTasteWithOthers(t *testing.T) {
	open := func(st Style) (n int) {
		for _, g := range small(t, "A4 E5 D4 A4 G4 D4 A4 E5 E5 A4 D5 E5 A4 A4 D4 G4", Request{Style: st}).Hand.Grips {
			for _, s := range g.Stops {
				if s.Finger == 0 {
					n++
				}
			}
		}
		return n
	}
	if more, fewer := open(Style{Taste: soloist, OpenStrings: "more"}), open(Style{Taste: soloist, OpenStrings: "fewer"}); more <= fewer {
		t.Errorf("open strings: more %d, fewer %d", more, fewer)
	}
	small(t, "A4 B4 C5 D5", Request{Style: Style{Taste: soloist, Profile: "romantic", Harmonics: "more"}})
	for _, c := range []struct {
		r    Request
		want string
	}{
		{Request{Style: Style{Taste: "virtuoso"}}, `--taste "virtuoso": want usual or soloist`},
		{Request{Style: Style{Taste: soloist}}, "there are none for the viola; want taste usual"},
		{Request{Style: Style{Taste: soloist}, Instrument: "cello"}, "there are none for the cello"},
	} {
		c.r.Name, c.r.Data = demo.Name, demo.Jig
		_, err := Analyze(c.r)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

// A file's style holds where the command line says nothing; a word that is not known is
// told with its line.
func TestStyleOfAFile(t *testing.T) {
	f, err := decide.ParseFile("mine.yaml", []byte("version: 1\nstyle:\n  profile: romantic\n  taste: soloist\n  open-strings: fewer\n"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := Style{Profile: "early", Strict: true}.With(f.Style)
	if want := (Style{Profile: "early", Taste: soloist, OpenStrings: "fewer", Strict: true}); err != nil || got != want {
		t.Errorf("%+v, %v, want %+v", got, err, want)
	}
	for _, bad := range []string{"taste: loud", "profile: baroque", "harmonics: all", "open-strings: none"} {
		f, err := decide.ParseFile("mine.yaml", []byte("version: 1\nstyle:\n  "+bad+"\n"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := (Style{}).With(f.Style); err == nil || !strings.HasPrefix(err.Error(), "mine.yaml line 3: "+strings.Split(bad, ":")[0]) {
			t.Errorf("%s: %v", bad, err)
		}
		if _, err := (Style{Profile: "early", Taste: "usual", OpenStrings: "more", Harmonics: "none"}).With(f.Style); err == nil {
			t.Errorf("%s: a slip in the file is told though the command line overrules it", bad)
		}
	}
}

package harmony

import (
	"fmt"
	"strings"
)

// A Feature is a number of the linear model; its weight stands at its index in
// Weights. Blocks follow each other in one row.
type block struct {
	name string
	at   int
	dims []func(int) string
	size []int
}

// Sizes and spans of the features.
const (
	roles      = 5  // root, third, fifth, seventh, foreign
	degrees    = 18 // tones from -8 to +8 of the tonic, and all others
	lengths    = 8
	barShares  = 5
	levels     = 4
	motions    = 20 // root motion from -9 to +9 fifths, and all others
	kinBack    = 3  // local keys lie within so many fifths of the home signature
	kins       = 2*kinBack + 1
	shifts     = 15 // change of signature from -7 to +7
	maxLen     = 12 // units in one segment
	places     = 6  // parts of a movement
	ages       = 3  // how long ago a note sounded
	relations  = 6
	paces      = 3
	fullEnough = 4 // notes from which a missing chord tone counts as missing
)

var (
	blocks   []*block
	features int

	blTone       = newBlock("tone", named("root", "third", "fifth", "seventh", "foreign"), classLabel(noteClasses))
	blOnset      = newBlock("onset", named("root", "third", "fifth", "seventh", "foreign"), classLabel(noteClasses))
	blScale      = newBlock("scale", modes(), numbered(-8, degrees))
	blLow        = newBlock("low", named(qualityNames[:]...), named("root", "third", "fifth", "seventh", "foreign"))
	blFirst      = newBlock("first-low", named("root", "third", "fifth", "seventh", "foreign"))
	blMissing    = newBlock("missing", named(qualityNames[:]...), named("root", "third", "fifth", "seventh"), named("few-notes", "many-notes"))
	blTint       = newBlock("tint", named(qualityNames[:]...), numbered(-9, motions))
	blUnitLow    = newBlock("unit-low", named("root", "third", "fifth", "seventh", "foreign"), numbered(0, levels))
	blBarLow     = newBlock("bar-low", named("root", "third", "fifth", "seventh", "foreign"), named("before", "here", "later"))
	blMemory     = newBlock("memory", named("root", "third", "fifth", "seventh", "foreign"), numbered(0, ages))
	blLine       = newBlock("line", modes(), numbered(-8, degrees), numbered(-8, degrees))
	blPlace      = newBlock("place", modes(), numbered(0, places), named("home", "relative", "dominant", "dominant-relative", "flatter", "other"))
	blBass       = newBlock("bass", modes(), named(classNames[:]...), numbered(-8, degrees))
	blPaceLevel  = newBlock("pace-level", numbered(0, paces), numbered(0, levels))
	blPaceLength = newBlock("pace-length", numbered(0, paces), numbered(0, lengths))
	blLength     = newBlock("length", numbered(0, lengths))
	blBars       = newBlock("bars", named("half", "one", "two", "less", "other"))
	blLevel      = newBlock("level", numbered(0, levels))
	blCross      = newBlock("over-bar-line", numbered(0, levels))
	blNumeral    = newBlock("numeral", modes(), functionLabel())
	blFollow     = newBlock("follow", modes(), named(classNames[:]...), named(classNames[:]...))
	blMotion     = newBlock("root-motion", modes(), numbered(-9, motions))
	blSame       = newBlock("same", named("chord"))
	blOpen       = newBlock("open", modes(), named(classNames[:]...))
	blClose      = newBlock("close", modes(), named(classNames[:]...))
	blKin        = newBlock("kin", modes(), modes(), numbered(-kinBack, kins))
	blShift      = newBlock("shift", modes(), modes(), numbered(-7, shifts))
	blShiftAt    = newBlock("shift-at", numbered(0, levels))
	blSection    = newBlock("section", named("key-changes", "key-stays"))
	blLeave      = newBlock("leave", modes(), named(classNames[:]...))
	blEnter      = newBlock("enter", modes(), named(classNames[:]...))
	blPivot      = newBlock("pivot", modes(), named(append(classNames[:], "none")...))
	blHomeEnds   = newBlock("home", named("opens", "closes"))
)

type dim struct {
	label func(int) string
	n     int
}

func newBlock(name string, ds ...dim) *block {
	b := &block{name: name, at: features}
	n := 1
	for _, d := range ds {
		b.dims = append(b.dims, d.label)
		b.size = append(b.size, d.n)
		n *= d.n
	}
	features += n
	blocks = append(blocks, b)
	return b
}

func named(s ...string) dim {
	c := make([]string, len(s))
	for i := range s {
		c[i] = strings.ReplaceAll(s[i], " ", "-")
	}
	return dim{func(i int) string { return c[i] }, len(c)}
}

func modes() dim { return named("major", "minor") }

func numbered(from, n int) dim {
	return dim{func(i int) string { return fmt.Sprint(from + i) }, n}
}

func classLabel(n int) dim {
	return dim{func(i int) string {
		s := []string{"leap-leap", "step-leap", "leap-step", "step-step"}[i%4]
		if i >= 4 {
			return s + "-strong"
		}
		return s + "-weak"
	}, n}
}

// most is the larger of the two vocabularies.
var most = max(len(functions[0]), len(functions[1]))

func functionLabel() dim {
	return dim{func(i int) string { return fmt.Sprint("f", i) }, most}
}

// idx is the place of a feature of the block.
func (b *block) idx(is ...int) int {
	at := 0
	for d, i := range is {
		at = at*b.size[d] + i
	}
	return b.at + at
}

func (b *block) idx1(i int) int       { return b.at + i }
func (b *block) idx2(i, j int) int    { return b.at + i*b.size[1] + j }
func (b *block) idx3(i, j, k int) int { return b.at + (i*b.size[1]+j)*b.size[2] + k }
func (b *block) count() int {
	n := 1
	for _, s := range b.size {
		n *= s
	}
	return n
}

// label names feature at of the block: "follow major tonic dominant". Numerals
// are written as such.
func (b *block) label(at int) string {
	is := make([]int, len(b.size))
	for d := len(is) - 1; d >= 0; d-- {
		is[d] = at % b.size[d]
		at /= b.size[d]
	}
	parts := []string{b.name}
	for d, i := range is {
		if b == blNumeral && d == 1 {
			parts = append(parts, numeralLabel(is[0], i))
			continue
		}
		parts = append(parts, b.dims[d](i))
	}
	return strings.Join(parts, " ")
}

func numeralLabel(m, i int) string {
	if i >= len(functions[m]) {
		return fmt.Sprint("unused", i)
	}
	f := functions[m][i]
	s := f.roman(m == 1)
	if f.quality.Cadential() {
		s = "V64" // as the labels of the data learned from have it
	}
	if f.quality.Seventh() {
		s = strings.Replace(s+"/", "/", "7/", 1)
		s = strings.TrimSuffix(s, "/")
	}
	return s
}

// buckets

func degreeBucket(d Tone) int {
	if d < -8 || d > 8 {
		return degrees - 1
	}
	return int(d) + 8
}

func motionBucket(d Tone) int {
	if d < -9 || d > 9 {
		return motions - 1
	}
	return int(d) + 9
}

func kinBucket(home, k Key) int { return k.Fifths() - home.Fifths() + kinBack }

func shiftBucket(from, to Key) int {
	return max(0, min(shifts-1, to.Fifths()-from.Fifths()+7))
}

// lengthBucket by beats: under one, one, under two, two, three, four, six, more.
func lengthBucket(beats float32) int {
	for i, top := range [...]float32{0.95, 1.05, 1.95, 2.05, 3.05, 4.05, 6.05} {
		if beats <= top {
			return i
		}
	}
	return lengths - 1
}

func barBucket(bars float32) int {
	near := func(x float32) bool { return bars > x-0.03 && bars < x+0.03 }
	switch {
	case near(0.5):
		return 0
	case near(1):
		return 1
	case near(2):
		return 2
	case bars < 1:
		return 3
	}
	return 4
}

// relation of a local key to the home key.
func relation(home, k Key) int {
	d := k.Fifths() - home.Fifths()
	switch {
	case k == home:
		return 0
	case d == 0:
		return 1
	case d == 1 && k.Minor == home.Minor:
		return 2
	case d == 1:
		return 3
	case d == -1:
		return 4
	}
	return 5
}

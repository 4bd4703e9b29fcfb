package engrave

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var (
	marginShift = regexp.MustCompile(`class="page-margin" transform="translate\(([0-9]+), ([0-9]+)\)"`)
	firstStaff  = regexp.MustCompile(`(?s)class="staff">\s*<path d="M-?[0-9]+ (-?[0-9]+) `)
	ownText     = regexp.MustCompile(`<text x="([0-9]+)" y="([0-9]+)" font-size="([0-9]+)px"[^>]*>([^<]*)</text>`)
)

// The heading stands above the first staff, whatever the source says of its own page and
// credits and however many lines it has; the stand-in and the source's credits are not
// drawn; each page has its number inside its margins.
func TestHeadingAndPageNumber(t *testing.T) {
	const page = `<defaults><scaling><millimeters>7</millimeters><tenths>40</tenths></scaling><page-layout><page-height>1697</page-height><page-width>1200</page-width></page-layout></defaults>
<credit page="1"><credit-words default-x="600" default-y="1600" justify="center" valign="top">Credit of the source</credit-words></credit>
<credit page="2"><credit-words default-x="600" default-y="20">Foot of the source</credit-words></credit>
`
	long := strings.Repeat("a rather long title ", 12)
	people := ""
	for i := range 5 {
		people += fmt.Sprintf(`<creator type="arranger">Person %d</creator>`, i)
	}
	p := openPool(t, 1)
	for name, change := range map[string]*strings.Replacer{
		"as it is":  strings.NewReplacer(),
		"with page": strings.NewReplacer("<part-list>", page+"<part-list>"),
		"long":      strings.NewReplacer("<part-list>", page+"<part-list>", "Invented Suite", long, "</creator>", "</creator>"+people),
		"bare":      strings.NewReplacer("Invented Suite", "", "Jig", "", "Viola", "", "Ada Nobody", ""),
	} {
		for _, staff := range []float64{4, 7, 9} {
			l := A4()
			l.StaffHeight = staff
			svgs, err := p.SVG(t.Context(), []byte(change.Replace(string(invented(plainMeasures(120)...)))), l)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			for i, svg := range svgs {
				checkFurnished(t, fmt.Sprintf("%s, staff %g, page %d", name, staff, i+1), svg, i+1)
			}
		}
	}
}

func checkFurnished(t *testing.T, name, svg string, page int) {
	t.Helper()
	for _, not := range []string{"Credit of", "Foot of", "pgHead", "pgFoot", ">x<"} {
		if strings.Contains(svg, not) {
			t.Errorf("%s: %q is on the page", name, not)
		}
	}
	shift, staff := marginShift.FindStringSubmatch(svg), firstStaff.FindStringSubmatch(svg)
	if shift == nil || staff == nil {
		t.Fatalf("%s: no margin or no staff", name)
	}
	number := func(s string) int { n, _ := strconv.Atoi(s); return n } // the pattern lets digits alone through
	top := number(shift[2]) + number(staff[1])
	numbered := 0
	for _, m := range ownText.FindAllStringSubmatch(svg, -1) {
		switch y := number(m[2]); {
		case m[4] == strconv.Itoa(page) && y == 28300: // 297 mm less the margin of 14
			numbered++
		case y+number(m[3])/4 > top:
			t.Errorf("%s: %q at %d reaches the staff at %d", name, m[4], y, top)
		}
	}
	if numbered != 1 {
		t.Errorf("%s: %d page numbers", name, numbered)
	}
}

// What stands in a creator element and is no name is not set, and takes no room.
func TestRemarksAreNoPeople(t *testing.T) {
	h := heading{people: []person{
		{"composer", "Ada Nobody"},
		{"composer", "Set from the manuscript, see https://example.org/a"},
		{"arranger", "www.example.org"},
		{"", "ada@example.org"},
		{"editor", "Copied from a manuscript of uncertain date by a pupil of Ada Nobody"}, // 67 characters
		{"arranger", "Ada Nobody, her sister Ida Nobody and their teacher of music"},      // 60 characters
	}}
	lines, height := h.lines()
	var got []string
	for _, l := range lines {
		got = append(got, l.text)
	}
	if all := strings.Join(got, " "); all != "Ada Nobody Ada Nobody, her sister Ida Nobody and their teacher of music" {
		t.Errorf("set: %q", got)
	}
	few := heading{people: []person{h.people[0], h.people[5]}}
	if _, want := few.lines(); height != want {
		t.Errorf("%g high, wanted %g", height, want)
	}
}

package engrave

import (
	"errors"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// The excerpts of a call hold the measures asked for, are numbered, share no identifier
// and find each of their glyphs, whether they are drawn in the session's own engraver
// (a pool of one) or in another.
func TestExcerptSet(t *testing.T) {
	score := invented(plainMeasures(40)...)
	ranges := [][2]int{{1, 1}, {2, 2}, {3, 4}, {9, 9}, {20, 29}, {40, 40}}
	var first ExcerptSet
	for size := 1; size <= 2; size++ {
		p := openPool(t, size)
		s, err := p.Session(t.Context(), score)
		if err != nil {
			t.Fatal(err)
		}
		before, err := s.SVG(t.Context(), A4())
		if err != nil {
			t.Fatal(err)
		}
		set, err := s.Excerpts(t.Context(), ranges, 110)
		if err != nil {
			t.Fatal(err)
		}
		checkExcerptSet(t, set, ranges)
		after, err := s.SVG(t.Context(), A4())
		if err != nil {
			t.Fatal(err)
		}
		if !equal(before, after) {
			t.Errorf("pool of %d: the excerpts changed the pages", size)
		}
		if size == 1 {
			first = set
		} else if set.Glyphs != first.Glyphs || !equal(set.SVG, first.SVG) {
			t.Error("another engraver drew other excerpts")
		}
		s.Close()
		if _, err := s.Excerpts(t.Context(), ranges, 110); !errors.Is(err, ErrClosed) {
			t.Errorf("after Close: %v", err)
		}
	}
}

var (
	glyphUse = regexp.MustCompile(`href="#([^"]+)"`)
	plainID  = regexp.MustCompile(`[ -]id="([^"]+)"`)
	mNum     = regexp.MustCompile(`(?s)class="mNum.*?<tspan font-size="[0-9]+px">([0-9]+)<`)
)

func checkExcerptSet(t *testing.T, set ExcerptSet, ranges [][2]int) {
	t.Helper()
	if len(set.SVG) != len(ranges) {
		t.Fatalf("%d pictures for %d ranges", len(set.SVG), len(ranges))
	}
	seen := map[string]bool{}
	for _, text := range append([]string{set.Glyphs}, set.SVG...) {
		for _, m := range plainID.FindAllStringSubmatch(text, -1) {
			if seen[m[1]] {
				t.Errorf("the identifier %s stands twice", m[1])
			}
			seen[m[1]] = true
		}
	}
	for i, svg := range set.SVG {
		r := ranges[i]
		if got := len(drawnMeasure.FindAllString(svg, -1)); got != r[1]-r[0]+1 {
			t.Errorf("measures %v: %d drawn", r, got)
		}
		uses := glyphUse.FindAllStringSubmatch(svg, -1)
		if len(uses) < 5 { // a clef and four heads
			t.Errorf("measures %v: only %d glyphs", r, len(uses))
		}
		for _, m := range uses {
			if !strings.Contains(set.Glyphs, `id="`+m[1]+`"`) {
				t.Errorf("measures %v: no shape for %s", r, m[1])
			}
		}
		if strings.Contains(svg, "<defs>") {
			t.Errorf("measures %v: shapes of its own", r)
		}
		if got := strings.Contains(svg, `class="meterSig"`); got != (r[0] == 1) {
			t.Errorf("measures %v: a meter: %t", r, got)
		}
		if !strings.Contains(svg, `class="clef"`) {
			t.Errorf("measures %v: no clef", r)
		}
		if r[0] > 1 {
			if m := mNum.FindStringSubmatch(svg); m == nil || m[1] != strconv.Itoa(r[0]) { // invented numbers its measures from 1
				t.Errorf("measures %v: the number drawn is %v", r, m)
			}
		}
		systems := strings.Count(svg, `data-class="system"`)
		if wide := r[1]-r[0] > 5; wide != (systems > 1) {
			t.Errorf("measures %v: %d systems", r, systems)
		}
	}
}

func TestExcerptSetRefuses(t *testing.T) {
	p := openPool(t, 1)
	s, err := p.Session(t.Context(), invented(plainMeasures(4)...))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, tt := range []struct {
		ranges [][2]int
		width  float64
		want   string
	}{
		{[][2]int{{0, 1}}, 100, "no measures 0-1"}, {[][2]int{{1, 5}}, 100, "it has 1-4"}, {[][2]int{{3, 2}}, 100, "no measures 3-2"},
		{[][2]int{{1, 2}, {2, 3}}, 100, "not after measure 2"}, {[][2]int{{3, 3}, {1, 1}}, 100, "in order"}, {[][2]int{{1, 1}}, 5, "page width"},
	} {
		if _, err := s.Excerpts(t.Context(), tt.ranges, tt.width); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%v: %v, wanted %q", tt.ranges, err, tt.want)
		}
	}
	if set, err := s.Excerpts(t.Context(), nil, 100); err != nil || set.Glyphs != "" || set.SVG != nil {
		t.Errorf("no ranges: %v, %v", set, err)
	}
}

// Pages and excerpts of one session at the same time, in pools with and without room.
func TestExcerptsBesidePages(t *testing.T) {
	score := invented(plainMeasures(30)...)
	for size := 1; size <= 2; size++ {
		p := openPool(t, size)
		s, err := p.Session(t.Context(), score)
		if err != nil {
			t.Fatal(err)
		}
		var wg sync.WaitGroup
		for range 3 {
			wg.Go(func() {
				if pages, err := s.SVG(t.Context(), A4()); err != nil || strings.Count(strings.Join(pages, ""), `class="measure"`) != 30 {
					t.Errorf("pages: %v", err)
				}
			})
			wg.Go(func() {
				set, err := s.Excerpts(t.Context(), [][2]int{{2, 3}, {5, 5}}, 100)
				if err != nil || len(drawnMeasure.FindAllString(strings.Join(set.SVG, ""), -1)) != 3 {
					t.Errorf("excerpts: %v", err)
				}
			})
		}
		wg.Wait()
		s.Close()
	}
}

// Breaks of the source inside an excerpt don't cut it.
func TestExcerptsPassOverBreaks(t *testing.T) {
	ms := plainMeasures(6)
	ms[2] = `<print new-system="yes"/>` + ms[2]
	ms[4] = `<print new-page="yes"/>` + ms[4]
	p := openPool(t, 1)
	s, err := p.Session(t.Context(), invented(ms...))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	set, err := s.Excerpts(t.Context(), [][2]int{{2, 3}, {4, 6}}, 200)
	if err != nil {
		t.Fatal(err)
	}
	checkExcerptSet(t, set, [][2]int{{2, 3}, {4, 6}})
}

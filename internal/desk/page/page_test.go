package page

import (
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func TestFiles(t *testing.T) {
	for _, name := range []string{"index.html", "desk.js", "desk.css", "icon.svg"} {
		if text, err := fs.ReadFile(Files(), name); err != nil || len(text) == 0 {
			t.Errorf("%s: %d bytes, %v", name, len(text), err)
		}
	}
}

// The types of the page hold. Building strips them without a look, so the compiler is
// asked where there is one.
func TestTypes(t *testing.T) {
	tsc, err := exec.LookPath("tsc")
	if err != nil {
		t.Skip("no TypeScript compiler (tsc) on this machine")
	}
	if out, err := exec.Command(tsc, "-p", "src/tsconfig.json").CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

// contrast is the ratio of WCAG 2.2 (W3C, 2023), "contrast ratio" and "relative luminance".
func contrast(a, b [3]float64) float64 {
	lum := func(c [3]float64) float64 {
		var l [3]float64
		for i, v := range c {
			v /= 255
			if l[i] = v / 12.92; v > 0.04045 {
				l[i] = math.Pow((v+0.055)/1.055, 2.4)
			}
		}
		return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
	}
	la, lb := lum(a), lum(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func TestContrastFormula(t *testing.T) {
	// Known pairs: black on white is 21 to 1 by definition; #767676 on white is the
	// lightest grey that passes 4.5 to 1 (W3C, Understanding 1.4.3).
	if got := contrast([3]float64{}, [3]float64{255, 255, 255}); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white: %v, want 21", got)
	}
	if got := contrast([3]float64{0x76, 0x76, 0x76}, [3]float64{255, 255, 255}); got < 4.5 || got > 4.6 {
		t.Errorf("#767676 on white: %v, want just above 4.5", got)
	}
	if got := contrast([3]float64{0x77, 0x77, 0x77}, [3]float64{255, 255, 255}); got >= 4.5 {
		t.Errorf("#777777 on white: %v, want below 4.5", got)
	}
}

// Text has the contrast of WCAG 2.2 AA (1.4.3: 4.5 to 1), edges of fields that of 1.4.11
// (3 to 1), by day and in the dark room.
func TestContrast(t *testing.T) {
	css, err := os.ReadFile("src/style.css")
	if err != nil {
		t.Fatal(err)
	}
	day := colours(t, string(css), ":root {")
	dark := colours(t, string(css), `:root[data-light="dark"] {`)
	for theme, c := range map[string]map[string][3]float64{"day": day, "dark room": dark} {
		for _, p := range []struct {
			fore, back string
			least      float64
		}{
			{"ink", "paper", 4.5}, {"ink", "wood", 4.5}, {"ink", "field", 4.5},
			{"soft", "paper", 4.5}, {"soft", "wood", 4.5}, {"soft", "field", 4.5},
			{"press", "paper", 4.5}, {"press", "wood", 4.5}, {"press", "field", 4.5}, {"on-press", "press", 4.5},
			{"edge", "field", 3}, {"edge", "paper", 3}, {"edge", "wood", 3},
		} {
			f, okF := c[p.fore]
			b, okB := c[p.back]
			if !okF || !okB {
				t.Errorf("%s: no colour %s or %s", theme, p.fore, p.back)
			} else if got := contrast(f, b); got < p.least {
				t.Errorf("%s: %s on %s is %.2f to 1, want %v", theme, p.fore, p.back, got, p.least)
			}
		}
	}
}

var variable = regexp.MustCompile(`--([a-z-]+): #([0-9a-f]{6});`)

// colours are the colours that a rule of the style sheet names.
func colours(t *testing.T, css, rule string) map[string][3]float64 {
	t.Helper()
	_, rest, ok := strings.Cut(css, rule)
	if !ok {
		t.Fatalf("style.css has no rule %q", rule)
	}
	body, _, _ := strings.Cut(rest, "}")
	out := map[string][3]float64{}
	for _, m := range variable.FindAllStringSubmatch(body, -1) {
		v, err := strconv.ParseUint(m[2], 16, 32)
		if err != nil {
			t.Fatal(fmt.Errorf("colour %s: %w", m[0], err))
		}
		out[m[1]] = [3]float64{float64(v >> 16), float64(v >> 8 & 255), float64(v & 255)}
	}
	return out
}

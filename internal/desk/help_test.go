package desk

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"pochette/internal/engrave"
)

// invented is a violin movement of about n notes made up by a generator with a fixed
// seed: steps and leaps in eighths, triplets of quarters aside, with slurs and some
// double stops.
func invented(n int) []byte {
	r := rand.New(rand.NewPCG(7, uint64(n)))
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><work><work-title>Long walk</work-title></work><identification><creator type="composer">Ida Fennimore (invented)</creator></identification>
<part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list><part id="P1">`)
	steps := "CDEFGAB"
	key := 30 // white keys from C1 on
	note := func(k int, kind string, dur int, chord bool, notations string) {
		c := ""
		if chord {
			c = "<chord/>"
		}
		fmt.Fprintf(&b, "<note>%s<pitch><step>%c</step><octave>%d</octave></pitch><duration>%d</duration><voice>1</voice><type>%s</type>%s</note>\n", c, steps[k%7], 1+k/7, dur, kind, notations)
	}
	made := 0
	for m := 1; made < n; m++ {
		fmt.Fprintf(&b, `<measure number="%d">`, m)
		if m == 1 {
			b.WriteString(`<attributes><divisions>4</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>`)
		}
		for beat := range 4 {
			count, kind, dur := 2, "eighth", 2
			switch r.IntN(4) {
			case 0:
				count, kind, dur = 4, "16th", 1
			case 1:
				count, kind, dur = 1, "quarter", 4
			}
			slur := count > 1 && r.IntN(3) == 0
			for i := range count {
				key = min(max(key+r.IntN(7)-3, 20), 40)
				x := ""
				if slur && i == 0 {
					x = `<notations><slur type="start" number="1"/></notations>`
				} else if slur && i == count-1 {
					x = `<notations><slur type="stop" number="1"/></notations>`
				}
				note(key, kind, dur, false, x)
				made++
				if count == 1 && beat == 0 && key < 32 && r.IntN(6) == 0 {
					note(key+5, kind, dur, true, "")
					made++
				}
			}
		}
		b.WriteString("</measure>\n")
	}
	b.WriteString("</part></score-partwise>")
	return []byte(b.String())
}

var (
	sharedOnce sync.Once
	sharedPool *engrave.Pool
	sharedErr  error
)

// testPool is one engraver for all tests: it compiles once.
func testPool(tb testing.TB) *engrave.Pool {
	tb.Helper()
	sharedOnce.Do(func() {
		sharedPool, sharedErr = engrave.Open(tb.Context(), engrave.PoolOptions{CacheDir: engrave.DefaultCacheDir()})
	})
	if sharedErr != nil {
		tb.Fatal(sharedErr)
	}
	return sharedPool
}

// tester speaks to a desk as its page does.
type tester struct {
	tb testing.TB
	d  *Desk
}

func openDesk(tb testing.TB, dir string) *tester {
	tb.Helper()
	d, err := Open(Options{Library: dir, Who: "Ada", Pool: testPool(tb)})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := d.Close(); err != nil {
			tb.Error(err)
		}
	})
	return &tester{tb, d}
}

func (c *tester) request(method, path string, body []byte) *http.Request {
	r := httptest.NewRequest(method, "http://127.0.0.1:9999"+path, bytes.NewReader(body))
	r.AddCookie(&http.Cookie{Name: c.d.cookie(), Value: c.d.token})
	r.Header.Set(ownHeader, "1")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return r
}

func (c *tester) do(r *http.Request) (int, []byte) {
	w := httptest.NewRecorder()
	c.d.Handler().ServeHTTP(w, r)
	b, err := io.ReadAll(w.Result().Body)
	if err != nil {
		c.tb.Fatal(err)
	}
	return w.Code, b
}

// call wants a status and decodes the answer into out, where that is not nil.
func (c *tester) call(want int, method, path string, body any, out any) string {
	c.tb.Helper()
	var raw []byte
	switch b := body.(type) {
	case nil:
	case []byte:
		raw = b
	default:
		var err error
		if raw, err = json.Marshal(b); err != nil {
			c.tb.Fatal(err)
		}
	}
	code, text := c.do(c.request(method, path, raw))
	if code != want {
		c.tb.Fatalf("%s %s: status %d, want %d: %.400s", method, path, code, want, text)
	}
	if out != nil {
		if err := json.Unmarshal(text, out); err != nil {
			c.tb.Fatalf("%s %s: %v in %.200s", method, path, err, text)
		}
	}
	return string(text)
}

type object = map[string]any

// add puts a score into the library.
func (c *tester) add(name string, data []byte) string {
	c.tb.Helper()
	var p struct{ ID string }
	c.call(201, "POST", "/api/pieces?name="+name, data, &p)
	return "/api/pieces/" + p.ID
}

func (c *tester) piece(path string) viewPiece {
	c.tb.Helper()
	var v viewPiece
	c.call(200, "GET", path, nil, &v)
	return v
}

// note finds a note of the view by its ref.
func (v *viewPiece) note(ref string) *viewNote {
	for i := range v.Events {
		for k := range v.Events[i].Notes {
			if v.Events[i].Notes[k].Ref == ref {
				return &v.Events[i].Notes[k]
			}
		}
	}
	return nil
}

func asJSON(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err) // a test's own values
	}
	return string(b)
}

package desk

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pochette/internal/decide"
	"pochette/internal/demo"
	"pochette/internal/musicxml"
	"pochette/internal/musicxml/xmltest"
	"pochette/internal/score"
	"pochette/internal/store"
	"pochette/internal/testdata"
)

// From an empty library to a decision, back, and again after the desk was closed.
func TestFirstUse(t *testing.T) {
	dir := t.TempDir()
	c := openDesk(t, dir)
	var none []store.Piece
	if c.call(200, "GET", "/api/pieces", nil, &none); len(none) != 0 {
		t.Fatalf("an empty library has %d pieces", len(none))
	}
	p := c.add("jig.musicxml", demo.Jig)
	v := c.piece(p)
	if v.Title != "Jig" || v.Instrument != "viola" || len(v.Measures) != 25 || len(v.Events) < 150 || v.CanUndo {
		t.Fatalf("%q for %s, %d measures, %d events, can undo %v", v.Title, v.Instrument, len(v.Measures), len(v.Events), v.CanUndo)
	}
	before := v.note("m3.1")
	if before == nil || before.Finger == "2" && before.String == 2 {
		t.Fatalf("the first note of measure 3 is %+v: nothing would change", before)
	}
	var a answer
	c.call(200, "POST", p+"/decide", object{"base": 0, "note": "m3.1", "set": object{"finger": "2", "string": 2}, "reason": "the colour"}, &a)
	if a.Revision != 1 || len(a.Changed) == 0 || len(a.Consequences) == 0 || a.Costs.After < a.Costs.Before {
		t.Errorf("the answer %+v", a)
	}
	check := func(v viewPiece) {
		t.Helper()
		if n := v.note("m3.1"); n.Finger != "2" || n.String != 2 || !n.Decided["finger"] || n.Reason != "the colour" {
			t.Errorf("decided finger 2 on string II; the note is %+v", n)
		}
	}
	check(c.piece(p))
	svg := c.call(200, "GET", p+"/pages/1?width=200", nil, nil)
	if !strings.Contains(svg, `data-note="m3.1"`) || !strings.Contains(svg, "finger decided") || !strings.Contains(svg, "finger proposed") || !strings.Contains(svg, `data-measure="3"`) {
		t.Error("the first page has not the note, its measure, a decided and a proposed finger")
	}
	c.call(200, "POST", p+"/undo", object{"base": 1}, &a)
	if v := c.piece(p); !reflect.DeepEqual(v.note("m3.1"), before) || !v.CanRedo || v.CanUndo {
		t.Errorf("taken back, the note is %+v, not %+v", v.note("m3.1"), before)
	}
	c.call(200, "POST", p+"/redo", object{"base": 2}, &a)
	check(c.piece(p))
	if err := c.d.Close(); err != nil {
		t.Fatal(err)
	}
	again := openDesk(t, dir)
	check(again.piece(p))
	var h []historyItem
	again.call(200, "GET", p+"/history", nil, &h)
	if len(h) != 1 || h[0].Who != "Ada" || h[0].Reason != "the colour" || h[0].Undone {
		t.Errorf("history %+v", h)
	}
}

// Two tabs: what was decided on an old state is refused and told, and nothing is
// lost or written.
func TestTwoTabs(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	c.call(200, "POST", p+"/decide", object{"base": 0, "note": "m3.1", "set": object{"finger": "2"}}, nil)
	var e struct {
		Error    string
		Revision int
	}
	c.call(409, "POST", p+"/decide", object{"base": 0, "note": "m4.1", "set": object{"finger": "2"}}, &e)
	if e.Revision != 1 || e.Error == "" {
		t.Errorf("told %+v", e)
	}
	if v := c.piece(p); v.Revision != 1 || v.note("m4.1").Decided["finger"] {
		t.Error("the refused decision was taken")
	}
}

// Two desks on one library see each other's steps.
func TestTwoDesks(t *testing.T) {
	dir := t.TempDir()
	a, b := openDesk(t, dir), openDesk(t, dir)
	p := a.add("jig.musicxml", demo.Jig)
	b.piece(p)
	a.call(200, "POST", p+"/decide", object{"base": 0, "note": "m3.1", "set": object{"finger": "2"}}, nil)
	b.call(409, "POST", p+"/decide", object{"base": 0, "note": "m4.1", "set": object{"finger": "2"}}, nil)
	b.call(200, "POST", p+"/decide", object{"base": 1, "note": "m4.1", "set": object{"bow": "up"}}, nil)
	if v := a.piece(p); v.Revision != 2 || !v.note("m4.1").Decided["bow"] || !v.note("m3.1").Decided["finger"] {
		t.Error("one desk does not see what the other decided")
	}
}

// Every refused request gives one line and changes nothing.
func TestRefusals(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	for _, x := range []struct {
		status       int
		method, path string
		body         any
		says         string
	}{
		{400, "POST", p + "/decide", object{"base": 0, "note": "m3.1", "set": object{"finger": "7"}}, "want 0 (open string)"},
		{400, "POST", p + "/decide", object{"base": 0, "note": "m3.1", "set": object{"string": 5}}, "4 strings"},
		{400, "POST", p + "/decide", object{"base": 0, "note": "m99.1", "set": object{"finger": "1"}}, "no measure 99"},
		{400, "POST", p + "/decide", object{"base": 0, "note": "m3.1+1/7", "set": object{"finger": "1"}}, "no note begins there"},
		{400, "POST", p + "/decide", object{"base": 0, "note": "m3.1", "set": object{"wings": "2"}}, "unknown key"},
		{400, "POST", p + "/decide", object{"base": 0, "note": "m3.1", "set": object{}}, "nothing is set"},
		{400, "POST", p + "/decide", object{"note": "m3.1", "set": object{"finger": "1"}}, "base is missing"},
		{400, "POST", p + "/decide", []byte("{"), "not the JSON"},
		{400, "POST", p + "/decide", object{"base": 0, "note": "m3.2", "set": object{"slur": "m3.1"}}, "a slur ends on a note after"},
		{400, "POST", p + "/decide", object{"base": 0, "note": "m0.4+1/2", "set": object{"retake": true}}, "no stroke before"},
		{400, "POST", p + "/decide", object{"base": 0, "note": "m3.1", "set": object{"string": "I", "finger": "0"}}, ""},
		{400, "POST", p + "/undo", object{"base": 0}, "nothing to undo"},
		{400, "POST", p + "/redo", object{"base": 0}, "nothing to redo"},
		{400, "POST", p + "/lock", object{"base": 0, "from": 20, "to": 40, "locked": true}, "indices"},
		{400, "POST", p + "/alternatives/take", object{"base": 0, "id": "0-9"}, "ask for alternatives again"},
		{400, "GET", p + "/alternatives?from=a", nil, "measures by index"},
		{400, "GET", p + "/pages/1?width=nan", nil, "want a number"},
		{404, "GET", p + "/pages/77", nil, "page 77"},
		{404, "GET", "/api/pieces/abcdefghijkl", nil, "no such piece"},
		{404, "GET", p + "/compare?with=12", nil, "no such thing"},
		{404, "GET", "/api/nothing", nil, "there is no"},
		{400, "POST", "/api/pieces?name=a.musicxml", []byte("hello"), "a.musicxml"},
		{400, "POST", "/api/pieces?name=b.musicxml", []byte{}, "empty"},
		{400, "POST", "/api/pieces?name=c.mxl", demo.Jig[:3000], "c.mxl"},
		{400, "POST", "/api/import", []byte("PK nothing"), "no piece of a library"},
		{400, "POST", p + "/witnesses?name=w.xml", []byte("<x/>"), "w.xml"},
	} {
		text := c.call(x.status, x.method, x.path, x.body, nil)
		var e struct{ Error string }
		if err := json.Unmarshal([]byte(text), &e); err != nil || e.Error == "" || strings.ContainsAny(e.Error, "\n\r") || !strings.Contains(e.Error, x.says) {
			t.Errorf("%s %s: %q; want one line with %q", x.method, x.path, text, x.says)
		}
	}
	if v := c.piece(p); v.Revision != 0 {
		t.Errorf("revision %d after refusals alone", v.Revision)
	}
}

// Other sites, other names for this machine, and who has no token get nothing.
func TestOthersGetNothing(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	try := func(what string, change func(*http.Request)) {
		for _, m := range []string{"POST", "DELETE", "GET"} {
			r := c.request(m, p+map[string]string{"POST": "/undo", "DELETE": "", "GET": ""}[m], []byte(`{"base":0}`))
			change(r)
			code, body := c.do(r)
			if m == "GET" && strings.HasPrefix(what, "page of") {
				continue // a browser doesn't give the cookie along: see the cookie's SameSite
			}
			if code != 403 {
				t.Errorf("%s: %s gives %d: %.100s", what, m, code, body)
			}
		}
	}
	try("no cookie", func(r *http.Request) { r.Header.Del("Cookie") })
	try("wrong token", func(r *http.Request) {
		r.Header.Set("Cookie", c.d.cookie()+"="+strings.Repeat("A", len(c.d.token)))
	})
	try("another name", func(r *http.Request) { r.Host = "rebound.example:9999" })
	try("page of another site", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") })
	try("page of another origin", func(r *http.Request) {
		r.Header.Del("Sec-Fetch-Site")
		r.Header.Set("Origin", "http://other.example")
	})
	try("page of another port", func(r *http.Request) {
		r.Header.Del("Sec-Fetch-Site")
		r.Header.Set("Origin", "http://127.0.0.1:1234")
	})
	r := c.request("POST", p+"/undo", []byte(`{"base":0}`))
	r.Header.Del(ownHeader)
	if code, _ := c.do(r); code != 403 {
		t.Errorf("without the header that a form cannot send: %d", code)
	}
	if v := c.piece(p); v.Revision != 0 {
		t.Error("something was changed")
	}
}

// The token is taken into a cookie that no script reads and no other site sends,
// and goes from the address; every answer has the policy.
func TestToken(t *testing.T) {
	c := openDesk(t, t.TempDir())
	serve := func(path string) *http.Response {
		r := c.request("GET", path, nil)
		r.Header.Del("Cookie")
		w := newRecorder()
		c.d.Handler().ServeHTTP(w, r)
		return w.Result()
	}
	res := serve("/?t=" + c.d.token)
	cookies := res.Cookies()
	if res.StatusCode != 303 || res.Header.Get("Location") != "/" || len(cookies) != 1 || !cookies[0].HttpOnly || cookies[0].SameSite != http.SameSiteStrictMode {
		t.Errorf("status %d to %q with cookies %v", res.StatusCode, res.Header.Get("Location"), cookies)
	}
	if res := serve("/?t=wrong"); res.StatusCode != 403 {
		t.Errorf("a wrong token gives %d", res.StatusCode)
	}
	csp := res.Header.Get("Content-Security-Policy")
	if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || !strings.Contains(csp, "script-src 'self'") {
		t.Errorf("policy %q", csp)
	}
	if len(c.d.token) < 40 {
		t.Errorf("a token of %d characters", len(c.d.token))
	}
}

// No path leads out of the page's own files.
func TestPathsStayInside(t *testing.T) {
	dir := t.TempDir()
	c := openDesk(t, dir)
	p := c.add("jig.musicxml", demo.Jig)
	for _, path := range []string{"/../library.sqlite", "/..%2flibrary.sqlite", "/%2e%2e/%2e%2e/etc/passwd", "/library.sqlite", "//etc/passwd", "/..\\library.sqlite",
		"/api/pieces/..%2f..%2flibrary.sqlite", p + "/pages/..%2f..", p + "/witnesses/..%2f1/differences", "/page.go", "/src/main.ts"} {
		r := c.request("GET", "/", nil)
		r.URL.Path, r.URL.RawPath = path, ""
		if u, err := r.URL.Parse("http://127.0.0.1:9999" + path); err == nil {
			r.URL = u
		}
		code, body := c.do(r)
		if code == 200 || bytes.Contains(body, []byte("SQLite format")) || bytes.Contains(body, []byte("root:")) {
			t.Errorf("%s gives %d with %d bytes", path, code, len(body))
		}
	}
	// a name sent with a file is a name and no path
	var kept store.Piece
	c.call(201, "POST", "/api/pieces?name=..%2F..%2Fetc%2Fjig.xml", demo.Jig, &kept)
	if kept.File != "jig.xml" {
		t.Errorf("the file is called %q", kept.File)
	}
}

// Each ref names one note and, read as a place of a decisions file, finds it.
func TestRefsAreFoundAgain(t *testing.T) {
	files := []string{"bwv1002_mov7.mxl", "bwv1002_mov6.mxl"}
	sources := map[string][]byte{"the demonstration": demo.Jig, "an invented piece": invented(400)}
	for _, f := range files {
		data, err := os.ReadFile(filepath.Join(testdata.Dir(t), "musicxml", "solo", f))
		if err != nil {
			t.Fatal(err)
		}
		sources[f] = data
	}
	for name, data := range sources {
		t.Run(name, func(t *testing.T) {
			_, sc := xmltest.Decode(t, data, name)
			part := sc.Parts[0]
			refs := newReferences(part, 4)
			finger := int8(1)
			seen := map[string]bool{}
			for i := range part.Notes {
				n := &part.Notes[i]
				ref := refs.of[i]
				if n.Rest || n.Cue || n.TieFrom != score.NoNote {
					if ref != "" {
						t.Errorf("note %d, not struck, has the ref %s", i, ref)
					}
					continue
				}
				if seen[ref] || ref == "" {
					t.Fatalf("the ref %q of note %d stands twice", ref, i)
				}
				seen[ref] = true
				pl, err := decide.ParsePlace(ref)
				if err != nil {
					t.Fatal(err)
				}
				got, found := decide.Resolve(part, []decide.Decision{{At: pl, Finger: &finger}}, 4)
				if _, ok := got[n.ID]; !ok || len(got) != 1 {
					t.Fatalf("%s is note %d, and package decide finds %v, %v", ref, i, got, found)
				}
			}
		})
	}
}

// A piece at hand, after any steps, is what reading it anew gives: the same
// decisions obeyed at the same cost.
func TestAtHandIsAsReadAnew(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 3))
	dir := t.TempDir()
	c := openDesk(t, dir)
	p := c.add("long.musicxml", invented(120))
	v := c.piece(p)
	var refs []string
	for _, e := range v.Events {
		for _, n := range e.Notes {
			refs = append(refs, n.Ref)
		}
	}
	taken := 0
	for range 60 {
		base := c.piece(p).Revision
		path, body := p+"/decide", object{"base": base, "note": refs[r.IntN(len(refs))]}
		switch r.IntN(9) {
		case 0, 1:
			path = p + "/undo"
		case 2:
			path = p + "/redo"
		case 3:
			path, body = p+"/lock", object{"base": base, "from": r.IntN(4), "to": 3 + r.IntN(2), "locked": r.IntN(3) > 0}
		case 4:
			body["set"] = object{"bow": []any{"up", "down", nil}[r.IntN(3)]}
		case 5:
			body["set"] = object{"slur": []string{"none", refs[r.IntN(len(refs))]}[r.IntN(2)]}
		case 6:
			body["set"] = object{"string": 1 + r.IntN(4)}
		default:
			body["set"] = object{"finger": fmt.Sprint(r.IntN(5))}
		}
		raw, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		code, text := c.do(c.request("POST", path, raw))
		switch code {
		case 200:
			taken++
		case 400:
			var e struct{ Error string }
			if err := json.Unmarshal(text, &e); err != nil || e.Error == "" {
				t.Fatalf("%s %s: %s", path, raw, text)
			}
			continue
		default:
			t.Fatalf("%s %s: %d %s", path, raw, code, text)
		}
	}
	if taken < 15 {
		t.Fatalf("only %d steps were taken", taken)
	}
	here := c.piece(p)
	other := openDesk(t, dir)
	anew := other.piece(p)
	if math.Abs(here.Cost-anew.Cost) > 0.002 {
		t.Errorf("the plan at hand costs %g, read anew %g", here.Cost, anew.Cost)
	}
	for i := range here.Events {
		for k := range here.Events[i].Notes {
			a, b := here.Events[i].Notes[k], anew.Events[i].Notes[k]
			if !reflect.DeepEqual(a.Says, b.Says) {
				t.Errorf("%s: decided %v at hand, %v read anew", a.Ref, a.Says, b.Says)
			}
			if f := a.Says["finger"]; f != "" && a.Finger != f {
				t.Errorf("%s: finger %s decided, %s planned", a.Ref, f, a.Finger)
			}
		}
	}
}

// A locked passage stays as it is whatever is decided around it, and can be taken
// apart again.
func TestLock(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	before := c.piece(p)
	var a answer
	c.call(200, "POST", p+"/lock", object{"base": 0, "from": 5, "to": 8, "locked": true}, &a)
	if math.Abs(a.Costs.After-a.Costs.Before) > 0.01 {
		t.Errorf("holding the plan as it is changes its cost from %g to %g", a.Costs.Before, a.Costs.After)
	}
	c.call(400, "POST", p+"/decide", object{"base": 1, "note": "m6.1", "set": object{"finger": "4"}}, nil)
	c.call(200, "POST", p+"/decide", object{"base": 1, "note": "m4.1", "set": object{"bow": "up"}}, &a)
	after := c.piece(p)
	for i, e := range after.Events {
		if e.Measure < 5 || e.Measure > 8 {
			continue
		}
		if b := before.Events[i]; e.Bow != b.Bow || len(e.Notes) > 0 && (e.Notes[0].Finger != b.Notes[0].Finger || e.Notes[0].String != b.Notes[0].String) {
			t.Errorf("measure %d, beat %s is %s %+v, was %s %+v", e.Measure, e.Beat, e.Bow, e.Notes, b.Bow, b.Notes)
		}
		if !e.Locked {
			t.Errorf("measure %d is not told as locked", e.Measure)
		}
	}
	svg := c.call(200, "GET", p+"/excerpt?from=5&to=8&width=200", nil, nil)
	if strings.Contains(svg, "decided") {
		t.Error("what a lock holds is printed as decided")
	}
	c.call(200, "POST", p+"/lock", object{"base": 2, "from": 6, "to": 6, "locked": false}, nil)
	if v := c.piece(p); !reflect.DeepEqual(v.Locks, []viewLock{{5, 5}, {7, 8}}) {
		t.Errorf("locks %v", v.Locks)
	}
}

// An alternative that is taken is the plan then, at the cost that was told.
func TestAlternatives(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	var alts []alternative
	c.call(200, "GET", p+"/alternatives?from=3&to=5", nil, &alts)
	if len(alts) < 2 || !slices.IsSortedFunc(alts, func(a, b alternative) int { return int(math.Copysign(1, a.Cost-b.Cost)) }) {
		t.Fatalf("%d alternatives, or not the cheapest first", len(alts))
	}
	was := c.piece(p)
	for i, a := range alts[:2] {
		var done answer
		c.call(200, "GET", p+"/alternatives?from=3&to=5", nil, &alts)
		c.call(200, "POST", p+"/alternatives/take", object{"base": 2 * i, "id": alts[i].ID}, &done)
		if math.Abs(done.Costs.After-was.Cost-a.Cost) > 0.01 {
			t.Errorf("told to cost %g more, it costs %g more", a.Cost, done.Costs.After-was.Cost)
		}
		c.call(200, "POST", p+"/undo", object{"base": 2*i + 1}, nil)
	}
}

// Plans: the present one against the proposal and against a named one.
func TestCompare(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	differ := func(with string) []int {
		var cmp comparison
		c.call(200, "GET", p+"/compare?with="+with, nil, &cmp)
		out := []int{}
		for _, b := range cmp.Bars {
			if b.Same != (b.Here.SVG == "") || b.Same != (b.There.SVG == "") {
				t.Errorf("measure %d: same %v, drawn %v and %v", b.Measure, b.Same, b.Here.SVG != "", b.There.SVG != "")
			}
			if b.Same != (b.Here.Text == "") {
				t.Errorf("measure %d: same %v with %q", b.Measure, b.Same, b.Here.Text)
			}
			if !b.Same {
				out = append(out, b.Measure)
			}
		}
		return out
	}
	if d := differ("proposal"); len(d) != 0 {
		t.Errorf("undecided, the plan differs from the proposal in %v", d)
	}
	var pl viewPlanName
	c.call(201, "POST", p+"/plans", object{"name": "plain"}, &pl)
	c.call(200, "POST", p+"/decide", object{"base": 0, "note": "m3.1", "set": object{"finger": "2", "string": 2}}, nil)
	for _, with := range []string{"proposal", pl.ID} {
		if d := differ(with); !slices.Contains(d, 3) || len(d) > 5 {
			t.Errorf("against %s measures %v differ", with, d)
		}
	}
	c.call(201, "POST", p+"/plans", object{"name": "mine"}, &pl)
	if d := differ(pl.ID); len(d) != 0 {
		t.Errorf("against itself: %v", d)
	}
}

// What a piece has goes out and comes back.
func TestExportImport(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	c.call(200, "POST", p+"/decide", object{"base": 0, "note": "m3.1", "set": object{"finger": "2"}, "reason": "why not"}, nil)
	c.call(200, "POST", p+"/decide", object{"base": 1, "note": "m4.1", "set": object{"bow": "up", "words": "sweetly", "dynamic": "mf"}}, nil)
	c.call(200, "POST", p+"/decide", object{"base": 2, "note": "m5.1", "set": object{"finger": "1"}}, nil)
	c.call(200, "POST", p+"/undo", object{"base": 3}, nil)
	c.call(201, "POST", p+"/plans", object{"name": "one"}, nil)
	var w witnessItem
	c.call(201, "POST", p+"/witnesses?name=other.xml", altered(), &w)
	c.call(200, "POST", p+"/witnesses/"+w.ID+"/choose", object{"base": 4, "n": 0, "reading": "here", "reason": "older"}, nil)
	code, file := c.do(c.request("GET", p+"/export", nil))
	if code != 200 {
		t.Fatalf("export: %d", code)
	}
	o := openDesk(t, t.TempDir())
	o.add("jig.musicxml", demo.Jig) // so that numbers differ
	o.call(201, "POST", o.add("jig.musicxml", demo.Jig)+"/witnesses?name=x.xml", altered(), nil)
	var got store.Piece
	o.call(201, "POST", "/api/import", file, &got)
	q := "/api/pieces/" + got.ID
	here, there := c.piece(p), o.piece(q)
	there.ID, there.Plans = here.ID, here.Plans
	if !reflect.DeepEqual(here, there) {
		t.Error("the piece came back otherwise")
	}
	for _, path := range []string{"/history", "/apparatus"} {
		if a, b := c.call(200, "GET", p+path, nil, nil), o.call(200, "GET", q+path, nil, nil); a != b {
			t.Errorf("%s came back otherwise:\n%s\n%s", path, a, b)
		}
	}
	o.call(200, "POST", q+"/undo", object{"base": 5}, nil)
}

// The marked part holds what was decided, and taking our marks out gives the source.
func TestPartHoldsDecisions(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	c.call(200, "POST", p+"/decide", object{"base": 0, "note": "m3.1", "set": object{"finger": "2", "words": "a < b", "dynamic": "mf", "breath": true}}, nil)
	c.call(200, "POST", p+"/decide", object{"base": 1, "note": "m4.1", "set": object{"slur": "m4.2"}}, nil)
	xml := c.call(200, "GET", p+"/part.musicxml", nil, nil)
	_, sc := xmltest.Decode(t, []byte(xml), "part")
	part := sc.Parts[0]
	refs := newReferences(part, 4)
	n := &part.Notes[refs.id["m3.1"]]
	if m, _ := n.Get(score.Fingering); m.Text != "2" || !n.Has(score.BreathMark) {
		t.Errorf("the note has %v", n.Marks)
	}
	said := map[string]bool{}
	for _, d := range part.Directions {
		if d.At == n.Onset {
			said[d.Text] = true
		}
	}
	if !said["a < b"] || !said["mf"] {
		t.Errorf("at the note stands %v", said)
	}
	if !slices.ContainsFunc(part.Slurs, func(s score.Slur) bool { return s.Start == refs.id["m4.1"] && s.End == refs.id["m4.2"] }) {
		t.Error("the slur is missing")
	}
	bare, err := musicxml.Strip([]byte(xml), "part")
	if err != nil || !bytes.Equal(bare, demo.Jig) {
		t.Errorf("without our marks the part is not the source: %v", err)
	}
	if pdf := c.call(200, "GET", p+"/print", nil, nil); !strings.HasPrefix(pdf, "%PDF-") {
		t.Errorf("the print begins with %.20q", pdf)
	}
}

// Two pages hear of each other's steps; one for another piece does not.
func TestNews(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	id := p[strings.LastIndexByte(p, '/')+1:]
	mine, other, all := c.d.news.add(id), c.d.news.add("another"), c.d.news.add("")
	c.call(200, "POST", p+"/decide", object{"base": 0, "note": "m3.1", "set": object{"bow": "up"}}, nil)
	for what, ch := range map[string]chan change1{"its page": mine, "the library's page": all} {
		select {
		case n := <-ch:
			if n.Piece != id || n.Revision != 1 {
				t.Errorf("%s hears %+v", what, n)
			}
		default:
			t.Errorf("%s hears nothing", what)
		}
	}
	select {
	case n := <-other:
		t.Errorf("a page of another piece hears %+v", n)
	default:
	}
}

// More pieces than are kept at hand: each opens with its own decisions, and no more
// than asked for are kept.
func TestManyPieces(t *testing.T) {
	c := openDesk(t, t.TempDir())
	c.d.o.Open = 3
	var ps []string
	for i := range 8 {
		p := c.add(fmt.Sprintf("p%d.musicxml", i), invented(20+i))
		ref := c.piece(p).Events[1].Notes[0].Ref
		c.call(200, "POST", p+"/decide", object{"base": 0, "note": ref, "set": object{"words": fmt.Sprintf("piece %d", i)}}, nil)
		ps = append(ps, p)
	}
	for i, p := range ps {
		v := c.piece(p)
		if w := v.Events[1].Notes[0].Says["words"]; w != fmt.Sprintf("piece %d", i) {
			t.Errorf("piece %d says %q", i, w)
		}
	}
	c.d.mu.Lock()
	defer c.d.mu.Unlock()
	if n := len(c.d.pieces); n > 3 || n != c.d.recent.Len() {
		t.Errorf("%d pieces are kept at hand", n)
	}
}

// Lines are broken as well as any other way of breaking them: against all ways, on
// random small scores.
func TestBreakLinesIsExact(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 2))
	for range 200 {
		w := make(widths, 1+r.IntN(9))
		for i := range w {
			w[i] = 5 + 40*r.Float64()
		}
		got := breakLines(w, 60)
		if c, best := costOf(w, got, 60), leastCost(w, 0, 60); c > best+1e-9 || got[0].First != 0 || got[len(got)-1].Last != len(w)-1 {
			t.Fatalf("%v is broken %v at %g; the least is %g", w, got, c, best)
		}
	}
}

// widths is a score that is nothing but wide.
type widths []float64

func (w widths) Measures() int       { return len(w) }
func (w widths) Width(i int) float64 { return w[i] }
func (w widths) Lead(int) float64    { return 5 }

func lineCost(w widths, first, last int, width float64) float64 {
	total := 0.0
	for i := first; i <= last; i++ {
		total += w[i]
	}
	if first > 0 {
		total += w.Lead(first)
	}
	if total > width*tightest && last > first {
		return math.Inf(1)
	}
	lack := (width - total) / width
	if last == len(w)-1 && lack > 0 {
		lack = 0
	}
	return lack*lack + perSystem
}

func costOf(w widths, lines []system, width float64) float64 {
	c := 0.0
	for _, l := range lines {
		c += lineCost(w, l.First, l.Last, width)
	}
	return c
}

func leastCost(w widths, from int, width float64) float64 {
	if from == len(w) {
		return 0
	}
	best := math.Inf(1)
	for last := from; last < len(w); last++ {
		best = min(best, lineCost(w, from, last, width)+leastCost(w, last+1, width))
	}
	return best
}

package desk

import (
	"bytes"
	"net/http/httptest"
	"strings"
	"testing"

	"pochette/internal/demo"
)

func newRecorder() *httptest.ResponseRecorder { return httptest.NewRecorder() }

// altered is the demonstration's movement with one slur and one dynamic otherwise.
func altered() []byte {
	x := bytes.Replace(demo.Jig, []byte("<f/>"), []byte("<ff/>"), 1)
	return x
}

// A witness that differs in one dynamic says so; its reading, when chosen, stands in
// the part and goes again when the choice does.
func TestWitness(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	var w witnessItem
	c.call(201, "POST", p+"/witnesses?name=same.xml", demo.Jig, &w)
	if w.Differences != 0 {
		t.Fatalf("the same text differs in %d places", w.Differences)
	}
	c.call(201, "POST", p+"/witnesses?name=other.xml", altered(), &w)
	var ds []differenceView
	c.call(200, "GET", p+"/witnesses/"+w.ID+"/differences", nil, &ds)
	if len(ds) != 1 || ds[0].Kind != "dynamic" || !strings.HasPrefix(ds[0].Here.Text, "f ") || !strings.HasPrefix(ds[0].There.Text, "ff ") || !ds[0].Applies {
		t.Fatalf("differences %+v", ds)
	}
	if !strings.HasPrefix(ds[0].Here.SVG, "<svg") || !strings.HasPrefix(ds[0].There.SVG, "<svg") {
		t.Error("an excerpt is missing")
	}
	c.call(200, "POST", p+"/witnesses/"+w.ID+"/choose", object{"base": 0, "n": 0, "reading": "there", "reason": "the louder"}, nil)
	if part := c.call(200, "GET", p+"/part.musicxml", nil, nil); strings.Count(part, "<ff/>") != 1 {
		t.Errorf("the part has ff %d times", strings.Count(part, "<ff/>"))
	}
	var a apparatusView
	c.call(200, "GET", p+"/apparatus", nil, &a)
	if len(a.Entries) != 1 || a.Settled != 1 || a.Entries[0].Reason != "the louder" || !strings.Contains(a.Entries[0].Text, "C is followed") {
		t.Errorf("apparatus %+v", a)
	}
	c.call(200, "POST", p+"/witnesses/"+w.ID+"/choose", object{"base": 1, "n": 0, "reading": "here"}, nil)
	if part := c.call(200, "GET", p+"/part.musicxml", nil, nil); strings.Contains(part, "<ff/>") {
		t.Error("the reading stayed in the part")
	}
}

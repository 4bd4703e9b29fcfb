package desk

import (
	"fmt"
	"reflect"
	"testing"

	"pochette/internal/demo"
)

// A page that missed some steps and is told the events that changed since has what a page
// has that reads all, whatever it missed.
func TestEventsSince(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	pages := []viewPiece{c.piece(p)} // by revision: what a page had then
	steps := []object{{"note": "m3.1", "set": object{"bow": "up"}}, {"note": "m2.2", "set": object{"finger": 4}}, {"note": "m7.1", "set": object{"breath": true}}}
	for _, s := range steps {
		s["base"] = len(pages) - 1
		c.call(200, "POST", p+"/decide", s, nil)
		pages = append(pages, c.piece(p))
	}
	for range 2 {
		c.call(200, "POST", p+"/undo", object{"base": len(pages) - 1}, nil)
		pages = append(pages, c.piece(p))
	}
	now := pages[len(pages)-1]
	some := false
	for revision, had := range pages {
		var v viewPiece
		c.call(200, "GET", fmt.Sprintf("%s?since=%d", p, revision), nil, &v)
		if v.Since == nil || *v.Since != revision {
			t.Fatalf("since %d: all events are given", revision)
		}
		some = some || len(v.Events) > 0 && len(v.Events) < len(now.Events)
		events := append([]viewEvent{}, had.Events...)
		for _, e := range v.Events {
			events[e.ID] = e
		}
		if !reflect.DeepEqual(events, now.Events) {
			t.Errorf("since %d: a page comes to other events than stand", revision)
		}
	}
	if !some {
		t.Error("no answer has some of the events: the test tells nothing")
	}
	for _, bad := range []string{"-1", "99", "x"} {
		var v viewPiece
		if c.call(200, "GET", p+"?since="+bad, nil, &v); v.Since != nil || len(v.Events) != len(now.Events) {
			t.Errorf("since=%s gives %d events", bad, len(v.Events))
		}
	}
}

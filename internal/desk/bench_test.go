package desk

import (
	"fmt"
	"net/http"
	"testing"
)

// BenchmarkDecide is from the request that decides a finger to the visible page
// with its marks drawn anew, all that a server does of the way from a key to the
// screen; target under 100 ms.
func BenchmarkDecide(b *testing.B) {
	for _, n := range []int{1000, 3000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchDecide(b, n) })
	}
}

func benchDecide(b *testing.B, n int) {
	c := openDesk(b, b.TempDir())
	p := c.add("long.musicxml", invented(n))
	v := c.piece(p)
	var refs []string
	for _, e := range v.Events[:min(len(v.Events), 40)] { // on the page that is seen
		for _, m := range e.Notes {
			refs = append(refs, m.Ref)
		}
	}
	c.call(200, "GET", p+"/pages/1?width=230", nil, nil)
	base := v.Revision
	i := 0
	for b.Loop() {
		set := object{"bow": []string{"up", "down"}[i/7%2]}
		if i%3 == 0 {
			set = object{"string": 1 + i%2}
		}
		raw := fmt.Appendf(nil, `{"base":%d,"note":%q,"set":%s}`, base, refs[i*7%len(refs)], asJSON(set))
		code, text := c.do(c.request("POST", p+"/decide", raw))
		if code == http.StatusOK {
			base++
		} else if code != http.StatusBadRequest {
			b.Fatalf("%d %s", code, text)
		}
		c.call(200, "GET", p+"/pages/1?width=230", nil, nil)
		i++
	}
	b.ReportMetric(float64(base)/float64(i), "taken/op")
}

// BenchmarkFirstPage is from the file dropped to its first page drawn; target 2 s.
func BenchmarkFirstPage(b *testing.B) {
	for _, n := range []int{1000, 3000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			data := invented(n)
			c := openDesk(b, b.TempDir())
			c.call(200, "GET", c.add("warm.musicxml", invented(50))+"/pages/1", nil, nil) // the engraver is started
			for b.Loop() {
				p := c.add("long.musicxml", data)
				c.piece(p)
				c.call(200, "GET", p+"/pages/1?width=230", nil, nil)
			}
		})
	}
}

// BenchmarkUndo takes a decision back and brings it again.
func BenchmarkUndo(b *testing.B) {
	c := openDesk(b, b.TempDir())
	p := c.add("long.musicxml", invented(1000))
	ref := c.piece(p).Events[20].Notes[0].Ref
	c.call(200, "POST", p+"/decide", object{"base": 0, "note": ref, "set": object{"bow": "up"}}, nil)
	base := 1
	for b.Loop() {
		c.call(200, "POST", p+"/"+[]string{"redo", "undo"}[base%2], object{"base": base}, nil)
		base++
	}
}

package study

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"pochette/internal/bowing"
	"pochette/internal/demo"
	"pochette/internal/technique/joint"
)

// The costs that are told of bow, of hand and of both together add up to that of
// the plan; the plan costs no more than bow alone and then the hand to it would.
func TestCostsAddUp(t *testing.T) {
	for _, r := range []Request{{}, {MayChangeSlurs: true}, {Style: Style{Profile: "early", OpenStrings: "more"}}, {Style: Style{Strict: true}}, {Instrument: "cello"}} {
		s := jigWith(t, r)
		sum := s.Bow.Plan.Cost + s.Hand.Plan.Cost
		for _, term := range s.Joint.Together() {
			sum += term.Value
		}
		if math.Abs(sum-s.Joint.Cost) > 1e-5*float64(len(s.Joint.Bows))+1e-6 {
			t.Errorf("%+v: bow, hand and both add up to %v, the plan costs %v", r.Style, sum, s.Joint.Cost)
		}
	}
}

// Other plans come cheapest first, cost no less than the plan, differ in what is
// told, and what they change measure by measure is what they cost more.
func TestOtherPlans(t *testing.T) {
	s := jigWith(t, Request{})
	c := s.Compared()
	if len(c.Others) != alternativesAsked || len(c.Weighed) != 0 {
		t.Fatalf("%d other plans, %d decisions", len(c.Others), len(c.Weighed))
	}
	for i := range c.Others {
		o := &c.Others[i]
		if o.Extra < -1e-6 || i > 0 && o.Extra < c.Others[i-1].Extra-1e-6 {
			t.Errorf("plan %d costs %v more", i, o.Extra)
		}
		if o.Text == "" || joint.Same(o.Plan, s.Joint) {
			t.Errorf("plan %d is no other: %q", i, o.Text)
		}
		sum := 0.0
		for _, ch := range o.Changes {
			sum += ch.Cost
			toldTruly(t, ch)
		}
		// measures that change by less than 0.05 are not told
		if math.Abs(sum-o.Extra) > 0.05*float64(len(s.Part.Measures)) {
			t.Errorf("plan %d: the measures cost %v more, the plan %v", i, sum, o.Extra)
		}
		if len(s.otherBow(o.Plan.BowStudy()))+len(s.otherHand(o.Plan.HandStudy())) == 0 {
			t.Errorf("plan %d: neither a stroke nor a grip differs", i)
		}
	}
}

// What the decisions cost one after the other is what they cost all together, by
// a plan that is made with them from the start.
func TestDecisionsAreWeighed(t *testing.T) {
	plain := jigWith(t, Request{})
	var lines []string
	for i := range plain.Hand.Grips {
		g := &plain.Hand.Grips[i]
		if i%11 != 0 || len(g.Stops) != 1 || g.Stops[0].Finger == 0 || plain.Hand.Events[i].Grace || len(lines) == 4 {
			continue
		}
		str := g.Stops[0].String + 1
		if str > 4 {
			continue
		}
		line := placeOf(plain, g.Stops[0].Note) + " string=" + []string{"", "I", "II", "III", "IV"}[str]
		if len(lines) == 1 {
			line += " bow=" + otherBow(plain, i)
		}
		lines = append(lines, line)
	}
	if len(lines) < 3 {
		t.Fatalf("only %v to decide", lines)
	}
	s := jigWith(t, Request{Decisions: decisions(t, lines...)})
	c := s.Compared()
	if len(c.Weighed) != len(lines) {
		t.Fatalf("%d of %d decisions weighed", len(c.Weighed), len(lines))
	}
	sum, elsewhere := 0.0, 0
	for _, w := range c.Weighed {
		sum += w.Cost
		for _, ch := range w.Changes {
			if ch.Measure != s.Part.Notes[w.Note].Measure {
				elsewhere++
			}
			toldTruly(t, ch)
			if !strings.HasPrefix(ch.Text, joint.Cause(s.Part, w.Note, w.Decision)+": ") {
				t.Errorf("%v: %q", w.Decision, ch.Text)
			}
		}
	}
	if got := s.Joint.Cost - plain.Joint.Cost; math.Abs(got-sum) > 1e-3 {
		t.Errorf("the decisions cost %v one after the other, %v together", sum, got)
	}
	t.Logf("%v: cost %.2f, %d changes in other measures", lines, sum, elsewhere)
}

// study.json tells of other plans and decisions what Compared does, and where on
// the bow each stroke is: a down-bow goes towards the tip.
func TestPlansInJSON(t *testing.T) {
	s := jigWith(t, Request{Decisions: decisions(t, "m2.1 bow=up")})
	data, err := s.JSON("test")
	if err != nil {
		t.Fatal(err)
	}
	var d jsonStudy
	if err := json.Unmarshal(data, &d); err != nil {
		t.Fatal(err)
	}
	if len(d.Alternatives) != len(s.Compared().Others) || len(d.Decided) != 1 || d.Decided[0].Says != "Up-bow" {
		t.Errorf("%d alternatives, decided %+v", len(d.Alternatives), d.Decided)
	}
	placed := 0
	for i, st := range d.Strokes {
		if st.From == nil || st.To == nil {
			continue
		}
		placed++
		down := s.Bow.Proposed[i].Direction == bowing.Down
		if *st.From < 0 || *st.From > 1 || *st.To < 0 || *st.To > 1 || down && *st.To < *st.From || !down && *st.To > *st.From {
			t.Errorf("stroke %d, %s, goes from %v to %v", i, st.Direction, *st.From, *st.To)
		}
	}
	if placed == 0 {
		t.Error("no stroke has a place on the bow")
	}
	if page := s.document(demo.Name); len(page.Alternatives) != len(d.Alternatives) || len(page.Decided) != 1 {
		t.Errorf("the report has %d alternatives and %d decisions", len(page.Alternatives), len(page.Decided))
	}
}

// toldTruly: a sentence says which way the cost goes in words, as it goes, and
// leaves out what rounds to nothing.
func toldTruly(t *testing.T, c joint.Consequence) {
	t.Helper()
	more, less := strings.Contains(c.Does, fmt.Sprintf("(%.1f more", c.Cost)), strings.Contains(c.Does, fmt.Sprintf("(%.1f less", -c.Cost))
	if more != (c.Cost >= 0.05) || less != (c.Cost <= -0.05) || strings.ContainsAny(c.Does, "+_") || strings.Contains(c.Does, "0.0") || strings.Contains(c.Text, "necessary") {
		t.Errorf("cost %v told as %q", c.Cost, c.Text)
	}
}

// What is told of a decision adds up: a linked stroke that spares more than it costs
// is not called necessary, and what does not matter is left out of the report.
func TestSentenceLeavesOutNothings(t *testing.T) {
	cs := []joint.Consequence{{Cost: 8.6, Does: "a linked stroke more in measure 15 (8.6 more)"}, {Cost: 0.04, Does: "another fingering in measure 17"},
		{Cost: -7.2, Does: "measure 16 then begins the right way round (7.2 less)"}}
	want := "With down-bow at measure 16, beat 1: a linked stroke more in measure 15 (8.6 more); measure 16 then begins the right way round (7.2 less)."
	if got := joint.Sentence("With down-bow at measure 16, beat 1", cs); got != want {
		t.Errorf("%q", got)
	}
	if got := joint.Sentence("It", cs[1:2]); got != "" {
		t.Errorf("nothing is told as %q", got)
	}
}

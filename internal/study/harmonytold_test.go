package study

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pochette/internal/testdata"
)

// A solo is read as what it is; of one part among several it is said that the others
// may change the chords, in the table, the summary and the data.
func TestOnePartOfSeveral(t *testing.T) {
	said := func(rd *Reading) (n int) {
		for _, lines := range [][]string{rd.Table(HarmonyTopic, rd.all()).Before, rd.Summary(), {rd.data(rd.all()).Alone}} {
			if slices.ContainsFunc(lines, func(s string) bool { return strings.HasPrefix(s, "Read from this part alone") }) {
				n++
			}
		}
		return n
	}
	solo := readDemo(t, Player)
	if n := said(solo); n != 0 || !strings.HasPrefix(solo.summaryKeys(), "The movement is in C minor") {
		t.Errorf("a solo: said %d times; %s", n, solo.summaryKeys())
	}
	name := filepath.Join(testdata.Dir(t), "musicxml", "quartets", "02c2438977f5cc88ab902e97ec151c23126ebca9.mxl")
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	rd, err := Read(ReadRequest{Name: name, Data: data, Part: "4", Level: Player})
	if err != nil {
		t.Fatal(err)
	}
	if n := said(rd); n != 3 || !strings.HasPrefix(rd.summaryKeys(), "This line is in ") {
		t.Errorf("a cello of four: said %d times; %s", n, rd.summaryKeys())
	}
	// no chord is told while the cello rests
	for i := range rd.Chords {
		c := &rd.Chords[i]
		sounds := false
		for k := range rd.Part.Notes {
			n := &rd.Part.Notes[k]
			sounds = sounds || !n.Rest && n.Onset < c.Start+c.Len && n.Onset+n.Dur > c.Start
		}
		if !sounds {
			t.Errorf("%s is told at %s, where nothing sounds", c.Name, c.At)
		}
	}
	// every sentence about a key has its place
	after := rd.Table(HarmonyTopic, rd.all()).After
	if len(after) != len(rd.Keys) {
		t.Fatalf("%d sentences about %d keys", len(after), len(rd.Keys))
	}
	for i, text := range after {
		if !strings.HasPrefix(strings.ToLower(text), strings.ToLower(rd.Keys[i].From.String())) {
			t.Errorf("no place: %s", text)
		}
	}
}

// Only cadences that come to their goal count as arrivals: neither the peak of tension
// nor a close that is put off.
func TestArrivals(t *testing.T) {
	rd := readDemo(t, Player)
	arrivals, peak := 0, 0
	for _, s := range rd.Harmony {
		if s.Arrival {
			arrivals++
			if s.Kind != "cadence" {
				t.Errorf("%s is an arrival", s.Kind)
			}
		}
		if s.Kind == "tension-peak" {
			peak++
		}
	}
	if arrivals == 0 || peak != 1 {
		t.Errorf("%d arrivals, %d peaks", arrivals, peak)
	}
}

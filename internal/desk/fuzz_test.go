package desk

import (
	"encoding/json"
	"strings"
	"testing"

	"pochette/internal/decide"
	"pochette/internal/demo"
	"pochette/internal/store"
	"pochette/internal/study"
)

// FuzzHistory reads a step as it may stand in an imported file: what it adds up to can be
// asked of the solver, drawn and written as a decisions file, whatever it says.
func FuzzHistory(f *testing.F) {
	live, err := study.OpenLive(study.Request{Name: demo.Name, Data: demo.Jig})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(`{"changes":[{"note":"m3.1","set":{"bow":"up","finger":"2","reason":"it sings"}}]}`)
	f.Add(`{"changes":[{"note":"m3.1","set":{"slur":"m4.1"}},{"note":"m4.1","set":{"slur":"none","breath":"yes"}}]}`)
	f.Add(`{"lock":{"from":-3,"to":99999999,"locked":true,"pins":[{"note":"m2.1","set":{"string":"9"}}]}}`)
	f.Add(`{"choose":{"witness":1,"n":-1,"key":"","reading":"there"},"of":-1,"places":[{"from":5,"to":2}]}`)
	f.Fuzz(func(t *testing.T, text string) {
		if !json.Valid([]byte(text)) {
			return // the store keeps no other
		}
		log := []store.Entry{{N: 1, Reason: "x", Body: json.RawMessage(text)}}
		if err := checkLog(log); err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("not one line: %q", err)
			}
			return
		}
		st, err := fold(log)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("not one line: %q", err)
			}
			return
		}
		p := &piece{live: live, refs: newReferences(live.Print, live.Instrument.Strings()), st: st, drawing: newDrawings()}
		w := p.wanted(st)
		for id := range w.Decided {
			if int(id) >= len(live.Print.Notes) {
				t.Errorf("note %d is asked for", id)
			}
		}
		for _, c := range w.Slurs {
			for _, i := range c.Remove {
				if i < 0 || i >= len(live.Print.Slurs) {
					t.Errorf("slur %d is taken away", i)
				}
			}
		}
		for _, l := range st.locks {
			st.lockedAt(l.From)
		}
		p.writtenIn(st)
		p.cutSlurs(st)
		if _, err := decide.ParseFile("d.yaml", p.decisionsFile()); err != nil {
			t.Errorf("the decisions file cannot be read: %v\n%s", err, p.decisionsFile())
		}
	})
}

// FuzzSet reads what a page sends for a note.
func FuzzSet(f *testing.F) {
	f.Add(`{"finger":"3","string":2,"bow":"down"}`)
	f.Add(`{"words":"\u0000","breath":true,"dynamic":"ff","slur":null,"position":1e99}`)
	f.Fuzz(func(t *testing.T, text string) {
		var raw map[string]any
		if json.Unmarshal([]byte(text), &raw) != nil {
			return
		}
		set, err := setOf(raw)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("not one line: %q", err)
			}
			return
		}
		again := map[string]any{}
		for k, v := range set {
			if again[k] = v; isFlag(k) {
				again[k] = v == "yes"
			}
		}
		twice, err := setOf(again)
		if err != nil {
			t.Fatalf("%v is taken as %v, and that is refused: %v", raw, set, err)
		}
		for k, v := range set {
			if twice[k] != v {
				t.Errorf("%s: %q is read again as %q", k, v, twice[k])
			}
		}
	})
}

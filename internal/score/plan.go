package score

// Term is a named part of a cost: a sentence about a plan must rest on one.
type Term struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
}

// NoteMark places a mark on a note.
type NoteMark struct {
	Note NoteID
	Mark Mark
}

// Plan is a set of marks for one part with its cost, told term by term.
// Decided marks are constraints of the solver that made it. Printed slurs
// change only through SlurChanges, which a solver may fill only when allowed.
type Plan struct {
	Marks       []NoteMark
	SlurChanges []SlurChange
	Cost        float64
	Terms       []Term
}

// SlurChange replaces printed slurs (Remove: indices into Part.Slurs) by others.
type SlurChange struct {
	Remove []int
	Add    []Slur
}

package study

import (
	"fmt"
	"strings"
)

// Summary says in a few sentences what was read.
func (rd *Reading) Summary() []string {
	var out []string
	for _, t := range []string{rd.summaryForm(), rd.alone(), rd.summaryKeys(), rd.summaryVoices(), rd.summaryParallels(), rd.summaryOdd()} {
		if t != "" {
			out = append(out, t)
		}
	}
	return out
}

func (rd *Reading) summaryForm() string {
	l := &rd.layout
	if len(l.Phrases) == 0 {
		return ""
	}
	var names []string
	for _, s := range l.Sections {
		names = append(names, fmt.Sprintf("%s of %s", s.Name, count(s.Bars, "bar", "bars")))
	}
	const most = 6
	text := count(len(l.Sections), "section", "sections")
	if len(names) <= most {
		text += " (" + strings.Join(names, ", ") + ")"
	}
	text += ", " + count(len(l.Phrases), "phrase", "phrases")
	if n := len(l.Hemiolas); n > 0 {
		text += ", " + count(n, "hemiola", "hemiolas")
	}
	return text + "."
}

func (rd *Reading) summaryKeys() string {
	if rd.Home == "" {
		return ""
	}
	var away []string
	seen := map[string]bool{rd.Home: true}
	for _, k := range rd.Keys {
		if !seen[k.Key] {
			seen[k.Key] = true
			away = append(away, k.Key)
		}
	}
	text := "The movement is in " + rd.Home
	if rd.hasOthers() {
		text = "This line is in " + rd.Home
	}
	if len(away) > 0 {
		text += " and goes to " + enumerated(away)
	}
	arrivals := 0
	for _, s := range rd.Harmony {
		if s.Arrival {
			arrivals++
		}
	}
	if arrivals > 0 {
		text += "; " + count(arrivals, "arrival", "arrivals")
	}
	return text + "."
}

func enumerated(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

func (rd *Reading) summaryVoices() string {
	implied := 0
	for _, s := range rd.Voices {
		if s.Kind == "implied-voices" {
			implied++
		}
	}
	if implied == 0 {
		return ""
	}
	return fmt.Sprintf("The single line speaks in two or more voices in %s.", count(implied, "stretch", "stretches"))
}

func (rd *Reading) summaryParallels() string {
	shown, different, all := 0, 0, 0
	for i := range rd.Parallels {
		if !rd.Parallels[i].near && !rd.strict {
			continue
		}
		shown++
		if n := len(rd.Parallels[i].Differences); n > 0 {
			different++
			all += n
		}
	}
	if shown == 0 {
		return ""
	}
	text := count(shown, "passage comes", "passages come") + " again"
	switch {
	case different == 0:
		return text + ", all marked alike."
	case all == 1:
		return text + "; 1 of them with a difference. It may be a slip or meant."
	}
	return fmt.Sprintf("%s; %d of them with differences, %d in all. Each may be a slip or meant.", text, different, all)
}

func (rd *Reading) summaryOdd() string {
	var parts []string
	if n := len(rd.Odd); n > 0 {
		parts = append(parts, count(n, "place differs", "places differ")+" surprisingly from a parallel one")
	}
	if n := len(rd.Once); n > 0 {
		parts = append(parts, count(n, "thing occurs", "things occur")+" only once")
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, "; ") + "."
}

package bowing

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pochette/internal/musicxml"
)

func TestTmpRead(t *testing.T) {
	for _, f := range strings.Fields(os.Getenv("FILES")) {
		data, _ := os.ReadFile(f)
		sc, _, err := musicxml.Read(bytes.NewReader(data), filepath.Base(f))
		if err != nil {
			fmt.Println(err)
			continue
		}
		for _, p := range sc.Parts[:1] {
			st := Analyze(sc, p, Options{MayChangeSlurs: os.Getenv("MAY") != "", Fewest: os.Getenv("FEW") != "", Profile: os.Getenv("PROFILE")})
			fmt.Println("=====", filepath.Base(f), p.Name, len(st.Proposed), "strokes", len(st.Changes), "changes")
			for _, x := range st.Findings {
				fmt.Printf("F %-18s %v %s–%s: %s | %s | %s\n", x.Kind, x.Grade, x.At, x.To, x.Text, x.Why, x.Suggestion)
			}
			for _, c := range st.Changes {
				fmt.Printf("C %-10v %s: %s  (cost %.1f leave %.1f)\n", c.Kind, c.At, c.Text, c.Cost, c.Leave)
			}
		}
	}
}

func TestTmpScan(t *testing.T) {
	counts := map[string]int{}
	n := 0
	filepath.WalkDir("/work/shared/data", func(path string, d os.DirEntry, err error) error {
		if d.IsDir() || strings.Contains(path, "suite") || !strings.HasSuffix(path, ".mxl") && !strings.HasSuffix(path, ".musicxml") {
			return nil
		}
		data, _ := os.ReadFile(path)
		sc, _, err := musicxml.Read(bytes.NewReader(data), filepath.Base(path))
		if err != nil {
			return nil
		}
		for _, p := range sc.Parts {
			for _, may := range []bool{false, true} {
				st := Analyze(sc, p, Options{MayChangeSlurs: may})
				for _, x := range st.Findings {
					if !may {
						counts[x.Kind]++
						if strings.HasPrefix(x.Kind, "bow-") && n < 40 && (counts[x.Kind]%7 == 1) {
							n++
							fmt.Printf("%s %s %s %s–%s: %s | %s | %s\n", filepath.Base(path)[:8], x.Kind, x.Grade, x.At, x.To, x.Text, x.Why, x.Suggestion)
						}
					}
				}
				for _, c := range st.Changes {
					counts[fmt.Sprint("change ", may, " ", c.Kind)]++
					if may && (c.Kind == Join || c.Kind == Split) && counts[fmt.Sprint("change ", may, " ", c.Kind)]%40 == 1 {
						fmt.Printf("%s C %-10v %s: %s  (cost %.1f leave %.1f)\n", filepath.Base(path)[:8], c.Kind, c.At, c.Text, c.Cost, c.Leave)
					}
				}
			}
		}
		return nil
	})
	fmt.Println(counts)
}

package pochette_test

import (
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// floors is the house of ARCHITECTURE.md: a package may import only packages of
// lower floors. sequence knows no music, so it stands on the ground floor.
var floors = map[string]int{
	"pitch": 0, "sequence": 0, "demo": 0, "wave": 0,
	"score": 1, "testdata": 1,
	"timeline": 2, "instrument": 2, "audio": 2,
	"bowing": 3, "fingering": 3, "voices": 3, "parallels": 3, "harmony": 3, "form": 3, "witness": 3, "listen": 3,
	"pace":      3, // plans of time
	"technique": 4,
	"musicxml":  5, "engrave": 5, "paper": 5, "decide": 5, "take": 5, "listentest": 5,
	"midi": 5, "sound": 5, // the plan as files to hear
	"report": 6, "learn": 6, "store": 6,
	"study": 7,
	"desk":  8,
}

// forbiddenBelow5 may not be imported by the pure floors.
var forbiddenBelow5 = []string{"os", "net", "net/http", "database/sql", "log", "log/slog", "time", "math/rand", "math/rand/v2", "io/fs", "os/exec"}

func TestFloors(t *testing.T) {
	seen := 0
	err := filepath.WalkDir("internal", func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") {
			return err
		}
		pkg := strings.Split(filepath.ToSlash(path), "/")[1]
		floor, ok := floors[pkg]
		if !ok {
			t.Errorf("%s: package %s has no floor: add it to floors_test.go and ARCHITECTURE.md", path, pkg)
			return nil
		}
		seen++
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, imp := range f.Imports {
			checkImport(t, path, pkg, floor, imp.Path.Value)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 10 {
		t.Fatalf("only %d files read: is the test run in the project's root?", seen)
	}
}

func checkImport(t *testing.T, path, pkg string, floor int, quoted string) {
	t.Helper()
	name, err := strconv.Unquote(quoted)
	if err != nil {
		t.Fatal(err)
	}
	test := strings.HasSuffix(path, "_test.go")
	if floor < 5 && pkg != "testdata" && !test && slices.Contains(forbiddenBelow5, name) {
		t.Errorf("%s imports %s, which no package below floor 5 may", path, name)
	}
	rest, ours := strings.CutPrefix(name, "pochette/internal/")
	if !ours || test { // tests may borrow a codec to read real music
		return
	}
	dep := strings.Split(rest, "/")[0]
	if dep != pkg && floors[dep] >= floor {
		t.Errorf("%s (floor %d) imports %s (floor %d): imports go only downwards", path, floor, dep, floors[dep])
	}
}

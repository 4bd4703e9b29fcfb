package store

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
)

var dated = regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d{6}\.sqlite$`)

// Thin takes away the oldest of the dated copies in a folder, all but the newest
// keep. Files of other names are left alone.
func Thin(dir string, keep int) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	var names []string
	for _, e := range entries {
		if dated.MatchString(e.Name()) && e.Type().IsRegular() {
			names = append(names, e.Name())
		}
	}
	slices.Sort(names)
	for _, n := range names[:max(0, len(names)-max(0, keep))] {
		if err := os.Remove(filepath.Join(dir, n)); err != nil {
			return err
		}
	}
	return nil
}

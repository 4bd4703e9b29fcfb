package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"pochette/internal/musicxml"
	"pochette/internal/study"
)

// readInput reads a file, or standard input for "-". More than the reader's own
// limit is refused before it fills the memory.
func readInput(name string) (data []byte, shown string, err error) {
	in := io.Reader(os.Stdin)
	shown = "standard input"
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, name, plainPathError(err)
		}
		defer f.Close()
		in, shown = f, name
	}
	data, err = io.ReadAll(io.LimitReader(in, musicxml.MaxBytes+1))
	if err != nil {
		return nil, shown, plainPathError(err)
	}
	if len(data) > musicxml.MaxBytes {
		return nil, shown, fmt.Errorf("%s: larger than %d MB, the most that is read; give one movement a file", shown, musicxml.MaxBytes>>20)
	}
	return data, shown, nil
}

// plainPathError says "name: reason" without the name of a system call.
func plainPathError(err error) error {
	var pe *os.PathError
	if errors.As(err, &pe) {
		return fmt.Errorf("%s: %w", pe.Path, pe.Err)
	}
	return err
}

// writeAll puts the files into a folder, all or none: each is written under a
// temporary name, and only when all are whole are they renamed.
func writeAll(dir string, files []study.File) (err error) {
	made, err := makeDir(dir)
	if err != nil {
		return plainPathError(err)
	}
	var temps []string
	defer func() {
		for _, t := range temps {
			os.Remove(t)
		}
		if err != nil && made {
			os.Remove(dir) // only if empty
		}
	}()
	for _, f := range files {
		t, err := writeTemp(dir, f)
		if t != "" {
			temps = append(temps, t)
		}
		if err != nil {
			return plainPathError(err)
		}
	}
	for i, f := range files {
		if err := os.Rename(temps[i], filepath.Join(dir, f.Name)); err != nil {
			return err
		}
	}
	temps = nil
	return nil
}

// mayReplace refuses to write over the file that is read, ever, and over what the player
// may have made or changed herself, unless she says so. What an earlier study left is
// known by the sums in its data.
func mayReplace(dir string, files []study.File, input string, overwrite bool) error {
	known := writtenBefore(dir)
	read, readErr := os.Stat(input)
	for _, f := range files {
		name := filepath.Join(dir, f.Name)
		there, err := os.Stat(name)
		if err != nil {
			continue // not there, or writing will say what is wrong
		}
		if readErr == nil && os.SameFile(read, there) {
			return fmt.Errorf("%s is the score itself, which a study never writes over; give another folder with -o", name)
		}
		if overwrite {
			continue
		}
		old, err := os.ReadFile(name)
		if err != nil {
			return plainPathError(err)
		}
		if known[f.Name] != study.Sum(old) && !bytes.Equal(old, f.Data) {
			return fmt.Errorf("%s is not as a study left it; move it away, give another folder with -o, or say --overwrite", name)
		}
	}
	return nil
}

// writtenBefore gives the sums of the files that a study left in a folder.
func writtenBefore(dir string) map[string]string {
	data, err := os.ReadFile(filepath.Join(dir, study.DataJSON))
	if err != nil {
		return nil
	}
	sums := study.Written(data)
	if sums != nil {
		sums[study.DataJSON] = study.Sum(data)
	}
	return sums
}

func makeDir(dir string) (made bool, err error) {
	if in, err := os.Stat(dir); err == nil {
		if !in.IsDir() {
			return false, fmt.Errorf("%s is a file; give a folder with -o", dir)
		}
		return false, nil
	}
	return true, os.MkdirAll(dir, 0o755)
}

func writeTemp(dir string, f study.File) (name string, err error) {
	t, err := os.CreateTemp(dir, "."+f.Name+"-*")
	if err != nil {
		return "", err
	}
	name = t.Name()
	_, err = t.Write(f.Data)
	if err == nil {
		err = t.Chmod(0o644)
	}
	if cerr := t.Close(); err == nil {
		err = cerr
	}
	return name, err
}

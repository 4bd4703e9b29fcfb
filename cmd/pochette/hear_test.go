package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pochette/internal/audio"
	lt "pochette/internal/listentest"
	"pochette/internal/musicxml"
)

// heardFiles puts an invented piece and a take of it into a folder.
func heardFiles(t *testing.T) (takeFile, piece string) {
	t.Helper()
	sc, p := lt.Piece("dance", 4, 55, 3)
	sound, _ := lt.Play(sc, p, lt.Options{Seed: 1, Rate: audio.Rate, Vibrato: 15})
	var xml bytes.Buffer
	if err := musicxml.Encode(&xml, sc); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	takeFile, piece = filepath.Join(dir, "take.wav"), filepath.Join(dir, "piece.musicxml")
	for name, data := range map[string][]byte{takeFile: lt.WAV(sound, audio.Rate), piece: xml.Bytes()} {
		if err := os.WriteFile(name, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return takeFile, piece
}

func hearSays(t *testing.T, ctx context.Context, args ...string) (string, error) {
	t.Helper()
	var out bytes.Buffer
	root := rootCommand()
	root.SetOut(&out)
	root.SetErr(&out)
	root.SetArgs(append([]string{"hear"}, args...))
	err := root.ExecuteContext(ctx)
	return out.String(), err
}

// hear as a player would use it: sentences, bars, data, files that may be replaced only
// while they are as a hearing left them; nothing is written when it is stopped.
func TestHearCommand(t *testing.T) {
	takeFile, piece := heardFiles(t)
	dir := filepath.Join(filepath.Dir(piece), "heard")
	ctx := context.Background()
	out, err := hearSays(t, ctx, takeFile, piece, "--bars", "-o", dir)
	if err != nil || !strings.Contains(out, "is heard") || !strings.Contains(out, "inside the bar") {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, line := range strings.Split(out, "\n") {
		if len([]rune(line)) > pageWidth && !strings.Contains(line, dir) {
			t.Errorf("wider than %d: %q", pageWidth, line)
		}
	}
	for _, name := range []string{"heard.json", "tempo.svg", "intonation.svg"} {
		if st, err := os.Stat(filepath.Join(dir, name)); err != nil || st.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := hearSays(t, ctx, takeFile, piece, "-o", dir, "--tuning", "pythagorean"); err != nil {
		t.Errorf("again into the same folder: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, "tempo.svg"), []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := hearSays(t, ctx, takeFile, piece, "-o", dir); err == nil || !strings.Contains(err.Error(), "tempo.svg") {
		t.Errorf("over a changed file: %v", err)
	}
	done, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := hearSays(t, done, takeFile, piece, "-o", dir+"2"); err == nil {
		t.Error("a stopped hearing says nothing")
	}
	if _, err := os.Stat(dir + "2"); err == nil {
		t.Error("a stopped hearing leaves a folder")
	}
	if out, err := hearSays(t, ctx, takeFile, piece, "--json"); err != nil || !strings.Contains(out, `"worth_hearing_again"`) {
		t.Errorf("%v %.200s", err, out)
	}
	for _, args := range [][]string{{takeFile}, {takeFile, piece, "--a4", "12"}, {takeFile, piece, "--tuning", "x"}, {"-", "-"}} {
		if _, err := hearSays(t, ctx, args...); err == nil || !isUsage(err) {
			t.Errorf("%v: %v is no usage error", args, err)
		}
	}
	if _, err := hearSays(t, ctx, piece, piece); err == nil || !strings.Contains(err.Error(), "perhaps the score") {
		t.Errorf("the score as a take: %v", err)
	}
}

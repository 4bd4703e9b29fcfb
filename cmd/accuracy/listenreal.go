package main

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"pochette/internal/audio"
	"pochette/internal/listen"
	lt "pochette/internal/listentest"
	"pochette/internal/musicxml"
	"pochette/internal/score"
	"pochette/internal/take"
)

func openListen(name string, data []byte) (*musicxml.Source, error) {
	if data == nil {
		var err error
		if data, err = os.ReadFile(name); err != nil {
			return nil, err
		}
	}
	return musicxml.Open(data, filepath.Base(name))
}

// measureRealTakes prints what is heard in the recorded movement, and how onset lists
// lie beside their score.
func measureRealTakes(w io.Writer, data string) error {
	if err := measureTakeA(w, data); err != nil {
		return err
	}
	return measureOnsetLists(w, data)
}

// measureTakeA puts the recording beside its score and compares with the estimated
// alignment that came with it (salu133445/bach-violin-dataset).
func measureTakeA(w io.Writer, data string) error {
	dir := filepath.Join(data, "timing", "audio")
	f, seconds, err := readTake(filepath.Join(dir, "take_a.mp3"), 170)
	if err != nil {
		return err
	}
	sc, err := decodeListen(filepath.Join(data, "musicxml", "solo", "bwv1002_mov6.mxl"), nil)
	if err != nil {
		return err
	}
	l, err := listen.NewLine(sc, sc.Parts[0])
	if err != nil {
		return err
	}
	h, err := listen.Hear(f, l, listen.Request{Tuning: listen.Pythagorean, Open: violinOpen})
	if err != nil {
		return err
	}
	ref, err := referenceOnsets(dir)
	if err != nil {
		return err
	}
	var diff []float64
	for _, n := range h.Notes {
		if t, ok := ref[int(math.Round(24*l.Events[n.Event].At))]; ok {
			diff = append(diff, n.Start-t)
		}
	}
	shift := lt.Quantile(diff, 0.5)
	var errs []float64
	for _, d := range diff {
		errs = append(errs, math.Abs(d-shift))
	}
	resumed := 0
	for _, n := range h.Notes {
		if n.Resumed {
			resumed++
		}
	}
	fmt.Fprintf(w, "### A recorded movement\n\n`timing/audio/take_a.mp3` (%.1f s) beside `bwv1002_mov6`: %d of %d events are found, %d slips are said, %d restarts. A4 = %.1f Hz; half of the notes lie within %.1f cents of Pythagorean tuning, fit %.2f.\n\n", seconds, len(h.Notes), len(l.Events), len(h.Slips()), resumed, h.Alignment.A4, h.Spread, h.Alignment.Fit)
	fmt.Fprintf(w, "The estimated alignment (a 32 ms grid) runs on another clock than the file: its times come %.0f ms before ours throughout (at its first onset the file is at %.0f dB, %.0f ms later at %.0f dB). With that one shift taken off, %d onsets differ by %.0f ms in the median, %.0f ms at the 90th percentile; %.1f %% lie within 40 ms.\n\n",
		1000*shift, levelAt(f, h.Notes[0].Start-shift+0.05), 1000*shift, levelAt(f, h.Notes[0].Start+0.05), len(errs), 1000*lt.Quantile(errs, 0.5), 1000*lt.Quantile(errs, 0.9), 100*lt.Within(errs, 0.04))
	return nil
}

func levelAt(f *audio.Features, t float64) float64 { return f.LevelAt(int(math.Round(100 * t))) }

func readTake(name string, lowest float64) (*audio.Features, float64, error) {
	in, err := os.Open(name)
	if err != nil {
		return nil, 0, err
	}
	defer in.Close()
	rd, err := take.Open(in, name)
	if err != nil {
		return nil, 0, err
	}
	r, a := audio.NewResampler(rd.Rate, audio.Rate), audio.NewAnalyzer(lowest)
	buf := make([]float32, 1<<14)
	for {
		n, err := rd.Read(buf)
		a.Push(r.Push(nil, buf[:n]))
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, 0, err
		}
	}
	a.Push(r.Flush(nil))
	return a.Finish(), rd.Seconds(), nil
}

// referenceOnsets of the estimated alignment, by score time in 24ths of a quarter.
func referenceOnsets(dir string) (map[int]float64, error) {
	notes, err := readCSV(filepath.Join(dir, "take_a.notes.csv"))
	if err != nil {
		return nil, err
	}
	times, err := readCSV(filepath.Join(dir, "take_a.alignment.csv"))
	if err != nil {
		return nil, err
	}
	out := map[int]float64{}
	for i := range notes {
		at, err1 := strconv.Atoi(notes[i][0])
		t, err2 := strconv.ParseFloat(times[i][0], 64)
		if err1 != nil || err2 != nil {
			return nil, fmt.Errorf("row %d of the estimated alignment cannot be read", i+2)
		}
		if _, ok := out[at]; !ok {
			out[at] = t
		}
	}
	return out, nil
}

func readCSV(name string) ([][]string, error) {
	in, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	rows, err := csv.NewReader(in).ReadAll()
	if err != nil || len(rows) == 0 {
		return nil, fmt.Errorf("%s: %v", name, err)
	}
	return rows[1:], nil
}

// measureOnsetLists puts the hand-annotated onsets of single parts of a finale beside
// the score (arme-project/virtuoso-strings; the score OpenScore's).
func measureOnsetLists(w io.Writer, data string) error {
	sc, err := decodeListen(filepath.Join(data, "timing", "quartet_op74_1.mxl"), nil)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "### Onset lists beside a score\n\nHand-annotated onsets of single parts of a quartet's finale (measures 445 to 730 of its file), played once through as their lengths say. A step is odd where it lasts less than 0.6 or more than 1.6 times what the pace of the bars around gives.\n\n| take | onsets | events | put together | onsets left | events left | of these grace notes | odd steps | tempo, quarters a minute (10th, median, 90th) |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, part := range []struct {
		name  string
		index int
	}{{"VN1", 0}, {"VA", 2}, {"VC", 3}} {
		files, err := filepath.Glob(filepath.Join(data, "timing", "onsets", part.name+"-*.txt"))
		if err != nil || len(files) == 0 {
			return fmt.Errorf("no onset lists of %s", part.name)
		}
		l, err := finale(sc, sc.Parts[part.index])
		if err != nil {
			return err
		}
		for _, name := range files {
			times, err := readTimes(name)
			if err != nil {
				return err
			}
			onsetRow(w, strings.TrimSuffix(filepath.Base(name), ".txt"), l, times)
		}
	}
	fmt.Fprintln(w)
	return nil
}

func onsetRow(w io.Writer, name string, l *listen.Line, times []float64) {
	match := listen.AlignOnsets(l, times)
	together, grace, odd := 0, 0, 0
	var pace []float64
	last := -1
	for i, j := range match {
		if j < 0 {
			if l.Events[i].Grace {
				grace++
			}
			continue
		}
		together++
		if last >= 0 && l.Events[i].At > l.Events[last].At {
			pace = append(pace, (times[j]-times[match[last]])/(l.Events[i].At-l.Events[last].At))
		}
		last = i
	}
	for k, p := range pace {
		mid := lt.Quantile(pace[max(0, k-8):min(len(pace), k+9)], 0.5)
		if p < 0.6*mid || p > 1.6*mid {
			odd++
		}
	}
	fmt.Fprintf(w, "| %s | %d | %d | %d | %d | %d | %d | %d | %.0f, %.0f, %.0f |\n", name, len(times), len(l.Events), together, len(times)-together, len(l.Events)-together, grace, odd, 60/lt.Quantile(pace, 0.9), 60/lt.Quantile(pace, 0.5), 60/lt.Quantile(pace, 0.1))
}

func readTimes(name string) ([]float64, error) {
	in, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	var out []float64
	for s := bufio.NewScanner(in); s.Scan(); {
		if text := strings.TrimSpace(s.Text()); text != "" {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", name, err)
			}
			out = append(out, v)
		}
	}
	return out, nil
}

// finaleFrom is the index of the finale's first measure.
const finaleFrom = 444

// finale is the line of a part from the finale on, as it is printed: the takes play no
// repeat (their numbers of onsets say so).
func finale(sc *score.Score, p *score.Part) (*listen.Line, error) {
	whole, err := listen.NewLine(sc, p)
	if err != nil {
		return nil, err
	}
	l := &listen.Line{Score: sc, Part: p}
	for _, v := range whole.Visits {
		if v.Measure < finaleFrom || v.Round > 1 {
			continue
		}
		shift := 0.0
		if n := len(l.Visits); n > 0 {
			shift = l.Visits[n-1].At + l.Visits[n-1].Len
		}
		for _, e := range whole.Events[v.First:] {
			if e.At >= v.At+v.Len-1e-9 || e.Measure != v.Measure {
				break
			}
			e.At += shift - v.At
			e.Visit = len(l.Visits)
			l.Events = append(l.Events, e)
		}
		v.At = shift
		l.Visits = append(l.Visits, v)
	}
	return l, nil
}

package main

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"pochette/internal/study"
)

// pageWidth in columns: what an ordinary terminal and a printed page hold.
const pageWidth = 80

// leastText is how wide the last column of a table is at least.
const leastText = 24

// show writes what a command found to its standard output: as data or as a table.
func show(cmd *cobra.Command, asJSON bool, table func() study.Table, data func() ([]byte, error)) error {
	if !asJSON {
		return writeTable(cmd.OutOrStdout(), table())
	}
	text, err := data()
	if err != nil {
		return err
	}
	_, err = cmd.OutOrStdout().Write(text)
	return err
}

// writeTable lays out a table in pageWidth columns: the last cell of a row and
// the sentences under it are wrapped. What repeats in the first column is said once.
func writeTable(w io.Writer, t study.Table) error {
	var b strings.Builder
	for _, line := range t.Before {
		writeWrapped(&b, line, "", "")
	}
	if len(t.Before) > 0 {
		b.WriteString("\n")
	}
	widths := columns(t)
	writeRow(&b, t.Head, widths)
	last := ""
	for i, r := range t.Rows {
		cells := append([]string(nil), r.Cells...)
		if i > 0 && cells[0] == last {
			cells[0] = ""
		}
		last = r.Cells[0]
		writeRow(&b, cells, widths)
		for _, line := range r.Under {
			writeWrapped(&b, line, "    ", "    ")
		}
	}
	if len(t.Rows) == 0 {
		b.WriteString("(nothing here)\n")
	}
	if len(t.After) > 0 {
		b.WriteString("\n")
	}
	for _, line := range t.After {
		if inner, ok := strings.CutPrefix(line, "  "); ok {
			writeWrapped(&b, inner, "    ", "      ")
			continue
		}
		writeWrapped(&b, line, "", "  ")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// columns measures all columns but the last, which takes what is left.
func columns(t study.Table) []int {
	widths := make([]int, len(t.Head)-1)
	for i := range widths {
		widths[i] = utf8.RuneCountInString(t.Head[i])
		for _, r := range t.Rows {
			widths[i] = max(widths[i], utf8.RuneCountInString(r.Cells[i]))
		}
	}
	return widths
}

func writeRow(b *strings.Builder, cells []string, widths []int) {
	var head strings.Builder
	for i, n := range widths {
		head.WriteString(cells[i])
		head.WriteString(strings.Repeat(" ", n-utf8.RuneCountInString(cells[i])+2))
	}
	wide := utf8.RuneCountInString(head.String())
	if wide > pageWidth-leastText && wide+utf8.RuneCountInString(cells[len(widths)]) > pageWidth { // too narrow a column: the text stands under the row
		fmt.Fprintln(b, strings.TrimRight(head.String(), " "))
		writeWrapped(b, cells[len(widths)], "    ", "    ")
		return
	}
	indent := strings.Repeat(" ", wide)
	writeWrapped(b, cells[len(widths)], head.String(), indent)
}

// writeWrapped writes words in lines of pageWidth; a word longer than a line stands alone.
func writeWrapped(b *strings.Builder, text, first, next string) {
	line, filled := first, false
	for _, word := range strings.Fields(text) {
		if filled && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > pageWidth {
			fmt.Fprintln(b, line)
			line, filled = next, false
		}
		if filled {
			line += " "
		}
		line, filled = line+word, true
	}
	fmt.Fprintln(b, strings.TrimRight(line, " "))
}

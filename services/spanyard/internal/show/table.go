// Package show turns answers of the services into text for people: aligned
// tables with units in their headers, readable at 100 columns and without
// colour. Nothing in it asks a service or looks at a clock.
package show

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// width that printed text keeps to.
const width = 100

// narrow is the least room that the last column is broken into.
const narrow = 16

type table struct {
	heads  []string
	right  []bool
	rows   [][]string
	indent string
}

// newTable returns a table with these columns. A name that ends in "#" is
// aligned to the right; the "#" is not printed.
func newTable(columns ...string) *table {
	t := &table{}
	for _, c := range columns {
		name, right := strings.CutSuffix(c, "#")
		t.heads = append(t.heads, name)
		t.right = append(t.right, right)
	}
	return t
}

// add appends a row; missing cells are empty.
func (t *table) add(cells ...any) {
	row := make([]string, len(t.heads))
	for i, c := range cells {
		row[i] = fmt.Sprint(c)
	}
	t.rows = append(t.rows, row)
}

// write prints the table. The last column is broken at spaces when it would
// run over the page, and goes on under itself; where even that does not help,
// the columns move together.
func (t *table) write(w io.Writer) {
	widths := make([]int, len(t.heads))
	for _, row := range append([][]string{t.heads}, t.rows...) {
		for i, c := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(c))
		}
	}
	last := len(widths) - 1
	fixed := utf8.RuneCountInString(t.indent)
	for _, n := range widths[:last] {
		fixed += n
	}
	gap := 2
	if fixed+gap*last+min(widths[last], narrow) > width {
		gap = 1
	}
	start := fixed + gap*last
	room := max(width-start, narrow)
	t.line(w, t.heads, widths, gap)
	for _, row := range t.rows {
		parts := []string{row[last]}
		if !t.right[last] {
			parts = wrap(row[last], room)
		}
		t.line(w, append(row[:last:last], parts[0]), widths, gap)
		for _, more := range parts[1:] {
			fmt.Fprintln(w, strings.Repeat(" ", start)+more)
		}
	}
}

func (t *table) line(w io.Writer, cells []string, widths []int, gap int) {
	var b strings.Builder
	b.WriteString(t.indent)
	for i, c := range cells {
		if i > 0 {
			b.WriteString(strings.Repeat(" ", gap))
		}
		pad := strings.Repeat(" ", max(widths[i]-utf8.RuneCountInString(c), 0))
		if t.right[i] {
			c = pad + c
		} else {
			c += pad
		}
		b.WriteString(c)
	}
	fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
}

// wrap breaks text at spaces into lines of at most room runes; a longer word
// stays whole.
func wrap(text string, room int) []string {
	var lines []string
	var line strings.Builder
	used := 0
	for _, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		if used > 0 && used+1+n > room {
			lines = append(lines, line.String())
			line.Reset()
			used = 0
		}
		if used > 0 {
			line.WriteByte(' ')
			used++
		}
		line.WriteString(word)
		used += n
	}
	return append(lines, line.String())
}

// paragraph prints text between the margins; lines after the first start at
// hang.
func paragraph(w io.Writer, indent, hang, text string) {
	lines := wrap(text, width-max(utf8.RuneCountInString(indent), utf8.RuneCountInString(hang)))
	for i, line := range lines {
		if i == 0 {
			fmt.Fprintln(w, indent+line)
		} else {
			fmt.Fprintln(w, hang+line)
		}
	}
}

// note prints the sentence that stands in place of an empty table.
func note(w io.Writer, format string, args ...any) {
	fmt.Fprintf(w, format+"\n", args...)
}

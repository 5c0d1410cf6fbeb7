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
// run over the page, and goes on under itself. Where that does not help, the
// columns move together, and then others are broken as well, those with the
// most to give first.
func (t *table) write(w io.Writer) {
	widths := make([]int, len(t.heads))
	for _, row := range append([][]string{t.heads}, t.rows...) {
		for i, c := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(c))
		}
	}
	last := len(widths) - 1
	room := width - utf8.RuneCountInString(t.indent)
	gap := 2
	if over := sum(widths[:last]) + gap*last + t.leastLast(widths[last]) - room; over > 0 {
		gap = 1
		t.squeeze(widths, over-last)
	}
	if !t.right[last] {
		widths[last] = min(widths[last], max(room-sum(widths[:last])-gap*last, t.leastLast(widths[last])))
	}
	for _, row := range append([][]string{t.heads}, t.rows...) {
		t.lines(w, row, widths, gap)
	}
}

func sum(widths []int) int {
	total := 0
	for _, n := range widths {
		total += n
	}
	return total
}

// leastLast is the room that the last column needs at least.
func (t *table) leastLast(natural int) int {
	if t.right[len(t.right)-1] {
		return natural
	}
	return max(min(natural, narrow), t.longestWord(len(t.right)-1))
}

// longestWord of a column: below it nothing can be broken.
func (t *table) longestWord(column int) int {
	longest := 0
	for _, row := range append([][]string{t.heads}, t.rows...) {
		for _, word := range strings.Fields(row[column]) {
			longest = max(longest, utf8.RuneCountInString(word))
		}
	}
	return longest
}

// squeeze takes so many characters off the columns before the last.
func (t *table) squeeze(widths []int, over int) {
	for ; over > 0; over-- {
		most, slack := -1, 0
		for i := range widths[:len(widths)-1] {
			if s := widths[i] - t.longestWord(i); s > slack {
				most, slack = i, s
			}
		}
		if most < 0 {
			return
		}
		widths[most]--
	}
}

// lines prints a row, each cell broken to the width of its column.
func (t *table) lines(w io.Writer, cells []string, widths []int, gap int) {
	parts := make([][]string, len(cells))
	most := 1
	for i, c := range cells {
		parts[i] = []string{c}
		if utf8.RuneCountInString(c) > widths[i] {
			parts[i] = wrap(c, widths[i])
		}
		most = max(most, len(parts[i]))
	}
	for n := range most {
		line := make([]string, len(cells))
		for i := range cells {
			if n < len(parts[i]) {
				line[i] = parts[i][n]
			}
		}
		t.line(w, line, widths, gap)
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

package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
)

// class gathers the outcomes of one class and rule.
type class struct {
	name                                string
	n, proved, knownProved, optimal     int
	equal, better, worse, missing, rows int
	sum, knownSum, otherSum, others     int
	boundSum                            int
	gap, seconds, slowest               float64
}

func (c *class) add(r outcome) {
	c.n++
	c.seconds += r.seconds
	c.slowest = max(c.slowest, r.seconds)
	c.boundSum += r.bound
	if r.proved {
		c.proved++
	}
	if r.knownProved {
		c.knownProved++
	}
	if !r.found {
		c.missing++
		return
	}
	if r.known < 0 {
		c.better++
		return
	}
	c.rows++
	c.sum += r.moves
	c.knownSum += r.known
	if r.known > 0 {
		c.gap += float64(r.moves-r.known) / float64(r.known)
	}
	switch {
	case r.moves < r.known:
		c.better++
	case r.moves == r.known:
		c.equal++
		if r.knownProved {
			c.optimal++
		}
	default:
		c.worse++
	}
	if r.other >= 0 {
		c.others++
		c.otherSum += r.other
	}
}

func (c *class) line(w io.Writer) error {
	other := ""
	if c.others == c.rows && c.rows > 0 {
		other = fmt.Sprintf("%.2f", float64(c.otherSum)/float64(c.rows))
	}
	rows := float64(max(c.rows, 1))
	_, err := fmt.Fprintf(w, "| %s | %d | %d | %d | %d | %d | %d | %d | %d | %.2f | %.2f | %s | %.2f | %+.2f | %.3f | %.2f |\n",
		c.name, c.n, c.proved, c.knownProved, c.optimal, c.equal, c.better, c.worse, c.missing,
		float64(c.sum)/rows, float64(c.knownSum)/rows, other, float64(c.boundSum)/float64(c.n), 100*c.gap/rows, c.seconds/float64(c.n), c.slowest)
	return err
}

// summarise prints one line for each class and rule and one for all of a rule.
func summarise(w io.Writer, done []outcome) error {
	classes := map[string]*class{}
	var order []*class
	group := func(name string) *class {
		if classes[name] == nil {
			classes[name] = &class{name: name}
			order = append(order, classes[name])
		}
		return classes[name]
	}
	sorted := slices.Clone(done)
	slices.SortStableFunc(sorted, func(a, b outcome) int { return cmp.Compare(a.rule, b.rule) })
	for _, r := range sorted {
		name := r.class
		if r.family == "bf" {
			name = "all"
		}
		group(r.rule + " " + r.family + " " + name).add(r)
	}
	for _, r := range sorted {
		group("all " + r.rule).add(r)
	}
	if _, err := fmt.Fprint(w, "| class | n | proved | proof known | equal to a proved best | equal | better | worse | none | mean | mean known | other published | mean bound | mean gap % | mean s | slowest s |\n|"+
		" - |"+" - | - | - | - | - | - | - | - | - | - | - | - | - | - | - |\n"); err != nil {
		return err
	}
	for _, c := range order {
		if err := c.line(w); err != nil {
			return err
		}
	}
	return nil
}

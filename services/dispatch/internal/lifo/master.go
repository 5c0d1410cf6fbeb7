package lifo

import (
	"cmp"
	"math"
	"slices"
)

const (
	// tiny is below what a cost can differ by.
	tiny = 1e-9
	// batch is how many columns join the linear program at a time.
	batch = 400
	// perturbation of the right-hand sides keeps the simplex method from
	// cycling; prices that are right for it are right without it.
	perturbation = 1e-5
)

// master is the linear program that covers every customer once at least cost,
// over the columns that matter, with the inverse of its basis.
type master struct {
	rows    int
	inverse [][]float64
	value   []float64
	basis   []column
	price   []float64
}

// priced solves the linear program over all columns and leaves their reduced
// costs in them. It returns the prices and a lower bound on every cover.
func priced(columns []column, rows int) ([]float64, float64) {
	m := newMaster(columns, rows)
	for {
		worst, joining := reduce(columns, m.price)
		if worst > -tiny {
			bound := float64(0)
			for _, p := range m.price {
				bound += p
			}
			return m.price, bound + math.Min(0, worst)*float64(rows)
		}
		m.optimise(joining)
	}
}

// reduce sets reduced costs and returns the least one, and the columns that
// would lower the cost most.
func reduce(columns []column, price []float64) (worst float64, joining []column) {
	for i := range columns {
		c := &columns[i]
		c.reduced = c.cost - c.of.sum(price)
		worst = math.Min(worst, c.reduced)
		if c.reduced < -tiny {
			joining = append(joining, *c)
		}
	}
	slices.SortFunc(joining, func(a, b column) int {
		return cmp.Or(cmp.Compare(a.reduced, b.reduced), a.of.compare(b.of))
	})
	return worst, joining[:min(len(joining), batch)]
}

// newMaster starts with a truck for every customer; where a customer fits none
// alone, with one that costs more than it can be worth.
func newMaster(columns []column, rows int) *master {
	m := &master{rows: rows, inverse: make([][]float64, rows), value: make([]float64, rows), price: make([]float64, rows)}
	m.basis = make([]column, rows)
	var dear float64
	for i := range columns {
		dear = max(dear, columns[i].cost)
	}
	for i := range rows {
		m.basis[i] = column{of: set{}.with(i), cost: dear * float64(rows)}
		m.price[i] = m.basis[i].cost
		m.inverse[i] = make([]float64, rows)
		m.inverse[i][i] = 1
		m.value[i] = 1 + perturbation*float64(i*i+1)/float64(rows*rows)
	}
	for _, c := range columns {
		for i := range rows {
			if c.of == (set{}).with(i) {
				m.basis[i] = c
				m.price[i] = c.cost
			}
		}
	}
	return m
}

// optimise runs the primal simplex method over the basis and the columns
// given.
func (m *master) optimise(pool []column) {
	direction := make([]float64, m.rows)
	for {
		entering, least := -1, -tiny
		for i := range pool {
			if reduced := pool[i].cost - pool[i].of.sum(m.price); reduced < least {
				entering, least = i, reduced
			}
		}
		if entering < 0 {
			return
		}
		leaving, ratio := -1, math.Inf(1)
		for i := range m.rows {
			direction[i] = pool[entering].of.sum(m.inverse[i])
			if direction[i] > tiny && m.value[i]/direction[i] < ratio {
				leaving, ratio = i, m.value[i]/direction[i]
			}
		}
		if leaving < 0 {
			return
		}
		m.pivot(pool[entering], leaving, direction)
	}
}

func (m *master) pivot(c column, leaving int, direction []float64) {
	m.basis[leaving] = c
	row := m.inverse[leaving]
	scale := 1 / direction[leaving]
	for k := range row {
		row[k] *= scale
	}
	m.value[leaving] *= scale
	for i := range m.rows {
		if by := direction[i]; i != leaving && by != 0 {
			for k := range row {
				m.inverse[i][k] -= by * row[k]
			}
			m.value[i] -= by * m.value[leaving]
		}
	}
	for k := range m.price {
		m.price[k] = 0
		for i := range m.rows {
			m.price[k] += m.basis[i].cost * m.inverse[i][k]
		}
	}
}

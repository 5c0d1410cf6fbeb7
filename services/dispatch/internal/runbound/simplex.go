package runbound

import "math"

// master is the linear program over the runs that are known: fewest runs, each
// counted by a part, that cover every group of pieces within the minutes of the
// trucks. It is solved by the revised simplex method with an explicit inverse
// of the basis. Rows that cover come first, then those of minutes.
type master struct {
	rows, covers int
	inverse      []float64
	value        []float64
	cost         []float64
	dual         []float64
	step         []float64
}

// entry is one coefficient of a column.
type entry struct {
	row int
	by  float64
}

const (
	// uncovered is what a group costs that no run brings: more than it could
	// ever weigh.
	uncovered = 4
	// tiny is what counts as nothing in the master.
	tiny = 1e-9
)

func newMaster(covering, minutes []float64) *master {
	covers := len(covering)
	n := covers + len(minutes)
	m := &master{
		rows: n, covers: covers, inverse: make([]float64, n*n), value: make([]float64, n),
		cost: make([]float64, n), dual: make([]float64, n), step: make([]float64, n),
	}
	for i := range n {
		m.inverse[i*n+i] = 1
		if i < covers {
			m.cost[i] = uncovered
			// Slightly different sides keep the method from turning in circles;
			// the bound is worked out with the true ones.
			m.value[i] = covering[i] + 1e-6*float64((i*7919)%997)/997
		} else {
			m.value[i] = minutes[i-covers]
		}
	}
	return m
}

// price works out the duals, bringing slack columns in until none of them has
// the wrong sign.
func (m *master) price() {
	for {
		clear(m.dual)
		for i, c := range m.cost {
			if c != 0 {
				row := m.inverse[i*m.rows : (i+1)*m.rows]
				for j, v := range row {
					m.dual[j] += c * v
				}
			}
		}
		worst, at := tiny, -1
		for r, v := range m.dual {
			// A cover's surplus has the coefficient -1, a minute's slack 1.
			if r < m.covers {
				v = -v
			}
			if v > worst {
				worst, at = v, r
			}
		}
		if at < 0 {
			return
		}
		by := 1.0
		if at < m.covers {
			by = -1
		}
		if !m.enter([]entry{{at, by}}, 0) {
			return
		}
	}
}

// enter brings a column into the basis.
func (m *master) enter(column []entry, cost float64) bool {
	out, least := -1, math.Inf(1)
	for i := range m.rows {
		row := m.inverse[i*m.rows : (i+1)*m.rows]
		sum := 0.0
		for _, e := range column {
			sum += row[e.row] * e.by
		}
		m.step[i] = sum
		if sum <= tiny {
			continue
		}
		ratio := m.value[i] / sum
		if ratio < least-tiny || ratio < least+tiny && sum > m.step[out] {
			least, out = ratio, i
		}
	}
	if out < 0 {
		return false
	}
	m.pivot(out, cost)
	return true
}

func (m *master) pivot(out int, cost float64) {
	by := m.step[out]
	leaving := m.inverse[out*m.rows : (out+1)*m.rows]
	for j := range leaving {
		leaving[j] /= by
	}
	m.value[out] = max(0, m.value[out]/by)
	m.cost[out] = cost
	for i := range m.rows {
		f := m.step[i]
		if i == out || f == 0 {
			continue
		}
		row := m.inverse[i*m.rows : (i+1)*m.rows]
		for j, v := range leaving {
			row[j] -= f * v
		}
		m.value[i] = max(0, m.value[i]-f*m.value[out])
	}
}

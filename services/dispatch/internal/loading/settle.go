package loading

import "math"

// roundOff is what floating-point sums are off by, in millimetres.
const roundOff = 1e-6

// program is a linear program in slack form: each row says that a variable is
// its value less the sum of coefficients times the variables that are nought.
// The last column is by how much the limits that are not kept fall short; it
// is made as small as can be (the first phase of the simplex method).
type program struct {
	rows  [][]float64
	value []float64
	// basic and free name the variables of rows and columns.
	basic, free []int
}

// shiftsFor looks by how much each pile has to be moved towards the tail for
// every stage to be kept, and by how many millimetres, on average over the
// mass, the best falls short. The shifts are rounded down, which keeps the
// piles apart and moves the mass by less than a millimetre; a millimetre more
// is asked for at the tail to make up for that.
func (x *exact) shiftsFor(piles []pile, room []int, behind []next) ([]int, float64) {
	n := len(piles)
	var p program
	for i := range piles {
		p.atMost(n, map[int]float64{i: 1}, float64(room[i]))
	}
	for _, b := range behind {
		p.atMost(n, map[int]float64{b.front: 1, b.back: -1}, float64(b.room))
	}
	worst := -1
	for s := range x.stages {
		st := &x.stages[s]
		part, less := map[int]float64{}, map[int]float64{n: -1}
		for i := range piles {
			if piles[i].drop > st.after {
				part[i] = float64(piles[i].mass) / float64(st.sum)
				less[i] = -part[i]
			}
		}
		has, twice := x.d.momentOf(st, piles), 2*float64(st.sum)
		p.atMost(n, part, float64(st.most-has)/twice)
		p.atMost(n, less, -float64(st.least-has)/twice-1)
		if last := len(p.value) - 1; p.value[last] < 0 && (worst < 0 || p.value[last] < p.value[worst]) {
			worst = last
		}
	}
	for j := 0; j <= n; j++ {
		p.free = append(p.free, j)
	}
	p.pivot(worst, n)
	short := p.least(n)
	shift := make([]int, n)
	for r, v := range p.basic {
		if v < n {
			shift[v] = int(math.Floor(p.value[r] + roundOff))
		}
	}
	return shift, short
}

// atMost adds the row that a sum is no more than a value; n is the number of
// shifts.
func (p *program) atMost(n int, of map[int]float64, value float64) {
	row := make([]float64, n+1)
	for j, by := range of {
		row[j] = by
	}
	p.rows = append(p.rows, row)
	p.value = append(p.value, value)
	p.basic = append(p.basic, n+len(p.rows))
}

// least makes one variable as small as can be and returns what it comes to.
// Columns and rows are taken by their lowest names, so it comes to an end
// (R. Bland, "New Finite Pivoting Rules for the Simplex Method", 1977).
func (p *program) least(variable int) float64 {
	for {
		row := -1
		for r, v := range p.basic {
			if v == variable {
				row = r
			}
		}
		if row < 0 || p.value[row] <= roundOff {
			return 0
		}
		in := -1
		for j, by := range p.rows[row] {
			if by > roundOff && (in < 0 || p.free[j] < p.free[in]) {
				in = j
			}
		}
		if in < 0 {
			return p.value[row]
		}
		out := -1
		for r := range p.rows {
			by := p.rows[r][in]
			if by <= roundOff {
				continue
			}
			if out < 0 {
				out = r
				continue
			}
			a, b := p.value[r]/by, p.value[out]/p.rows[out][in]
			if a < b-roundOff || a < b+roundOff && p.basic[r] < p.basic[out] {
				out = r
			}
		}
		p.pivot(out, in)
	}
}

// pivot lets the variable of a row and that of a column change places.
func (p *program) pivot(row, column int) {
	pivot := p.rows[row]
	by := pivot[column]
	for j := range pivot {
		pivot[j] /= by
	}
	pivot[column] = 1 / by
	p.value[row] /= by
	for r, other := range p.rows {
		f := other[column]
		if r == row || f == 0 {
			continue
		}
		for j := range other {
			if j == column {
				other[j] = -f * pivot[j]
			} else {
				other[j] -= f * pivot[j]
			}
		}
		p.value[r] -= f * p.value[row]
	}
	p.basic[row], p.free[column] = p.free[column], p.basic[row]
}

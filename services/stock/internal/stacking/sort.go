package stacking

// Sort plans the moves after which no piece lies on one that leaves earlier
// (pre-marshalling), for a yard that is idle: nothing is picked. The rule of
// the problem does not matter.
func Sort(p Problem, b Budget) (Answer, error) {
	p.Rule = AnyTop
	if err := p.check(); err != nil {
		return Answer{}, err
	}
	return solve(p, sortOnly, b)
}

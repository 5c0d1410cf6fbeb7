// Package routing puts loads on trucks and runs.
package routing

import "spanyard.example/services/dispatch/internal/morning"

// Plan returns the best plan it finds before stop says true. It asks stop
// between attempts only, after the first whole plan; the caller owns the
// clock. A nil stop means a fixed number of attempts.
func Plan(p morning.Problem, stop func() bool) morning.Plan {
	return morning.Plan{}
}

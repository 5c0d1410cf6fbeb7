// Package lns is large neighbourhood search: the engine that plans a morning's
// runs (package routing) and tours with time windows (package vrp).
//
// A plan is changed by moves, large ones among them that ruin a part of it and
// make it anew, under simulated annealing (S. Kirkpatrick, C. D. Gelatt, M. P.
// Vecchi, "Optimization by Simulated Annealing", Science 220, 1983). What a plan
// is, which moves there are and what it costs is the model's to say; the engine
// knows how to walk, what to remember, and which stops a ruin takes (Ruin).
//
// It has neither clock nor chance of its own: the same model, seed and progress
// give the same plans.
package lns

import (
	"math"
	"math/rand/v2"
)

// Model is what is planned. A plan that has been handed out stays as it is.
type Model[P any] interface {
	// Change makes another plan out of one.
	Change(plan P, random *rand.Rand) P
	// Energy of a plan is what annealing walks along: the lower, the better; it
	// may be smoother than the cost is.
	Energy(plan P) float64
	// Compare two plans in the order of cost: the lower, the better.
	Compare(a, b P) int
	// Drop says that a plan that Change made will not be looked at any more.
	Drop(plan P)
}

// Search looks for better plans.
type Search[P any] struct {
	model  Model[P]
	random *rand.Rand
	best   P
	// found counts the plans that became the best.
	found int
}

// New begins a search at a plan.
func New[P any](model Model[P], first P, random *rand.Rand) *Search[P] {
	return &Search[P]{model: model, random: random, best: first}
}

// Best plan so far.
func (s *Search[P]) Best() P { return s.best }

// Found counts how often another plan became the best, also one that costs as
// much.
func (s *Search[P]) Found() int { return s.found }

// Offer makes a plan the best one if it costs less, or as much.
func (s *Search[P]) Offer(plan P) {
	if s.model.Compare(plan, s.best) <= 0 {
		s.best = plan
		s.found++
	}
}

// Wave is one annealing: the heat, in units of energy, falls from Hot to Cold.
type Wave struct{ Hot, Cold float64 }

// Anneal walks from the best plan through one wave. It asks progress before
// each attempt how much of the wave is over, from 0; at 1 the wave ends.
func (s *Search[P]) Anneal(w Wave, progress func() float64) {
	now := s.best
	for {
		done := progress()
		if done >= 1 {
			return
		}
		heat := w.Hot * math.Pow(w.Cold/w.Hot, done)
		next := s.model.Change(now, s.random)
		if s.model.Energy(next) >= s.model.Energy(now)-heat*math.Log(1-s.random.Float64()) {
			s.model.Drop(next)
			continue
		}
		now = next
		if s.model.Compare(now, s.best) < 0 {
			s.best = now
			s.found++
		}
	}
}

// Descend goes on from the best plan to whatever costs as much or less, until
// progress is 1.
func (s *Search[P]) Descend(progress func() float64) {
	for progress() < 1 {
		next := s.model.Change(s.best, s.random)
		if s.model.Compare(next, s.best) > 0 {
			s.model.Drop(next)
			continue
		}
		s.best = next
		s.found++
	}
}

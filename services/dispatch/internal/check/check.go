// Package check verifies a morning's plan from the raw input again: slowly,
// plainly, and sharing no code with the packages that made it. A plan in which
// it finds nothing breaks no limit of truck, site, pile, laying order or
// stock.
package check

import (
	"fmt"

	"spanyard.example/services/dispatch/internal/morning"
)

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
	c := &checker{problem: p, plan: plan}
	for i := range plan.Runs {
		c.run(i)
	}
	c.trucksAreFree()
	c.sitesHavePlaces()
	c.baysAreFree()
	c.driversRest()
	c.crewsHaveRoom()
	c.piecesExistOnce()
	c.demandIsMet()
	c.layingOrderHolds()
	c.movedAside()
	c.fixedStand()
	if plan.LowerBound > len(plan.Runs) {
		c.add("lower_bound", "the bound of %d is above the %d runs of the plan", plan.LowerBound, len(plan.Runs))
	}
	return c.found
}

type checker struct {
	problem morning.Problem
	plan    morning.Plan
	found   []Violation
}

func (c *checker) add(rule, format string, args ...any) {
	c.found = append(c.found, Violation{Rule: rule, Sentence: fmt.Sprintf(format, args...)})
}

// trip is a run with its truck, named for sentences.
type trip struct {
	name  string
	run   morning.Run
	truck morning.Truck
	sites []morning.Site
}

func (c *checker) run(i int) {
	t := trip{name: fmt.Sprintf("run %d", i+1), run: c.plan.Runs[i]}
	known := false
	for _, truck := range c.problem.Trucks {
		if truck.ID == t.run.TruckID {
			t.truck, known = truck, true
		}
	}
	if !known {
		c.add("truck", "%s: there is no truck %q", t.name, t.run.TruckID)
		return
	}
	t.name = fmt.Sprintf("run %d (truck %s, trip %d)", i+1, t.truck.ID, t.run.Trip)
	if len(t.run.Drops) == 0 {
		c.add("drops", "%s goes nowhere", t.name)
		return
	}
	for d, drop := range t.run.Drops {
		site, ok := c.site(drop.SiteID)
		if !ok {
			c.add("drops", "%s: there is no site %q", t.name, drop.SiteID)
			return
		}
		if drop.Number != d+1 {
			c.add("drops", "%s: drop %d has the number %d", t.name, d+1, drop.Number)
		}
		for _, earlier := range t.run.Drops[:d] {
			if earlier.SiteID == drop.SiteID {
				c.add("drops", "%s visits %s twice", t.name, drop.SiteID)
			}
		}
		t.sites = append(t.sites, site)
	}
	c.piles(t)
	c.deck(t)
	c.masses(t)
	c.access(t)
	c.times(t)
	c.dropsMatchPiles(t)
	c.picks(t)
}

func (c *checker) site(id string) (morning.Site, bool) {
	for _, s := range c.problem.Sites {
		if s.ID == id {
			return s, true
		}
	}
	return morning.Site{}, false
}

func (c *checker) order(callOffID string) (morning.Order, bool) {
	for _, o := range c.problem.Orders {
		if o.CallOffID == callOffID {
			return o, true
		}
	}
	return morning.Order{}, false
}

// items returns everything on a run.
func items(r morning.Run) []morning.Item {
	var all []morning.Item
	for _, p := range r.Piles {
		for _, t := range p.Tiers {
			all = append(all, t.Items...)
		}
	}
	return all
}

// dropsMatchPiles checks that each drop gets what belongs to its site, and
// names its call-offs.
func (c *checker) dropsMatchPiles(t trip) {
	for d, drop := range t.run.Drops {
		carried := map[string]bool{}
		for _, p := range t.run.Piles {
			if p.DropNumber != d+1 {
				continue
			}
			for _, tier := range p.Tiers {
				for _, item := range tier.Items {
					carried[item.CallOffID] = true
					o, ok := c.order(item.CallOffID)
					for _, barred := range o.NotBy {
						if barred == t.run.TruckID {
							c.add("forbidden_truck", "%s carries %s of call-off %s, for which the truck is forbidden", t.name, item.PieceID, item.CallOffID)
						}
					}
					if !ok || o.SiteID != drop.SiteID {
						c.add("wrong_site", "%s: %s of call-off %s is unloaded at %s", t.name, item.PieceID, item.CallOffID, drop.SiteID)
					}
				}
			}
		}
		named := map[string]bool{}
		for _, id := range drop.CallOffIDs {
			named[id] = true
			if !carried[id] {
				c.add("drop_call_offs", "%s: drop %d names call-off %s and brings nothing of it", t.name, d+1, id)
			}
		}
		for id := range carried {
			if !named[id] {
				c.add("drop_call_offs", "%s: drop %d brings something of call-off %s and does not name it", t.name, d+1, id)
			}
		}
		if len(carried) == 0 {
			c.add("drops", "%s: nothing is unloaded at drop %d", t.name, d+1)
		}
	}
}

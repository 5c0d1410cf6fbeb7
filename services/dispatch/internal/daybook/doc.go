// Package daybook is dispatch's domain: the book in which a yard keeps its
// trucks and sites, what is called off, what is planned for a morning, and
// how far each confirmed run has come.
//
// Everything is a value. A decision is a function of the State that returns
// the events that follow or a *fault.Error; Evolve returns the state after an
// event and leaves the one before as it was. No clock, no I/O, no protobuf.
//
// What must stay true:
//
//   - a beam's place (its mark) and a room's blocks are on at most one live
//     confirmed run; a cancelled run gives them back;
//   - a plan is confirmed once, and of a day's plans one at a time;
//   - runs only move forward: confirmed, departed, delivered; cancelled leads
//     no way back, hit only when the batch in quarantine is released anew;
//   - what was set down at a site by hand keeps its place filled, whatever
//     becomes of its run, until it is back in the yard;
//   - a day whose runs are long over is folded (fold.go): its runs are no longer
//     kept one by one, the places that they filled stay filled;
//   - drops are delivered in order, after the truck has left.
package daybook

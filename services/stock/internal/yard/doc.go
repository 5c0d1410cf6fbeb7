// Package yard is the domain of the stock service: batches that cure, are
// tested and released; pieces in stacks; what is promised, picked, loaded,
// delivered.
//
// Everything here is a value or a pure function. Decide says which events
// follow from a command, Evolve says what the yard looks like after an event,
// and both leave the state they were given as it was: states are persistent
// maps and may be read by many at once.
//
// What must stay true after every event:
//
//   - nothing is reserved, picked or loaded unless its batch is released;
//   - a batch is released only old enough, tested, with every result
//     conforming, by a named person;
//   - a piece has at most one allocation;
//   - for each batch, made equals in yard + reserved + picked + loaded +
//     delivered + scrapped;
//   - a stack holds pieces of one batch only.
package yard

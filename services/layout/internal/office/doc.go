// Package office is the domain of the drawing office: the yard's catalogue,
// and the laying plans of its jobs from draft to approval. It holds values and
// pure functions only; Decide and Evolve are all there is to it.
//
// What always holds:
//
//   - Only the newest revision of a floor is changed, and only while it is a
//     draft; a change of an approved plan makes the next revision. What was
//     approved is what others make and lay.
//   - A change of one room leaves the beams, marks and places of all others as
//     they are.
//   - Revisions of a floor count up from 1 without gaps. Every import of a
//     floor is a revision of its own, also when nothing in it has changed: it
//     records who imported which file. (A request sent twice is one import;
//     the ledger sees to that.)
//   - Of one floor at most one revision is approved. The decision that
//     approves a newer one also supersedes the older.
//   - Only the newest revision is approved, by a named person, and only when
//     every room of it is laid with beams that pass every check, or left out by
//     hand with a reason.
//   - A drawing with bad rooms becomes a draft that names each of them.
//   - All rows of a room schedule are good, or nothing is drafted and every
//     wrong cell is named.
package office

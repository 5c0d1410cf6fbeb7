// Package office is the domain of the drawing office: the yard's catalogue,
// and the laying plans of its jobs from draft to approval. It holds values and
// pure functions only; Decide and Evolve are all there is to it.
//
// What always holds:
//
//   - A plan never changes. What was drafted is what is approved, and an
//     approved plan is what others make and lay.
//   - Revisions of a floor count up from 1 without gaps. Every import of a
//     floor is a revision of its own, also when nothing in it has changed: it
//     records who imported which file. (A request sent twice is one import;
//     the ledger sees to that.)
//   - Of one floor at most one revision is approved. The decision that
//     approves a newer one also supersedes the older.
//   - Only the newest revision can be approved, by a named engineer and with a
//     reason, because nobody has computed the strength of its beams.
//   - All rows of a room schedule are good, or nothing is drafted and every
//     wrong cell is named.
package office

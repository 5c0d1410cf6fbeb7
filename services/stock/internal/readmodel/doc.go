// Package readmodel is the view of the yard in Redis: what reads are answered
// from. It can be lost at any moment and is then built again from the ledger;
// no decision is ever taken from it.
//
// What always holds:
//
//   - One script writes, and it moves a cursor that lies beside the data. A
//     repeated, late or early write changes nothing.
//   - All keys of a yard carry the hash tag {yard}, so a yard lives in one slot
//     of a cluster and every script names keys of one slot only.
//   - Readers follow a pointer to a generation. A generation is shown only when
//     it is complete; building a new one disturbs nobody.
//   - Several replicas may write at once; the cursor keeps them honest.
//
// Keys of a generation, below spanyard:stock:{yard}:g<generation>:
//
//	cursor    position of the stock ledger that the data shows
//	origin    id of the yard's first event: which ledger this is a view of
//	rules     the yard's rules
//	batches   batch id -> stock.v1.Batch
//	contents  batch id -> ids of its pieces
//	pieces    piece id -> stock.v1.Piece, without what follows from its batch and stack
//	stacks    stack id -> batch and pieces, bottom first
//	free      piece id -> stock.v1.Piece of what may leave and is nobody's
//	blocks    batch id -> stock.v1.FreeBlocks of what may leave and is nobody's
//	tally     batch, length -> beams in the yard and reserved
//	marks     job, mark -> ids of the pieces promised or gone for it
//	told      names of the histories that follow
//	h:<id>    what happened to a piece, by position
//	hb:<id>   what happened to a batch, by position
//
// The pointer's key carries the number of this shape. After an upgrade that
// raised it, what the older number names may be deleted as soon as no older
// replica runs; Redis loses nothing that the ledger does not have.
//
// Works on Redis 6.2 or newer, alone or as a cluster.
package readmodel

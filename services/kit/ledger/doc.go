// Package ledger keeps a service's truth: events in a JetStream stream of its
// own, one history per yard, and the state that follows from them.
//
// What always holds:
//
//   - A yard's history is one line. Every append names the yard's last
//     position on which its decision was made, under one guard string made by
//     one function (guardOf); the server refuses it if anything came between.
//   - The events of one command are stored together or not at all, and become
//     visible to State together.
//   - A command whose Do returned without error is on disk (on a majority of
//     the replicas where there is a cluster) and has one effect, however often
//     its request id is sent.
//   - Every event carries the hash of the one before it. A lost, altered or
//     reordered event stops the yard with an Internal fault that names the
//     position; the ledger never goes on over a gap.
//   - State is a value that nobody changes any more. Reading takes no lock.
//
// Not remembered: a command that led to no events. Sent again, it is decided
// again.
//
// Needs nats-server 2.12 or newer (atomic publish). Events travel as
// CloudEvents in the binary mode of the NATS binding.
package ledger

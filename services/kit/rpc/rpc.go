// Package rpc is how Spanyard's services speak to each other and to the desk:
// one way to make a server, one way to dial one.
//
// Handlers return *fault.Error and clients receive *fault.Error; gRPC statuses
// exist only between the interceptors of this package. Every writing request
// (one with a request_id field) carries who asks. Every unary call has a
// deadline. A client retries what is Unavailable and nothing else, which is
// safe because every writing request names its request_id.
//
// Invariants: the cause of an error never leaves the process; a panic or an
// unexpected error reaches the caller as Internal with an id to quote and the
// log under the same id; a handler never sees a request that breaks the rules
// of its proto.
package rpc

import (
	"crypto/rand"
	"encoding/hex"
	"time"
)

// maxMessageBytes of one message, both ways: room for an imported workbook.
const maxMessageBytes = 32 << 20

// Limits on the time of a unary call.
const (
	// defaultCallTime of a call whose caller set no deadline.
	defaultCallTime = 30 * time.Second
	// reportTime is kept back from the handler, so that its answer still
	// reaches the caller before the caller gives up.
	reportTime = 20 * time.Millisecond
	// leastCallTime below which work is not begun: nobody would wait for it.
	leastCallTime = 2 * reportTime
)

// newID returns an id that a caller can quote on the telephone.
func newID() string {
	var b [6]byte
	rand.Read(b[:]) // never fails (crypto/rand since Go 1.24)
	return hex.EncodeToString(b[:])
}

package integration

import (
	"testing"

	"spanyard.example/services/kit/ledger/conformance"
)

// The ledger passes on three nodes in containers what it passes on an embedded
// server, races included.
func TestLedgerConformance(t *testing.T) {
	conformance.Run(t, jetStream, 3)
}

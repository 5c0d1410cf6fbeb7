package conformance

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"sync/atomic"
	"time"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
)

// The domain of the suite: a till that money is put into and taken out of.
// Nothing can be taken that is not there.

// Fact is the one kind of event, with two types.
type Fact struct {
	Amount int64  `json:"amount"`
	Note   string `json:"note"`
}

// Till is the state: what lies in it, how many events there were, and a digest
// that depends on their order.
type Till struct {
	Yard   string `json:"yard"`
	Total  int64  `json:"total"`
	Count  int    `json:"count"`
	Digest uint64 `json:"digest"`
}

func evolve(t Till, f Fact) Till {
	t.Total += f.Amount
	t.Count++
	h := fnv.New64a()
	fmt.Fprintf(h, "%d %s %d", t.Digest, f.Note, f.Amount)
	t.Digest = h.Sum64()
	return t
}

// till returns the domain under a service name of its own. Restored counts how
// often a snapshot was used.
func till(service string, restored *atomic.Int64) ledger.Domain[Till, Fact] {
	return ledger.Domain[Till, Fact]{
		Service: service,
		New:     func(yard string) Till { return Till{Yard: yard} },
		Evolve:  evolve,
		Encode: func(f Fact) (string, []byte, error) {
			kind := "put"
			if f.Amount < 0 {
				kind = "taken"
			}
			data, err := json.Marshal(f)
			return kind, data, err
		},
		Decode: func(kind string, data []byte) (f Fact, err error) {
			if kind != "put" && kind != "taken" {
				return f, fmt.Errorf("unknown type %q", kind)
			}
			return f, json.Unmarshal(data, &f)
		},
		Snapshot: func(t Till) ([]byte, error) { return json.Marshal(t) },
		Restore: func(_ string, data []byte) (t Till, err error) {
			if restored != nil {
				restored.Add(1)
			}
			return t, json.Unmarshal(data, &t)
		},
		SnapshotVersion: 1,
	}
}

type (
	command = ledger.Command[Till, Fact]
	result  = ledger.Result[Fact]
	event   = ledger.Event[Fact]
	log     = ledger.Ledger[Till, Fact]
)

// at is the time of all commands that do not care.
var at = time.Date(2031, 3, 3, 5, 0, 0, 0, time.UTC)

// put adds one event for each amount.
func put(request string, amounts ...int64) command {
	return command{
		RequestID: request, Fingerprint: fmt.Append(nil, "put", amounts), Actor: "mara", Time: at,
		Decide: func(Till) ([]Fact, error) {
			var facts []Fact
			for i, a := range amounts {
				facts = append(facts, Fact{Amount: a, Note: fmt.Sprintf("%s/%d", request, i)})
			}
			return facts, nil
		},
	}
}

// take is refused when there is not enough.
func take(request string, amount int64) command {
	return command{
		RequestID: request, Fingerprint: fmt.Append(nil, "take", amount), Actor: "odo", Time: at,
		Decide: func(t Till) ([]Fact, error) {
			if t.Total < amount {
				return nil, fault.New(fault.Stale, "TOO_LITTLE", "There is %d in the till.", t.Total)
			}
			return []Fact{{Amount: -amount, Note: request}}, nil
		},
	}
}

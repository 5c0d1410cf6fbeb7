package ledger

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// errConflict says that the yard has moved on, or that an earlier attempt of
// ours was stored after all: the stream itself knows which.
var errConflict = errors.New("the yard has moved on")

// The server's ways of saying conflict.
const (
	codeWrongLast         = 10071 // something came after the position
	codeDuplicateInFlight = 10158 // an earlier attempt is being stored
	codeWrongLastInFlight = 10164 // something is being stored after the position
	codeDuplicateInBatch  = 10201 // an earlier attempt was stored
)

// Headers of the server's atomic publish.
const (
	headerNatsBatch       = "Nats-Batch-Id"
	headerNatsBatchIndex  = "Nats-Batch-Sequence"
	headerNatsBatchCommit = "Nats-Batch-Commit"
)

// append stores records after the yard's last position, all or none, and
// returns the position of the last. errConflict means that the server refused
// them because of what it holds; after any other error it is not known whether
// they were stored.
//
// A single record goes as a plain publish, several as one atomic publish; both
// are guarded by the same string.
func (s *stream) append(ctx context.Context, yard string, after uint64, records []*record) (uint64, error) {
	n := len(records)
	for i, r := range records {
		m := r.message(s.service)
		m.Header.Set(jetstream.ExpectedStreamHeader, StreamOf(s.service))
		if i == 0 {
			m.Header.Set(jetstream.ExpectedLastSubjSeqHeader, strconv.FormatUint(after, 10))
			m.Header.Set(jetstream.ExpectedLastSubjSeqSubjHeader, guardOf(s.service, yard))
		}
		if n > 1 {
			m.Header.Set(headerNatsBatch, r.batch.id)
			m.Header.Set(headerNatsBatchIndex, strconv.Itoa(i+1))
		}
		if i < n-1 {
			// The server answers the last message for all of them.
			if err := s.wire.PublishMsg(m); err != nil {
				return 0, fmt.Errorf("publish event %d of %d: %w", i+1, n, err)
			}
			continue
		}
		if n > 1 {
			m.Header.Set(headerNatsBatchCommit, "1")
		}
		reply, err := s.wire.RequestMsgWithContext(ctx, m)
		if err != nil {
			return 0, fmt.Errorf("publish %d events: %w", n, err)
		}
		return s.acknowledged(reply, n)
	}
	return 0, errors.New("nothing to append")
}

// acknowledged reads the server's answer to n records.
func (s *stream) acknowledged(reply *nats.Msg, n int) (uint64, error) {
	var ack struct {
		Error     *jetstream.APIError `json:"error"`
		Stream    string              `json:"stream"`
		Sequence  uint64              `json:"seq"`
		Duplicate bool                `json:"duplicate"`
		Count     int                 `json:"count"`
	}
	if err := json.Unmarshal(reply.Data, &ack); err != nil {
		return 0, fmt.Errorf("read acknowledgement: %w", err)
	}
	switch {
	case ack.Error != nil:
		switch ack.Error.ErrorCode {
		case codeWrongLast, codeWrongLastInFlight, codeDuplicateInFlight, codeDuplicateInBatch:
			return 0, fmt.Errorf("%w: %w", errConflict, ack.Error)
		}
		return 0, ack.Error
	case ack.Duplicate:
		return 0, fmt.Errorf("%w: stored by an earlier attempt", errConflict)
	case ack.Stream != StreamOf(s.service) || ack.Sequence < uint64(n) || (n > 1 && ack.Count != n):
		return 0, fmt.Errorf("acknowledgement does not fit: %s", reply.Data)
	}
	return ack.Sequence, nil
}

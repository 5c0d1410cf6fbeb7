package ledger

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
)

// The headers of a stored event: CloudEvents attributes, and extension
// attributes of our own.
const (
	headerSpecVersion   = "ce-specversion"
	headerID            = "ce-id"
	headerType          = "ce-type"
	headerSource        = "ce-source"
	headerTime          = "ce-time"
	headerContentType   = "content-type"
	headerActor         = "ce-actor"
	headerCause         = "ce-causeid"
	headerRequest       = "ce-requestid"
	headerRequestHash   = "ce-requesthash"
	headerDecision      = "ce-decisionid"
	headerDecisionIndex = "ce-decisionindex"
	headerDecisionCount = "ce-decisioncount"
	headerBatch         = "ce-batchid"
	headerBatchIndex    = "ce-batchindex"
	headerBatchCount    = "ce-batchcount"
	headerPrevHash      = "ce-prevhash"

	specVersion = "1.0"
	contentType = "application/protobuf"
)

// part says which of several events one is.
type part struct {
	id           string
	index, count int
}

func (p part) last() bool { return p.index == p.count-1 }

// record is an event as it is stored: Meta, what ties it to its neighbours,
// and its bytes.
type record struct {
	Meta
	requestHash string
	// decision: the events of one command.
	decision part
	// batch: the events that were appended in one atomic publish.
	batch part
	// prev is the hash of the yard's event before this one; empty for the
	// first.
	prev string
	data []byte
	// sum is the record's own hash once it has been asked for.
	sum string
}

// sourceOf returns the CloudEvents source of a yard's events.
func sourceOf(service, yard string) string { return "/spanyard/" + service + "/" + yard }

// message returns the record ready to publish.
func (r *record) message(service string) *nats.Msg {
	m := nats.NewMsg(subjectOf(service, r.Yard, r.Type))
	m.Data = r.data
	set := func(key, value string) { m.Header[key] = []string{value} }
	set(nats.MsgIdHdr, r.ID)
	set(headerSpecVersion, specVersion)
	set(headerID, r.ID)
	set(headerType, "spanyard."+service+"."+r.Type)
	set(headerSource, sourceOf(service, r.Yard))
	set(headerTime, formatTime(r.Time))
	set(headerContentType, contentType)
	set(headerActor, escape(r.Actor))
	if r.Cause != "" {
		set(headerCause, escape(r.Cause))
	}
	set(headerRequest, escape(r.RequestID))
	set(headerRequestHash, r.requestHash)
	set(headerDecision, r.decision.id)
	set(headerDecisionIndex, strconv.Itoa(r.decision.index))
	set(headerDecisionCount, strconv.Itoa(r.decision.count))
	set(headerBatch, r.batch.id)
	set(headerBatchIndex, strconv.Itoa(r.batch.index))
	set(headerBatchCount, strconv.Itoa(r.batch.count))
	if r.prev != "" {
		set(headerPrevHash, r.prev)
	}
	return m
}

// parseRecord reads what message wrote.
func parseRecord(subject string, position uint64, h nats.Header, data []byte) (*record, error) {
	yard, kind, ok := parseSubject(subject)
	if !ok {
		return nil, fmt.Errorf("subject %q is not one of the ledger", subject)
	}
	p := headerParser{header: h}
	r := &record{
		Meta: Meta{
			ID:        p.need(headerID),
			Position:  position,
			Yard:      yard,
			Type:      kind,
			RequestID: p.text(headerRequest),
			Actor:     p.text(headerActor),
			Cause:     p.text(headerCause),
			Time:      p.time(headerTime),
		},
		requestHash: h.Get(headerRequestHash),
		decision:    part{p.need(headerDecision), p.number(headerDecisionIndex), p.number(headerDecisionCount)},
		batch:       part{p.need(headerBatch), p.number(headerBatchIndex), p.number(headerBatchCount)},
		prev:        h.Get(headerPrevHash),
		data:        data,
	}
	if p.err == nil && (r.decision.index >= r.decision.count || r.batch.index >= r.batch.count) {
		p.err = fmt.Errorf("event %s counts itself beyond the end of its batch", r.ID)
	}
	if v := h.Get(headerSpecVersion); p.err == nil && v != specVersion {
		p.err = fmt.Errorf("%s is %q, not %q", headerSpecVersion, v, specVersion)
	}
	if p.err != nil {
		return nil, p.err
	}
	return r, nil
}

// headerParser remembers the first thing wrong.
type headerParser struct {
	header nats.Header
	err    error
}

func (p *headerParser) fail(key string, err error) {
	if p.err == nil {
		p.err = fmt.Errorf("header %s: %w", key, err)
	}
}

func (p *headerParser) need(key string) string {
	v := p.header.Get(key)
	if v == "" {
		p.fail(key, fmt.Errorf("is missing"))
	}
	return v
}

func (p *headerParser) text(key string) string {
	v, err := url.PathUnescape(p.header.Get(key))
	if err != nil {
		p.fail(key, err)
	}
	return v
}

func (p *headerParser) number(key string) int {
	n, err := strconv.Atoi(p.need(key))
	if err == nil && n < 0 {
		err = fmt.Errorf("is negative")
	}
	if err != nil {
		p.fail(key, err)
	}
	return n
}

func (p *headerParser) time(key string) time.Time {
	t, err := time.Parse(time.RFC3339Nano, p.need(key))
	if err != nil {
		p.fail(key, err)
	}
	return t.UTC()
}

func formatTime(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// hash covers everything that must not change: which yard and which event, who
// and why, the place among its neighbours, the hash before, and the content.
// The position is not part of it, because it is not known when the hash is
// made; the chain of hashes fixes the order.
func (r *record) hash() string {
	if r.sum != "" {
		return r.sum
	}
	h := sha256.New()
	var length [8]byte
	put := func(b []byte) {
		binary.BigEndian.PutUint64(length[:], uint64(len(b)))
		h.Write(length[:])
		h.Write(b)
	}
	for _, s := range []string{
		r.prev, r.ID, r.Yard, r.Type, r.RequestID, r.requestHash, r.Actor, r.Cause, formatTime(r.Time),
		r.decision.id, strconv.Itoa(r.decision.index), strconv.Itoa(r.decision.count),
		r.batch.id, strconv.Itoa(r.batch.index), strconv.Itoa(r.batch.count),
	} {
		put([]byte(s))
	}
	put(r.data)
	r.sum = base64.RawURLEncoding.EncodeToString(h.Sum(nil))
	return r.sum
}

// fingerprintOf shortens a request's fingerprint to a fixed size.
func fingerprintOf(fingerprint []byte) string {
	sum := sha256.Sum256(fingerprint)
	return base64.RawURLEncoding.EncodeToString(sum[:16])
}

// escape writes text as the CloudEvents binding wants header values: printable
// ASCII without space, quote and percent; the rest percent-encoded.
func escape(s string) string {
	plain := true
	for i := 0; i < len(s) && plain; i++ {
		plain = unescaped(s[i])
	}
	if plain {
		return s
	}
	const digits = "0123456789ABCDEF"
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if c := s[i]; unescaped(c) {
			b.WriteByte(c)
		} else {
			b.Write([]byte{'%', digits[c>>4], digits[c&15]})
		}
	}
	return b.String()
}

func unescaped(c byte) bool { return c > ' ' && c < 0x7f && c != '"' && c != '%' }

// ParseMeta reads what is known of a stored event from its subject and
// headers. It is for those who read a service's stream without its ledger.
func ParseMeta(subject string, position uint64, h nats.Header) (Meta, error) {
	r, err := parseRecord(subject, position, h, nil)
	if err != nil {
		return Meta{Position: position}, err
	}
	return r.Meta, nil
}

package ledger

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/fault"
)

// A snapshot is only a shortcut: whatever is wrong with one, the yard is read
// from its events. Each yard has two slots and the older is overwritten, so
// one is whole while the other is being written.

const (
	snapshotFormat = 1
	snapshotSlots  = 2
	// snapshotLife ends what nobody has renewed, and with it what two
	// replicas that wrote one slot at the same time may have left behind.
	snapshotLife = 90 * 24 * time.Hour

	// restoreWithin bounds what a snapshot may take: without it the yard is
	// read from its events, and time must be left for that.
	restoreWithin = 20 * time.Second

	headerPosition = "position"
	headerVersion  = "version"
)

// BucketOf returns the name of a service's snapshot bucket.
func BucketOf(service string) string { return "spanyard-" + service + "-snapshots" }

func openSnapshots(ctx context.Context, js jetstream.JetStream, service string, o Options) (jetstream.ObjectStore, error) {
	var store jetstream.ObjectStore
	err := retry(ctx, func(ctx context.Context) (err error) {
		store, err = js.CreateOrUpdateObjectStore(ctx, jetstream.ObjectStoreConfig{
			Bucket:      BucketOf(service),
			Description: "Snapshots of the " + service + " service's yards. They may be deleted at any time.",
			Storage:     jetstream.FileStorage,
			Replicas:    o.Replicas,
			TTL:         snapshotLife,
		})
		return err
	})
	if err != nil {
		return nil, fault.New(fault.Unavailable, "LEDGER_UNREACHABLE",
			"The snapshots of %s cannot be opened.", service).Because(err)
	}
	return store, nil
}

// snapshot is a yard at one position, as bytes.
type snapshot struct {
	Yard     string    `json:"yard"`
	Version  int       `json:"version"`
	Position uint64    `json:"position"`
	Count    uint64    `json:"count"`
	Hash     string    `json:"hash"`
	Newest   time.Time `json:"newest"`
	Requests []request `json:"requests"`

	state []byte
}

// pack returns a checksum, and after it, compressed, the length of the
// description, the description and the state.
func (s *snapshot) pack() ([]byte, error) {
	description, err := json.Marshal(s)
	if err != nil {
		return nil, err
	}
	var body bytes.Buffer
	z := gzip.NewWriter(&body)
	for _, b := range [][]byte{binary.BigEndian.AppendUint64(nil, uint64(len(description))), description, s.state} {
		if _, err := z.Write(b); err != nil {
			return nil, err
		}
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	sum := sha256.Sum256(body.Bytes())
	return append(sum[:], body.Bytes()...), nil
}

func unpack(packed []byte) (*snapshot, error) {
	if len(packed) < sha256.Size {
		return nil, errors.New("snapshot is too short")
	}
	body := packed[sha256.Size:]
	if sum := sha256.Sum256(body); !bytes.Equal(sum[:], packed[:sha256.Size]) {
		return nil, errors.New("checksum is wrong")
	}
	z, err := gzip.NewReader(bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	plain, err := io.ReadAll(z)
	if err != nil {
		return nil, err
	}
	if len(plain) < 8 {
		return nil, errors.New("snapshot is too short")
	}
	length := binary.BigEndian.Uint64(plain)
	if rest := uint64(len(plain) - 8); length > rest {
		return nil, errors.New("description is longer than the snapshot")
	}
	s := &snapshot{state: plain[8+length:]}
	return s, json.Unmarshal(plain[8:8+length], s)
}

func (l *Ledger[S, E]) snapshotVersion() string {
	return fmt.Sprintf("%d.%d", snapshotFormat, l.domain.SnapshotVersion)
}

// slot is what a yard's slot holds.
type slot struct {
	name     string
	position uint64 // 0 when it holds nothing of use
}

// slots returns a yard's slots, newest first.
func (l *Ledger[S, E]) slots(ctx context.Context, yard string) ([]slot, error) {
	var slots []slot
	for i := range snapshotSlots {
		s := slot{name: fmt.Sprintf("%s.%d", yard, i)}
		info, err := ask(ctx, func(ctx context.Context) (*jetstream.ObjectInfo, error) {
			return l.snapshots.GetInfo(ctx, s.name)
		})
		if err != nil && !errors.Is(err, jetstream.ErrObjectNotFound) {
			return nil, unreachable(l.domain.Service, err)
		}
		if err == nil && info.Headers.Get(headerVersion) == l.snapshotVersion() {
			s.position, _ = strconv.ParseUint(info.Headers.Get(headerPosition), 10, 64)
		}
		slots = append(slots, s)
	}
	if slots[0].position < slots[1].position {
		slots[0], slots[1] = slots[1], slots[0]
	}
	return slots, nil
}

// restore sets a yard that is being loaded to its newest usable snapshot.
func (l *Ledger[S, E]) restore(ctx context.Context, y *yard[S, E]) {
	slots, err := l.slots(ctx, y.name)
	if err != nil {
		l.log.Warn("snapshots cannot be read; the yard is read from its events", "yard", y.name, "error", err)
		return
	}
	for _, s := range slots {
		if s.position == 0 {
			continue
		}
		if err := l.restoreFrom(ctx, y, s.name); err != nil {
			l.log.Warn("a snapshot is of no use", "yard", y.name, "snapshot", s.name, "error", err)
			continue
		}
		return
	}
}

func (l *Ledger[S, E]) restoreFrom(ctx context.Context, y *yard[S, E], name string) error {
	ctx, cancel := context.WithTimeout(ctx, restoreWithin)
	defer cancel()
	packed, err := l.snapshots.GetBytes(ctx, name)
	if err != nil {
		return err
	}
	s, err := unpack(packed)
	if err != nil {
		return err
	}
	if s.Yard != y.name || s.Version != l.domain.SnapshotVersion {
		return fmt.Errorf("it is of yard %q, version %d", s.Yard, s.Version)
	}
	// A snapshot that the ledger itself does not bear out is worth nothing.
	anchor, err := l.stream.at(ctx, s.Position)
	if err != nil {
		return err
	}
	if anchor == nil || anchor.Yard != y.name || anchor.hash() != s.Hash {
		return fmt.Errorf("it does not fit the event at position %d", s.Position)
	}
	state, err := l.domain.Restore(y.name, s.state)
	if err != nil {
		return err
	}
	b := newBook()
	b.newest = s.Newest
	for _, q := range s.Requests {
		b.add(&q)
	}
	y.mu.Lock()
	defer y.mu.Unlock()
	y.book = b
	y.saved.Store(s.Count)
	y.head.Store(&head[S]{state: state, position: s.Position, count: s.Count, hash: s.Hash, next: make(chan struct{})})
	return nil
}

// save keeps a snapshot of a yard, unless another replica has just kept one.
func (l *Ledger[S, E]) save(ctx context.Context, y *yard[S, E]) error {
	y.mu.Lock()
	h, requests, newest := y.head.Load(), y.book.all(), y.book.newest
	y.mu.Unlock()
	if h.broken != nil || h.position == 0 {
		return nil
	}
	slots, err := l.slots(ctx, y.name)
	if err != nil {
		return err
	}
	if slots[0].position >= h.position {
		y.saved.Store(h.count)
		return nil
	}
	state, err := l.domain.Snapshot(h.state)
	if err != nil {
		return err
	}
	s := &snapshot{
		Yard: y.name, Version: l.domain.SnapshotVersion, Position: h.position, Count: h.count, Hash: h.hash,
		Newest: newest, Requests: requests, state: state,
	}
	packed, err := s.pack()
	if err != nil {
		return err
	}
	oldest := slots[len(slots)-1]
	_, err = l.snapshots.Put(ctx, jetstream.ObjectMeta{
		Name: oldest.name,
		Headers: map[string][]string{
			headerPosition: {strconv.FormatUint(h.position, 10)},
			headerVersion:  {l.snapshotVersion()},
		},
	}, bytes.NewReader(packed))
	if err != nil {
		return err
	}
	y.saved.Store(h.count)
	return nil
}

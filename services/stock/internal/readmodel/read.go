package readmodel

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"
	"google.golang.org/protobuf/proto"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
)

const (
	// pollFirst and pollLongest bound how often a read looks whether the view
	// has come to the position it waits for.
	pollFirst   = 2 * time.Millisecond
	pollLongest = 50 * time.Millisecond
	// waitMost is how long a read waits for a view that is being built.
	waitMost = 10 * time.Second
)

// page is what a read took from one generation, all at one position.
type page struct {
	keys     keys
	position uint64
	commands map[string]redis.Cmder
	// batches of the pieces that were asked for, once they are complete.
	batches map[string]*stockv1.Batch
}

// question is what a read asks one generation for, in one transaction.
type question func(tx redis.Pipeliner, k keys, commands map[string]redis.Cmder)

// read asks for several things at once, all at one position not before
// atLeast. It waits for the view until ctx ends, or for a while when there is
// none.
func (v *View) read(ctx context.Context, yardID string, atLeast uint64, ask question) (*page, error) {
	began := time.Now()
	known := false
	for poll := pollFirst; ; poll = min(2*poll, pollLongest) {
		p, err := v.attempt(ctx, yardID, ask)
		if err != nil && ctx.Err() == nil && !errors.Is(err, redis.Nil) {
			return nil, fault.New(fault.Unavailable, "VIEW_UNREACHABLE", "The stock view cannot be reached just now; try again in a moment.").Because(err)
		}
		if p != nil && p.position >= atLeast {
			return p, nil
		}
		if p == nil && !known {
			// No view: is there a yard at all?
			if _, err := v.source.LastPosition(ctx, yardID); err != nil && ctx.Err() == nil {
				return nil, err
			}
			known = true
		}
		if p == nil && time.Since(began) > waitMost {
			return nil, rebuilding()
		}
		timer := time.NewTimer(poll)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			if p == nil {
				return nil, rebuilding()
			}
			return nil, fault.New(fault.Stale, "POSITION_NOT_REACHED",
				"The stock view has not reached position %d yet; it stands at %d.", atLeast, p.position).Because(ctx.Err())
		}
	}
}

func rebuilding() error {
	return fault.New(fault.Unavailable, "VIEW_REBUILDING", "The stock view is being built again; try again in a moment.")
}

// attempt reads once; nil when there is no view, or it was replaced meanwhile.
func (v *View) attempt(ctx context.Context, yardID string, ask question) (*page, error) {
	generation, err := v.redis.Get(ctx, pointerKey(yardID)).Result()
	if err != nil {
		return nil, err
	}
	p := &page{keys: generationKeys(yardID, generation), commands: map[string]redis.Cmder{}}
	tx := v.redis.TxPipeline()
	cursor := tx.Get(ctx, p.keys.cursor())
	ask(tx, p.keys, p.commands)
	if _, err := tx.Exec(ctx); err != nil && !errors.Is(err, redis.Nil) {
		return nil, err
	}
	p.position, err = strconv.ParseUint(cursor.Val(), 10, 64)
	if err != nil {
		return nil, redis.Nil
	}
	return p, nil
}

func (p *page) hash(name string) map[string]string {
	c, _ := p.commands[name].(*redis.MapStringStringCmd)
	return c.Val()
}

func (p *page) text(name string) string {
	c, _ := p.commands[name].(*redis.StringCmd)
	return c.Val()
}

func (p *page) texts(name string) []string {
	c, _ := p.commands[name].(*redis.StringSliceCmd)
	return c.Val()
}

// decode reads a document of the view.
func decode[M any, P interface {
	*M
	proto.Message
}](data string) (P, error) {
	var m M
	if err := proto.Unmarshal([]byte(data), P(&m)); err != nil {
		return nil, fault.New(fault.Unavailable, "VIEW_UNREADABLE", "The stock view cannot be read just now.").Because(err)
	}
	return P(&m), nil
}

// decodeAll reads documents in the order of their ids.
func decodeAll[M any, P interface {
	*M
	proto.Message
}](docs map[string]string) ([]P, error) {
	ids := make([]string, 0, len(docs))
	for id := range docs {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, strings.Compare)
	out := make([]P, 0, len(ids))
	for _, id := range ids {
		m, err := decode[M, P](docs[id])
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

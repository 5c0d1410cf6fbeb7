package readmodel

import (
	"context"
	"crypto/rand"
	"errors"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"

	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/yard"
)

func contentsDoc(ids []string) string { return strings.Join(ids, "\n") }

func parseContents(doc string) []string {
	if doc == "" {
		return nil
	}
	return strings.Split(doc, "\n")
}

// Rebuild builds a yard's view anew beside the one that readers follow, and
// lets them follow it. It is what happens by itself when the view is lost.
func (v *View) Rebuild(ctx context.Context, yardID string) error {
	origin, err := v.originOf(ctx, yardID)
	if err != nil {
		return err
	}
	old, _, err := v.locate(ctx, yardID, origin)
	if err != nil {
		return err
	}
	_, err = v.rebuild(ctx, yardID, origin, old)
	return err
}

// rebuild replays the ledger into a generation of its own and then lets
// readers follow it. old is the generation that readers follow meanwhile.
func (v *View) rebuild(ctx context.Context, yardID, origin, old string) (*projector, error) {
	began := time.Now()
	generation := strings.ToLower(rand.Text()[:12])
	if err := v.announce(ctx, yardID, generation); err != nil {
		return nil, err
	}
	p := &projector{view: v, yard: yardID, generation: generation, keys: generationKeys(yardID, generation), model: newModel(yard.New(yardID))}
	if err := p.build(ctx, origin); err != nil {
		v.discard(ctx, yardID, generation)
		return nil, err
	}
	if old != "" {
		// Should we die behind the flip, a later rebuild deletes it.
		if err := v.redis.HSet(ctx, buildingKey(yardID), old, time.Now().Unix()).Err(); err != nil {
			v.discard(ctx, yardID, generation)
			return nil, err
		}
	}
	won, err := flipScript.Run(ctx, v.redis, []string{pointerKey(yardID)}, old, generation).Int()
	if err != nil || won == 0 {
		v.discard(ctx, yardID, generation)
		if err == nil {
			err = errLost
		}
		return nil, err
	}
	if err := v.redis.HDel(ctx, buildingKey(yardID), generation).Err(); err != nil {
		return nil, err
	}
	v.log.Info("the stock view was built", "yard", yardID, "position", p.position, "took", time.Since(began).Round(time.Millisecond))
	if old != "" {
		v.discard(ctx, yardID, old)
	}
	return p, nil
}

// build replays up to what the ledger holds when it begins. Histories are
// written on the way, while further events are read; documents at the end.
func (p *projector) build(ctx context.Context, origin string) error {
	to, err := p.view.source.LastPosition(ctx, p.yard)
	if err != nil {
		return err
	}
	out := p.sendBehind(ctx)
	err = p.replay(ctx, origin, to, out)
	if sendErr := out.wait(); err == nil {
		err = sendErr
	}
	return err
}

// replay hands everything that belongs in the view to out.
func (p *projector) replay(ctx context.Context, origin string, to uint64, out *sender) error {
	b := newBatch(p.keys, 0)
	b.set(p.keys.origin(), origin)
	flush := func() error {
		filled := *b
		*b = *newBatch(p.keys, b.to)
		return out.send(&filled)
	}
	state := p.model.state
	err := p.read(ctx, to, func(e ledger.Event[yard.Event]) error {
		// What is counted is counted once, at the end.
		state = yard.Evolve(state, e.Fact)
		if err := b.tell(e); err != nil {
			return err
		}
		b.to = e.Position
		if b.ops >= opCount {
			return flush()
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := flush(); err != nil {
		return err
	}
	p.model = newModel(state)
	if err := p.model.write(p.model.all(), b, flush); err != nil {
		return err
	}
	return flush()
}

// read calls fn for the yard's events up to a position, while those behind are
// fetched and decoded.
func (p *projector) read(ctx context.Context, to uint64, fn func(ledger.Event[yard.Event]) error) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	done := errors.New("done")
	events, followed := make(chan ledger.Event[yard.Event], 1024), make(chan error, 1)
	go func() {
		defer close(events)
		followed <- p.view.source.Follow(ctx, p.yard, 0, func(e ledger.Event[yard.Event]) error {
			select {
			case events <- e:
			case <-ctx.Done():
				return ctx.Err()
			}
			if e.Position >= to {
				return done
			}
			return nil
		})
	}()
	for e := range events {
		if err := fn(e); err != nil {
			stop()
			<-followed
			return err
		}
	}
	if err := <-followed; !errors.Is(err, done) {
		return err
	}
	return nil
}

// sender sends batches one after the other behind the back of whoever makes
// them.
type sender struct {
	batches chan *batch
	failed  chan struct{} // closed on the first error
	ended   chan struct{}
	err     error // to be read after failed or ended
}

// sendBehind returns a sender; wait has to be called.
func (p *projector) sendBehind(ctx context.Context) *sender {
	s := &sender{batches: make(chan *batch, 1), failed: make(chan struct{}), ended: make(chan struct{})}
	go func() {
		defer close(s.ended)
		for b := range s.batches {
			if s.err != nil {
				continue
			}
			if s.err = p.send(ctx, b); s.err != nil {
				close(s.failed)
			}
		}
	}()
	return s
}

// send hands over a batch, or returns what went wrong with an earlier one.
func (s *sender) send(b *batch) error {
	select {
	case s.batches <- b:
		return nil
	case <-s.failed:
		return s.err
	}
}

// wait returns when everything has been sent, or something went wrong.
func (s *sender) wait() error {
	close(s.batches)
	<-s.ended
	return s.err
}

// abandonedAfter is when a generation that is still being built is taken to
// have lost its builder.
const abandonedAfter = 15 * time.Minute

// announce notes that a generation is being built, and deletes those whose
// builders died, but never the one that readers follow.
func (v *View) announce(ctx context.Context, yardID, generation string) error {
	key := buildingKey(yardID)
	now := time.Now().Unix()
	if err := v.redis.HSet(ctx, key, generation, now).Err(); err != nil {
		return err
	}
	building, err := v.redis.HGetAll(ctx, key).Result()
	if err != nil {
		return err
	}
	followed, err := v.redis.Get(ctx, pointerKey(yardID)).Result()
	if err != nil && !errors.Is(err, redis.Nil) {
		return err
	}
	delete(building, followed)
	for other, since := range building {
		began, err := strconv.ParseInt(since, 10, 64)
		if err != nil || now-began > int64(abandonedAfter.Seconds()) {
			v.discard(ctx, yardID, other)
		}
	}
	return nil
}

// discard deletes a generation that nobody follows. What is left when it fails
// costs memory until the next rebuild and nothing else.
func (v *View) discard(ctx context.Context, yardID, generation string) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 30*time.Second)
	defer cancel()
	if err := v.delete(ctx, yardID, generationKeys(yardID, generation), generation); err != nil {
		v.log.Warn("an old stock view could not be deleted", "yard", yardID, "generation", generation, "error", err)
	}
}

func (v *View) delete(ctx context.Context, yardID string, k keys, generation string) error {
	for cursor := uint64(0); ; {
		fields, next, err := v.redis.HScan(ctx, k.told(), cursor, "", 1000).Result()
		if err != nil {
			return err
		}
		var doomed []string
		for i := 0; i < len(fields); i += 2 {
			doomed = append(doomed, k.prefix+fields[i])
		}
		if len(doomed) > 0 {
			if err := v.redis.Unlink(ctx, doomed...).Err(); err != nil {
				return err
			}
		}
		if cursor = next; cursor == 0 {
			break
		}
	}
	if err := v.redis.Unlink(ctx, k.tables()...).Err(); err != nil {
		return err
	}
	return v.redis.HDel(ctx, buildingKey(yardID), generation).Err()
}

package readmodel

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"time"

	"github.com/redis/go-redis/v9"

	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/yard"
)

var (
	//go:embed write.lua
	writeSource string
	//go:embed flip.lua
	flipSource string

	writeScript = redis.NewScript(writeSource)
	flipScript  = redis.NewScript(flipSource)
)

// Source is the ledger that the view follows.
type Source interface {
	State(ctx context.Context, yard string, atLeast uint64) (yard.State, uint64, error)
	Follow(ctx context.Context, yard string, after uint64, fn func(ledger.Event[yard.Event]) error) error
	// LastPosition of a yard; a yard without events is NotFound.
	LastPosition(ctx context.Context, yard string) (uint64, error)
}

// View is the yards' view in Redis.
type View struct {
	redis  redis.UniversalClient
	source Source
	log    *slog.Logger
	free   freeLists
}

// New returns a view of a ledger in a Redis or a Redis Cluster.
func New(client redis.UniversalClient, source Source, log *slog.Logger) *View {
	if log == nil {
		log = slog.Default()
	}
	return &View{redis: client, source: source, log: log}
}

const (
	// lookEvery is how often an idle projector looks whether its view is still
	// there.
	lookEvery = 250 * time.Millisecond
	// catchUpMost is how many events a view may lag behind and still be
	// brought on; beyond that it is built anew.
	catchUpMost = 2_000
	firstPause  = 50 * time.Millisecond
	longPause   = 5 * time.Second
)

// errLost says that the view is not what this projector left.
var errLost = errors.New("the view was lost or changed")

// Project keeps a yard's view in step with the ledger until ctx ends. It
// outlives any trouble with Redis: it stops, waits, looks where the view
// stands and goes on from there, or builds it anew.
func (v *View) Project(ctx context.Context, yardID string) error {
	pause := firstPause
	for {
		began := time.Now()
		err := v.follow(ctx, yardID)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if time.Since(began) > longPause {
			pause = firstPause
		}
		v.log.Warn("the stock view is looked after again", "yard", yardID, "reason", err)
		timer := time.NewTimer(pause)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return ctx.Err()
		}
		pause = min(2*pause, longPause)
	}
}

// projector is one life of a yard's projection.
type projector struct {
	view       *View
	yard       string
	generation string
	keys       keys
	model      *model
	position   uint64
}

// follow finds the view or builds it, and then writes what happens.
func (v *View) follow(ctx context.Context, yardID string) error {
	p, err := v.begin(ctx, yardID)
	if err != nil {
		return err
	}
	life, end := context.WithCancel(ctx)
	defer end()
	events := make(chan ledger.Event[yard.Event], 1024)
	followed := make(chan error, 1)
	go func() {
		followed <- v.source.Follow(life, yardID, p.position, func(e ledger.Event[yard.Event]) error {
			select {
			case events <- e:
				return nil
			case <-life.Done():
				return life.Err()
			}
		})
	}()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for err == nil {
		select {
		case e := <-events:
			err = p.take(life, e, events)
		case <-look.C:
			err = p.look(life)
		case err = <-followed:
			return err
		}
	}
	end()
	<-followed
	return err
}

// begin returns a projector that stands where the view stands.
func (v *View) begin(ctx context.Context, yardID string) (*projector, error) {
	origin, err := v.originOf(ctx, yardID)
	if err != nil {
		return nil, err
	}
	generation, cursor, err := v.locate(ctx, yardID, origin)
	if err != nil {
		return nil, err
	}
	last, err := v.source.LastPosition(ctx, yardID)
	if err != nil {
		return nil, err
	}
	if generation == "" || cursor > last || last-cursor > catchUpMost {
		return v.rebuild(ctx, yardID, origin, generation)
	}
	// This replica may not have heard yet of events that the view shows.
	state, position, err := v.source.State(ctx, yardID, last)
	if err != nil {
		return nil, err
	}
	p := &projector{view: v, yard: yardID, generation: generation, keys: generationKeys(yardID, generation), model: newModel(state), position: cursor}
	return p, p.catchUp(ctx, position)
}

// originOf returns the id of the yard's first event.
func (v *View) originOf(ctx context.Context, yardID string) (string, error) {
	var origin string
	found := errors.New("found")
	err := v.source.Follow(ctx, yardID, 0, func(e ledger.Event[yard.Event]) error {
		origin = e.ID
		return found
	})
	if !errors.Is(err, found) {
		return "", err
	}
	return origin, nil
}

// locate returns the generation that readers follow and where it stands; an
// empty generation when there is none, or none of this ledger.
func (v *View) locate(ctx context.Context, yardID, origin string) (generation string, cursor uint64, err error) {
	generation, err = v.redis.Get(ctx, pointerKey(yardID)).Result()
	if errors.Is(err, redis.Nil) {
		return "", 0, nil
	}
	if err != nil {
		return "", 0, err
	}
	k := generationKeys(yardID, generation)
	values, err := v.redis.MGet(ctx, k.cursor(), k.origin()).Result()
	if err != nil {
		return "", 0, err
	}
	text, _ := values[0].(string)
	cursor, parseErr := strconv.ParseUint(text, 10, 64)
	if parseErr != nil || values[1] != origin {
		// What the pointer names is gone or foreign; a rebuild takes its place.
		return generation, ^uint64(0), nil
	}
	return generation, cursor, nil
}

// catchUp brings the view from its cursor to the position of the model's
// state, in one step.
func (p *projector) catchUp(ctx context.Context, to uint64) error {
	if p.position >= to {
		return nil
	}
	b := newBatch(p.keys, p.position)
	// Documents come from the model, which is at the end already. Which stacks
	// and marks were left on the way only the view knows, so all are written.
	t := newTouched()
	stacks, err := p.view.redis.HKeys(ctx, p.keys.stacks()).Result()
	if err != nil {
		return err
	}
	for _, id := range stacks {
		t.stacks[id] = true
	}
	p.model.state.Stacks(func(s yard.Stack) { t.stacks[s.ID] = true })
	for k := range p.model.tallies {
		t.tallies[k] = true
	}
	marks, err := p.view.redis.HKeys(ctx, p.keys.marks()).Result()
	if err != nil {
		return err
	}
	for _, field := range marks {
		t.marks[field] = true
	}
	for field := range p.model.marks {
		t.marks[field] = true
	}
	done := errors.New("done")
	err = p.view.source.Follow(ctx, p.yard, p.position, func(e ledger.Event[yard.Event]) error {
		p.model.names(e.Fact, t)
		b.to = e.Position
		if err := b.tell(e); err != nil {
			return err
		}
		if e.Position >= to {
			return done
		}
		return nil
	})
	if !errors.Is(err, done) {
		return err
	}
	if err := p.model.write(t, b, nil); err != nil {
		return err
	}
	return p.send(ctx, b)
}

// take writes an event and those that wait behind it.
func (p *projector) take(ctx context.Context, e ledger.Event[yard.Event], waiting <-chan ledger.Event[yard.Event]) error {
	b := newBatch(p.keys, p.position)
	t := newTouched()
	for {
		p.model.apply(e.Fact, t)
		if err := b.tell(e); err != nil {
			return err
		}
		b.to = e.Position
		if b.ops+4*len(t.pieces) >= opCount {
			break
		}
		select {
		case e = <-waiting:
			continue
		default:
		}
		break
	}
	if err := p.model.write(t, b, nil); err != nil {
		return err
	}
	return p.send(ctx, b)
}

// send applies a batch. A view that another replica has brought as far is as
// good as ours; one that stands before is not what we left.
func (p *projector) send(ctx context.Context, b *batch) error {
	names, args := b.script()
	answer, err := writeScript.Run(ctx, p.view.redis, names, args...).Int()
	if err != nil {
		return fmt.Errorf("write the view: %w", err)
	}
	if answer < 0 {
		return errLost
	}
	p.position = b.to
	return nil
}

// look makes sure that readers still follow the generation we write.
func (p *projector) look(ctx context.Context) error {
	generation, err := p.view.redis.Get(ctx, pointerKey(p.yard)).Result()
	if err != nil && !errors.Is(err, redis.Nil) {
		return err
	}
	if generation != p.generation {
		return errLost
	}
	text, err := p.view.redis.Get(ctx, p.keys.cursor()).Result()
	if err != nil && !errors.Is(err, redis.Nil) {
		return err
	}
	if cursor, err := strconv.ParseUint(text, 10, 64); err != nil || cursor < p.position {
		return errLost
	}
	return nil
}

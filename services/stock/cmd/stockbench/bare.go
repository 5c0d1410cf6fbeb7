package main

import (
	"context"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"github.com/redis/go-redis/v9"
)

// bare is the least that could be done: messages published into a stream
// without any meaning, and one call of a script.
type bare struct {
	js     jetstream.JetStream
	stream jetstream.Stream
	redis  *redis.Client
	data   []byte
	n      int
}

const bareSubject = "bare.north.noted"

// bareScript sets a field and a cursor, as the least that a view could be.
var bareScript = redis.NewScript(`redis.call('HSET', KEYS[1], ARGV[1], ARGV[2]) redis.call('SET', KEYS[2], ARGV[3]) return 1`)

func (p *place) bare(ctx context.Context) (*bare, error) {
	js, err := p.jetStream()
	if err != nil {
		return nil, err
	}
	s, err := js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
		Name: "bare", Subjects: []string{"bare.>"}, Storage: jetstream.FileStorage, MaxBytes: 4 << 30, Replicas: p.copies, DenyDelete: true,
	})
	if err != nil {
		return nil, fmt.Errorf("make the bare stream: %w", err)
	}
	return &bare{js: js, stream: s, redis: p.redis, data: make([]byte, reserveBytes)}, nil
}

// publish stores a message on disk.
func (b *bare) publish(ctx context.Context) error {
	_, err := b.js.Publish(ctx, bareSubject, b.data)
	return err
}

// write calls the script once.
func (b *bare) write(ctx context.Context) error {
	b.n++
	return bareScript.Run(ctx, b.redis, []string{"{bare}:pieces", "{bare}:cursor"}, fmt.Sprint(b.n%1000), b.data, b.n).Err()
}

// timed returns how long f took.
func timed(f func() error) (time.Duration, error) {
	began := time.Now()
	err := f()
	return time.Since(began), err
}

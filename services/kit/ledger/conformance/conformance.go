// Package conformance holds the tests that every JetStream under a ledger has
// to pass: the embedded server, a cluster in one process, a cluster in
// containers. It assumes nothing about where the server runs.
package conformance

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
)

// patience is how long anything may take before it counts as stuck.
const patience = 60 * time.Second

// Connect returns a JetStream on a connection of its own; all connections lead
// to the same server or cluster.
type Connect func(t testing.TB) jetstream.JetStream

// Run runs the whole suite. Every test uses a stream of its own, which stays
// behind.
func Run(t *testing.T, connect func(t testing.TB) jetstream.JetStream, replicas int) {
	s := suite{connect: connect, replicas: replicas}
	for _, test := range []struct {
		name string
		run  func(*testing.T, suite)
	}{
		{"AppendsAndReadsInOrder", appendsAndReadsInOrder},
		{"KeepsWhoWhenAndWhy", keepsWhoWhenAndWhy},
		{"RefusalsChangeNothing", refusalsChangeNothing},
		{"RefusesWrongCommands", refusesWrongCommands},
		{"LeavesNothingOfUnknownYards", leavesNothingOfUnknownYards},
		{"KeepsYardsApart", keepsYardsApart},
		{"StateWaitsForAPosition", stateWaitsForAPosition},
		{"BatchesAreSeenWhole", batchesAreSeenWhole},
		{"SplitsLargeGroups", splitsLargeGroups},
		{"SurvivesPanickingDecisions", survivesPanickingDecisions},
		{"DecidesTogether", decidesTogether},
		{"RepeatsAnswers", repeatsAnswers},
		{"RepeatsRaceWithTheirFirst", repeatsRaceWithTheirFirst},
		{"RepeatsAfterRestart", repeatsAfterRestart},
		{"ForgetsOldRequestsTheSameEverywhere", forgetsOldRequests},
		{"ManyWritersOneHistory", manyWritersOneHistory},
		{"LastOneIsSoldOnce", lastOneIsSoldOnce},
		{"RefusalsAreDecidedOnTheNewest", refusalsAreDecidedOnTheNewest},
		{"FollowResumesAnywhere", followResumesAnywhere},
		{"WatchesYards", watchesYards},
		{"RestartsFromSnapshots", restartsFromSnapshots},
		{"IgnoresUselessSnapshots", ignoresUselessSnapshots},
		{"ReplicasShareSnapshots", replicasShareSnapshots},
		{"NoticesAForgedEvent", noticesAForgedEvent},
		{"NoticesAnUnreadableEvent", noticesAnUnreadableEvent},
		{"NoticesAPartialBatch", noticesAPartialBatch},
		{"OpensTogether", opensTogether},
	} {
		t.Run(test.name, func(t *testing.T) { test.run(t, s) })
	}
}

// Races runs only the tests in which several writers meet.
func Races(t *testing.T, connect func(t testing.TB) jetstream.JetStream, replicas int) {
	s := suite{connect: connect, replicas: replicas}
	t.Run("ManyWritersOneHistory", func(t *testing.T) { manyWritersOneHistory(t, s) })
	t.Run("LastOneIsSoldOnce", func(t *testing.T) { lastOneIsSoldOnce(t, s) })
	t.Run("RefusalsAreDecidedOnTheNewest", func(t *testing.T) { refusalsAreDecidedOnTheNewest(t, s) })
	t.Run("RepeatsRaceWithTheirFirst", func(t *testing.T) { repeatsRaceWithTheirFirst(t, s) })
	t.Run("OpensTogether", func(t *testing.T) { opensTogether(t, s) })
}

type suite struct {
	connect  Connect
	replicas int
}

// place is one service's ledger on the server, opened as often as needed.
type place struct {
	suite
	service  string
	restored atomic.Int64
	options  ledger.Options
}

func (s suite) place() *place {
	return &place{suite: s, service: "t" + strings.ToLower(nuid.Next()), options: ledger.Options{
		Replicas: s.replicas, MaxBytes: 64 << 20, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
	}}
}

// open opens the ledger as another replica of the service would.
func (p *place) open(t testing.TB) *log {
	t.Helper()
	return p.openOn(t, p.connect(t))
}

func (p *place) openOn(t testing.TB, js jetstream.JetStream) *log {
	t.Helper()
	l, err := ledger.Open(within(t), js, till(p.service, &p.restored), p.options)
	if err != nil {
		t.Fatalf("open: %v", err)
	}
	t.Cleanup(l.Close)
	return l
}

// within returns a context for what must not take long.
func within(t testing.TB) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	t.Cleanup(cancel)
	return ctx
}

func do(t testing.TB, l *log, yard string, c command) result {
	t.Helper()
	r, err := l.Do(within(t), yard, c)
	if err != nil {
		t.Fatalf("%s on %s: %v", c.RequestID, yard, err)
	}
	return r
}

// refused carries out what must fail.
func refused(t testing.TB, l *log, yard string, c command, kind fault.Kind, reason string) {
	t.Helper()
	_, err := l.Do(within(t), yard, c)
	wantFault(t, err, kind, reason)
}

func wantFault(t testing.TB, err error, kind fault.Kind, reason string) {
	t.Helper()
	if err == nil || fault.KindOf(err) != kind || fault.ReasonOf(err) != reason {
		t.Fatalf("got error %v (%v %s), want %v %s", err, fault.KindOf(err), fault.ReasonOf(err), kind, reason)
	}
}

func state(t testing.TB, l *log, yard string, atLeast uint64) Till {
	t.Helper()
	s, position, err := l.State(within(t), yard, atLeast)
	if err != nil {
		t.Fatalf("state of %s at %d: %v", yard, atLeast, err)
	}
	if position == 0 {
		t.Fatalf("state of %s has no position", yard)
	}
	return s
}

// history reads a yard's events up to its last.
func history(t testing.TB, l *log, yard string, after uint64) []event {
	t.Helper()
	ctx := within(t)
	last, err := l.LastPosition(ctx, yard)
	if err != nil {
		t.Fatalf("last position of %s: %v", yard, err)
	}
	if last <= after {
		return nil
	}
	var events []event
	done := fmt.Errorf("read to the end")
	err = l.Follow(ctx, yard, after, func(e event) error {
		events = append(events, e)
		if e.Position >= last {
			return done
		}
		return nil
	})
	if err != done {
		t.Fatalf("follow %s: %v", yard, err)
	}
	return events
}

// replayed returns the state that the events lead to.
func replayed(yard string, events []event) Till {
	s := Till{Yard: yard}
	for _, e := range events {
		s = evolve(s, e.Fact)
	}
	return s
}

// run runs a ledger's upkeep until the returned function is called.
func run(t testing.TB, l *log) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.WithoutCancel(t.Context()))
	finished := make(chan error, 1)
	go func() { finished <- l.Run(ctx) }()
	return func() {
		t.Helper()
		cancel()
		select {
		case err := <-finished:
			if err != nil {
				t.Fatalf("run: %v", err)
			}
		case <-time.After(patience):
			t.Fatal("run does not stop")
		}
	}
}

// Package await waits for what another process will do: it asks again and
// again until the answer is right or the deadline has passed, and then says
// what it was waiting for and what was wrong last.
package await

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"
)

// pause between two questions.
const pause = 50 * time.Millisecond

// ErrHopeless in an answer's chain says that asking again is of no use.
var ErrHopeless = errors.New("hopeless")

// Until asks until ok returns nil or something hopeless, or ctx ends.
func Until(ctx context.Context, what string, ok func(context.Context) error) error {
	ticker := time.NewTicker(pause)
	defer ticker.Stop()
	for {
		err := ok(ctx)
		if err == nil {
			return nil
		}
		if errors.Is(err, ErrHopeless) {
			return fmt.Errorf("%s: %w", what, err)
		}
		select {
		case <-ticker.C:
		case <-ctx.Done():
			return fmt.Errorf("waited in vain for %s: %w", what, err)
		}
	}
}

// For fails the test when ok has not returned nil within the time given.
func For(t testing.TB, within time.Duration, what string, ok func(context.Context) error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), within)
	defer cancel()
	if err := Until(ctx, what, ok); err != nil {
		t.Fatal(err)
	}
}

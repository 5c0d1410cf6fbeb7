package clock_test

import (
	"testing"
	"testing/synctest"
	"time"

	"spanyard.example/services/kit/clock"
)

func TestStartingAtRunsOnFromItsStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Date(2031, 3, 3, 5, 30, 0, 0, time.UTC)
		c := clock.StartingAt(start)
		if got := c.Now(); !got.Equal(start) {
			t.Fatalf("at once: %v, want %v", got, start)
		}
		time.Sleep(90 * time.Minute)
		if got, want := c.Now(), start.Add(90*time.Minute); !got.Equal(want) {
			t.Fatalf("after 90 minutes: %v, want %v", got, want)
		}
	})
}

func TestSystemShowsTheMachinesTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		if got, want := clock.System().Now(), time.Now(); !got.Equal(want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

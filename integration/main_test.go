// Package integration tests the services as they are deployed: their images,
// three NATS nodes and Redis in containers, everything put together as
// deploy/compose.yaml says.
package integration

import (
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"spanyard.example/integration/internal/house"
	"spanyard.example/integration/internal/scene"
)

// theHouse that all tests of the package share. They keep apart by yard, and
// none runs beside another: a test may kill what it likes, as long as it
// leaves everything running.
var theHouse *house.House

func TestMain(m *testing.M) {
	os.Exit(run(m))
}

func run(m *testing.M) int {
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute)
	defer cancel()
	var err error
	theHouse, err = house.Open(ctx, map[string]string{"clock_starts_at": scene.ClockStartsAt})
	defer func() {
		if err := theHouse.Close(context.Background()); err != nil {
			fmt.Fprintln(os.Stderr, "integration tests: clean up:", err)
		}
	}()
	if err != nil {
		fmt.Fprintln(os.Stderr, "integration tests:", err)
		return 1
	}
	return m.Run()
}

// Command spanyard runs a precast yard's services in one process and is their
// command line.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // yards name their time zones also where none are installed

	"spanyard.example/services/spanyard/internal/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// The first signal stops cleanly, a second one at once.
	context.AfterFunc(ctx, stop)
	status := cli.Main(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(status)
}

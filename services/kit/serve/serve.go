// Package serve is the life of a separately started service: settings, NATS,
// the gRPC server, and a clean end. The same services run inside the
// all-in-one program without it.
//
// Invariants: nothing but Main handles signals; a service is in its clients'
// rotation only while its own health check succeeds; whatever ends a service
// early ends the process with a status that is not zero, so that whoever
// started it notices; at the end the server stops first, then the service,
// then the connection to NATS, so that nothing loses what it stands on.
package serve

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"reflect"
	"runtime/debug"
	"strings"
	"syscall"
	_ "time/tzdata" // images are FROM scratch and know no zones

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/config"
	"spanyard.example/services/kit/rpc"
)

// Service is one department's program.
type Service interface {
	// Register adds its gRPC services.
	Register(grpc.ServiceRegistrar)
	// Run works until ctx ends; an earlier return is a failure.
	Run(ctx context.Context) error
	// Healthy says whether the service can answer.
	Healthy(ctx context.Context) error
}

// Base is what a service is built on.
type Base struct {
	JetStream jetstream.JetStream
	Conn      *nats.Conn
	Clock     clock.Clock
	Log       *slog.Logger
	Replicas  int

	tls    rpc.TLSFiles
	signer *auth.Signer
}

// Dial returns a connection to another service, with this service's own
// certificate where TLS is set, and its own token where it has a key.
func (b *Base) Dial(target string) (*grpc.ClientConn, error) {
	var options []grpc.DialOption
	if b.signer != nil {
		options = append(options, rpc.SignedBy(b.signer, auth.Person{Roles: []auth.Role{auth.Service}}, b.Clock.Now)...)
	}
	if b.tls.Set() {
		credentials, err := b.tls.Credentials("")
		if err != nil {
			return nil, err
		}
		options = append(options, grpc.WithTransportCredentials(credentials))
	}
	return rpc.Dial(target, options...)
}

// Build makes the service. ctx ends when the process is told to stop.
type Build func(ctx context.Context, base *Base) (Service, error)

// Main runs a service and exits. cfg is a pointer to the service's settings,
// filled with their defaults, with a Config embedded; the environment
// overrides it with SPANYARD_<NAME>_<SETTING>.
//
// Flags: -config FILE; -check reads the settings, says which differ from the
// defaults, and ends; -health asks the running service on its own address and
// ends with status 0 or 1, for container health checks; -version.
func Main(name string, cfg any, build Build) {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	// A second signal ends the process at once.
	context.AfterFunc(ctx, stop)
	status := run(ctx, invocation{name: name, args: os.Args[1:], out: os.Stdout, err: os.Stderr}, cfg, build)
	stop()
	os.Exit(status)
}

// invocation is how the process was started.
type invocation struct {
	name     string
	args     []string
	out, err io.Writer
	// listening is told the address, for tests; may be nil.
	listening func(net.Addr)
}

// Exit statuses.
const (
	statusOK     = 0
	statusFailed = 1
	statusUsage  = 2
)

func run(ctx context.Context, in invocation, cfg any, build Build) int {
	flags := flag.NewFlagSet(in.name, flag.ContinueOnError)
	flags.SetOutput(in.err)
	file := flags.String("config", "", "file with the settings (YAML)")
	check := flags.Bool("check", false, "read the settings, print those that differ from the defaults, and end")
	health := flags.Bool("health", false, "ask the running service whether it is well, and end with status 0 or 1")
	version := flags.Bool("version", false, "print the version and end")
	switch err := flags.Parse(in.args); {
	case errors.Is(err, flag.ErrHelp):
		return statusOK
	case err != nil:
		return statusUsage
	case flags.NArg() > 0:
		fmt.Fprintf(in.err, "%s: %q is not expected here; see -help\n", in.name, flags.Arg(0))
		return statusUsage
	case *version:
		fmt.Fprintf(in.out, "%s %s\n", in.name, buildVersion())
		return statusOK
	}
	base, changed, err := readSettings(*file, in.name, cfg)
	if err != nil {
		fmt.Fprintf(in.err, "%s: %v\n", in.name, err)
		return statusUsage
	}
	switch {
	case *check:
		fmt.Fprintf(in.out, "The settings are good. Those that differ from the defaults:\n%s", changed)
		return statusOK
	case *health:
		if err := askHealth(ctx, base); err != nil {
			fmt.Fprintf(in.err, "%s: %v\n", in.name, err)
			return statusFailed
		}
		return statusOK
	}
	log := newLog(in, base)
	log.Info("starting", slog.String("version", buildVersion()), slog.String("settings", strings.ReplaceAll(strings.TrimSpace(changed), "\n", "; ")))
	if err := live(ctx, in, base, log, build); err != nil {
		log.Error("ended with an error", slog.String("error", err.Error()))
		return statusFailed
	}
	log.Info("ended")
	return statusOK
}

// readSettings returns the common settings and a description of what differs
// from the defaults.
func readSettings(file, name string, cfg any) (*Config, string, error) {
	s, ok := cfg.(settings)
	if !ok {
		return nil, "", fmt.Errorf("settings of type %T do not embed serve.Config", cfg)
	}
	defaults := reflect.New(reflect.TypeOf(cfg).Elem())
	defaults.Elem().Set(reflect.ValueOf(cfg).Elem())
	prefix := "SPANYARD_" + strings.ToUpper(strings.ReplaceAll(name, "-", "_"))
	if err := config.Load(file, prefix, cfg); err != nil {
		return nil, "", err
	}
	return s.serveConfig(), config.Describe(defaults.Interface(), cfg), nil
}

func newLog(in invocation, c *Config) *slog.Logger {
	level, err := c.logLevel()
	if err != nil { // Validate refused it before
		level = slog.LevelInfo
	}
	return slog.New(slog.NewJSONHandler(in.err, &slog.HandlerOptions{Level: level})).With(slog.String("service", in.name))
}

// buildVersion is what the build recorded of itself.
func buildVersion() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	version := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			version += " " + s.Value
		}
	}
	return version
}

// errEarly is a Run that returned without being told to.
var errEarly = errors.New("the service ended by itself")

package desk

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"time"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/config"
)

// Exit statuses.
const (
	statusOK     = 0
	statusFailed = 1
	statusUsage  = 2
)

// defaultListen is where a desk of its own listens.
const defaultListen = ":7404"

// Main runs the desk as a service of its own until ctx ends, and returns the
// exit status. Flags: -config FILE; -check reads the settings and ends; -health
// asks the running desk and ends. The environment overrides settings with
// SPANYARD_DESK_<SETTING>.
func Main(ctx context.Context, args []string, out, errw io.Writer) int {
	flags := flag.NewFlagSet("desk", flag.ContinueOnError)
	flags.SetOutput(errw)
	file := flags.String("config", "", "file with the settings (YAML)")
	check := flags.Bool("check", false, "read the settings, say which differ from the defaults, and end")
	health := flags.Bool("health", false, "ask the running desk whether it is well, and end with status 0 or 1")
	if err := flags.Parse(args); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			return statusOK
		}
		return statusUsage
	}
	s := &Settings{Listen: defaultListen}
	if err := config.Load(*file, "SPANYARD_DESK", s); err != nil {
		fmt.Fprintf(errw, "desk: %v\n", err)
		return statusUsage
	}
	var err error
	switch {
	case *check:
		fmt.Fprintf(out, "The settings are good. Those that differ from the defaults:\n%s", config.Describe(&Settings{Listen: defaultListen}, s))
	case *health:
		err = askHealth(ctx, s.Listen)
	default:
		err = s.run(ctx, errw)
	}
	if err != nil {
		fmt.Fprintf(errw, "desk: %v\n", err)
		return statusFailed
	}
	return statusOK
}

// run serves until ctx ends.
func (s *Settings) run(ctx context.Context, errw io.Writer) error {
	var level slog.Level
	if s.Log != "" {
		if err := level.UnmarshalText([]byte(s.Log)); err != nil {
			return config.Problem("log", s.Log, "is not a level", "debug, info, warn, error")
		}
	}
	d := Deps{
		Yard: s.Yard, Accounts: s.Accounts, Secure: s.secure(),
		Log: slog.New(slog.NewJSONHandler(errw, &slog.HandlerOptions{Level: level})).With(slog.String("service", "desk")),
	}
	var err error
	if d.Signer, err = auth.ReadSigner(s.AccessKey); err != nil {
		return err
	}
	if d.Company, err = s.company(); err != nil {
		return err
	}
	layout, err := s.dial(s.Layout)
	if err != nil {
		return err
	}
	defer layout.Close()
	stock, err := s.dial(s.Stock)
	if err != nil {
		return err
	}
	defer stock.Close()
	dispatch, err := s.dial(s.Dispatch)
	if err != nil {
		return err
	}
	defer dispatch.Close()
	d.Layout, d.Stock, d.Dispatch = layout, stock, dispatch
	desk, err := New(d)
	if err != nil {
		return err
	}
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", s.Listen)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	d.Log.Info("listening", slog.String("address", listener.Addr().String()))
	return desk.Serve(ctx, listener)
}

// healthTime that a desk gets to say that it is well.
const healthTime = 3 * time.Second

// askHealth asks the desk on its own address for its sign-in page, which
// needs no service.
func askHealth(ctx context.Context, listen string) error {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return err
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	ctx, cancel := context.WithTimeout(ctx, healthTime)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+net.JoinHostPort(host, port)+"/sign-in", nil)
	if err != nil {
		return err
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return fmt.Errorf("the desk answers %s", resp.Status)
	}
	return nil
}

package serve

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// A connection that has not answered for pingsMissed+1 times pingEvery is
// given up, and another node is taken.
const (
	pingEvery   = 3 * time.Second
	pingsMissed = 2
)

// connect returns a connection that keeps trying for ever, in the background.
func connect(c *Config, name string, log *slog.Logger) (*nats.Conn, error) {
	options := []nats.Option{
		nats.Name("spanyard " + name),
		nats.RetryOnFailedConnect(true),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(500 * time.Millisecond),
		nats.ReconnectJitter(200*time.Millisecond, 200*time.Millisecond),
		// A node that is cut off closes no connection: only missing answers
		// tell. The client's own two minutes would be two minutes of standstill.
		nats.PingInterval(pingEvery),
		nats.MaxPingsOutstanding(pingsMissed),
		nats.DrainTimeout(c.stopTime()),
		nats.ConnectHandler(func(nc *nats.Conn) {
			log.Info("connected to NATS", slog.String("server", nc.ConnectedServerName()))
		}),
		nats.ReconnectHandler(func(nc *nats.Conn) {
			log.Info("connected to NATS again", slog.String("server", nc.ConnectedServerName()))
		}),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil {
				log.Warn("lost NATS", slog.String("error", err.Error()))
			}
		}),
		nats.ErrorHandler(func(_ *nats.Conn, sub *nats.Subscription, err error) {
			subject := ""
			if sub != nil {
				subject = sub.Subject
			}
			log.Warn("NATS", slog.String("subject", subject), slog.String("error", err.Error()))
		}),
	}
	if c.NATSCredentials != "" {
		options = append(options, nats.UserCredentials(c.NATSCredentials))
	}
	if c.NATSUser != "" {
		options = append(options, nats.UserInfo(c.NATSUser, c.NATSPassword))
	}
	if c.NATSCA != "" {
		options = append(options, nats.RootCAs(c.NATSCA))
		if c.TLSCert != "" {
			options = append(options, nats.ClientCert(c.TLSCert, c.TLSKey))
		}
	}
	opts := nats.GetDefaultOptions()
	for _, o := range options {
		if err := o(&opts); err != nil {
			return nil, fmt.Errorf("settings for NATS: %w", err)
		}
	}
	opts.Servers = c.nats()
	conn, err := opts.Connect()
	if err != nil {
		return nil, fmt.Errorf("connect to NATS: %w", err)
	}
	return conn, nil
}

// Waiting for JetStream: how long one question may take, and how often the
// log says that we wait.
const (
	askJetStreamTime = 2 * time.Second
	askJetStreamWait = 200 * time.Millisecond
	sayWaitingEvery  = 5 * time.Second
)

// awaitJetStream returns when JetStream answers. A cluster that is starting
// answers only once it has a leader.
func awaitJetStream(ctx context.Context, js jetstream.JetStream, limit time.Duration, log *slog.Logger) error {
	limited, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	var said time.Time
	for {
		ask, done := context.WithTimeout(limited, askJetStreamTime)
		_, err := js.AccountInfo(ask)
		done()
		if err == nil {
			return nil
		}
		if time.Since(said) > sayWaitingEvery {
			said = time.Now()
			log.Info("waiting for JetStream", slog.String("error", err.Error()))
		}
		select {
		case <-limited.Done():
			return fmt.Errorf("JetStream did not answer within %s: %w", limit, err)
		case <-time.After(askJetStreamWait):
		}
	}
}

// drain sends what is still to be sent and closes the connection. One that is
// not connected has nothing that could be sent.
func drain(conn *nats.Conn, limit time.Duration) error {
	if !conn.IsConnected() {
		conn.Close()
		return nil
	}
	closed := make(chan struct{})
	conn.SetClosedHandler(func(*nats.Conn) { close(closed) })
	if err := conn.Drain(); err != nil {
		conn.Close()
		return fmt.Errorf("drain NATS: %w", err)
	}
	select {
	case <-closed:
		return nil
	case <-time.After(limit + time.Second):
		conn.Close()
		return fmt.Errorf("NATS did not drain within %s", limit)
	}
}

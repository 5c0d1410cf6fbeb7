package serve

import (
	"context"
	"fmt"
	"net"
	"time"

	"google.golang.org/grpc"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"

	"spanyard.example/services/kit/rpc"
)

// healthTime within which a running service must answer.
const healthTime = 3 * time.Second

// askHealth asks the service that runs with these settings on this machine.
func askHealth(ctx context.Context, c *Config) error {
	address, err := ownAddress(c.listen())
	if err != nil {
		return err
	}
	var options []grpc.DialOption
	if files := c.tls(); files.Set() {
		name, err := files.OwnName()
		if err != nil {
			return err
		}
		credentials, err := files.Credentials(name)
		if err != nil {
			return err
		}
		options = append(options, grpc.WithTransportCredentials(credentials))
	}
	// Not the round of healthy replicas: this one is asked, well or not.
	options = append(options, grpc.WithDefaultServiceConfig(`{}`))
	conn, err := rpc.Dial("passthrough:///"+address, options...)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close() }() // the answer is what counts
	ctx, cancel := context.WithTimeout(ctx, healthTime)
	defer cancel()
	answer, err := healthv1.NewHealthClient(conn).Check(ctx, &healthv1.HealthCheckRequest{})
	if err != nil {
		return fmt.Errorf("ask %s: %w", address, err)
	}
	if answer.GetStatus() != healthv1.HealthCheckResponse_SERVING {
		return fmt.Errorf("the service at %s is not well: %s", address, answer.GetStatus())
	}
	return nil
}

// ownAddress is where a service that listens on address is reached from its
// own machine.
func ownAddress(listen string) (string, error) {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return "", err
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return net.JoinHostPort(host, port), nil
}

package house

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health/grpc_health_v1"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/rpc"

	"spanyard.example/integration/internal/await"
)

// Clients speak to the services over the network, as the command line does.
type Clients struct {
	Layout   layoutv1.LayoutServiceClient
	Stock    stockv1.StockServiceClient
	Dispatch dispatchv1.DispatchServiceClient

	conns []*grpc.ClientConn
}

// Clients connects to the three services.
func (h *House) Clients() (*Clients, error) {
	c := &Clients{}
	for _, name := range Services {
		conn, err := h.Dial(name)
		if err != nil {
			c.Close()
			return nil, err
		}
		c.conns = append(c.conns, conn)
	}
	c.Layout = layoutv1.NewLayoutServiceClient(c.conns[0])
	c.Stock = stockv1.NewStockServiceClient(c.conns[1])
	c.Dispatch = dispatchv1.NewDispatchServiceClient(c.conns[2])
	return c, nil
}

// Close ends the connections.
func (c *Clients) Close() {
	for _, conn := range c.conns {
		_ = conn.Close() // nothing is left to be said on it
	}
}

// Dial connects to one container of a service. Calls wait, as long as their
// deadline allows, for a container that is being started again.
func (h *House) Dial(name string) (*grpc.ClientConn, error) {
	return rpc.Dial(h.containers[name].Address(ServicePort), grpc.WithDefaultCallOptions(grpc.WaitForReady(true)))
}

// AwaitService waits until a service says that it serves.
func (h *House) AwaitService(ctx context.Context, name string) error {
	ctx, cancel := context.WithTimeout(ctx, 60*time.Second)
	defer cancel()
	conn, err := h.Dial(name)
	if err != nil {
		return err
	}
	defer conn.Close()
	health := grpc_health_v1.NewHealthClient(conn)
	c := h.containers[name]
	err = await.Until(ctx, name+" to serve", func(ctx context.Context) error {
		if err := c.alive(ctx); err != nil {
			return err
		}
		ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
		defer cancel()
		answer, err := health.Check(ctx, &grpc_health_v1.HealthCheckRequest{})
		if err == nil && answer.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
			err = fmt.Errorf("it is %s", answer.GetStatus())
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("%w\n%s", err, c.Log(context.WithoutCancel(ctx)))
	}
	return nil
}

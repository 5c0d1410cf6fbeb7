package rpc

import (
	"context"
	"errors"
	"io"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"
	_ "google.golang.org/grpc/health" // lets the balancer ask backends for their health
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"spanyard.example/services/kit/fault"
)

// serviceConfig: calls go round the healthy replicas; what is Unavailable is
// tried four times within about three seconds, the time in which a replica
// restarts. Every RPC of ours may be repeated (its proto comment says
// "Idempotent"). When most calls fail, retries pause.
const serviceConfig = `{
	"loadBalancingConfig": [{"round_robin": {}}],
	"healthCheckConfig": {"serviceName": ""},
	"retryThrottling": {"maxTokens": 100, "tokenRatio": 0.5},
	"methodConfig": [{
		"name": [{}],
		"retryPolicy": {
			"maxAttempts": 4,
			"initialBackoff": "0.25s",
			"maxBackoff": "3s",
			"backoffMultiplier": 3,
			"retryableStatusCodes": ["UNAVAILABLE"]
		}
	}]
}`

// Dial returns a connection to a service; it connects when first used. Errors
// of its calls are *fault.Error. Options given override those of this package:
// grpc.WithTransportCredentials for TLS (see TLSFiles.Credentials),
// grpc.WithContextDialer with target "passthrough:///bufconn" in one process.
func Dial(target string, opts ...grpc.DialOption) (*grpc.ClientConn, error) {
	options := []grpc.DialOption{
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultServiceConfig(serviceConfig),
		grpc.WithDisableServiceConfig(), // a name server has no say in it
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 3 * time.Second},
			MinConnectTimeout: 5 * time.Second,
		}),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: keepaliveEvery, Timeout: keepaliveTimeout, PermitWithoutStream: true}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxMessageBytes), grpc.MaxCallSendMsgSize(maxMessageBytes)),
		grpc.WithChainUnaryInterceptor(unaryClient),
		grpc.WithChainStreamInterceptor(streamClient),
	}
	return grpc.NewClient(target, append(options, opts...)...)
}

// unaryClient gives every call a deadline and turns its status into a fault.
func unaryClient(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
	if _, ok := ctx.Deadline(); !ok {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, defaultCallTime)
		defer cancel()
	}
	return received(method, invoke(ctx, method, req, reply, cc, opts...))
}

func streamClient(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, open grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	s, err := open(ctx, desc, cc, method, opts...)
	if err != nil {
		return nil, received(method, err)
	}
	return &clientStream{ClientStream: s, method: method}, nil
}

// clientStream turns the statuses of a stream into faults.
type clientStream struct {
	grpc.ClientStream
	method string
}

func (s *clientStream) RecvMsg(m any) error { return received(s.method, s.ClientStream.RecvMsg(m)) }

func (s *clientStream) SendMsg(m any) error { return received(s.method, s.ClientStream.SendMsg(m)) }

func (s *clientStream) Header() (metadata.MD, error) {
	md, err := s.ClientStream.Header()
	return md, received(s.method, err)
}

func (s *clientStream) CloseSend() error { return received(s.method, s.ClientStream.CloseSend()) }

// received is FromStatus with the method and the description, for the log.
func received(method string, err error) error {
	if err == nil || errors.Is(err, io.EOF) {
		return err
	}
	result := FromStatus(err)
	var f *fault.Error
	if !errors.As(result, &f) {
		return result
	}
	if r, ok := f.Cause.(*remote); ok {
		r.method = method
		if text := status.Convert(err).Message(); text != f.Sentence {
			r.detail = text
		}
	}
	return result
}

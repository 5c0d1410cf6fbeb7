package rpc

import (
	"context"
	"net"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

// tokenKey of the metadata with the token, as HTTP has it.
const (
	tokenKey    = "authorization"
	tokenPrefix = "Bearer "
)

// Access says whom a server admits.
type Access struct {
	// Keys that are believed. Without keys everybody is admitted who reaches
	// the server, under the name that he gives: for one machine, or for a
	// network whose members trust each other.
	Keys *auth.Keys
	// OwnMachine admits callers without a token when they come from the same
	// machine, as without keys. A token that is given is checked all the same.
	OwnMachine bool
	// Now is the clock that tokens run out by; the machine's when left out.
	Now func() time.Time
}

// WithToken returns a context whose outgoing calls carry a token.
func WithToken(ctx context.Context, token string) context.Context {
	md, ok := metadata.FromOutgoingContext(ctx) // a copy
	if !ok {
		md = metadata.MD{}
	}
	md.Set(tokenKey, tokenPrefix+token)
	return metadata.NewOutgoingContext(ctx, md)
}

type personContextKey struct{}

// Person returns who calls, inside a handler; false when nobody checked it.
func Person(ctx context.Context) (auth.Person, bool) {
	p, ok := ctx.Value(personContextKey{}).(auth.Person)
	return p, ok
}

// admit finds out who calls, and refuses whom it does not know.
func (a Access) admit(ctx context.Context) (context.Context, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	tokens := md.Get(tokenKey)
	if a.Keys == nil || strings.HasPrefix(callOf(ctx).method, "/grpc.") {
		return withActor(ctx)
	}
	if len(tokens) == 0 && a.OwnMachine && fromOwnMachine(ctx) {
		return withActor(ctx)
	}
	if len(tokens) != 1 || !strings.HasPrefix(tokens[0], tokenPrefix) {
		return ctx, fault.New(fault.Refused, auth.ReasonTokenMissing, "Sign in first: this service has to know who asks.")
	}
	now := time.Now
	if a.Now != nil {
		now = a.Now
	}
	p, err := a.Keys.Verify(strings.TrimPrefix(tokens[0], tokenPrefix), now())
	if err != nil {
		return ctx, err
	}
	ctx = context.WithValue(ctx, personContextKey{}, p)
	if p.Has(auth.Service) {
		return withActor(ctx) // it says for whom it acts
	}
	return context.WithValue(ctx, actorContextKey{}, p.Name), nil
}

// fromOwnMachine reports whether the caller is on this machine.
func fromOwnMachine(ctx context.Context) bool {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return false
	}
	tcp, ok := p.Addr.(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

// allowed refuses what the person may not do. Calls that were admitted without
// a token may do everything.
func allowed(ctx context.Context, req any) error {
	p, ok := Person(ctx)
	if !ok {
		return nil
	}
	return p.Check(callOf(ctx).method, req)
}

// tokenLife of tokens that a program signs for its own calls.
const tokenLife = time.Minute

// SignedBy are options of Dial with which every call carries a token of a
// person, signed when the call is made. A call that carries a token already
// keeps it.
func SignedBy(s *auth.Signer, p auth.Person, now func() time.Time) []grpc.DialOption {
	sign := func(ctx context.Context) (context.Context, error) {
		if md, ok := metadata.FromOutgoingContext(ctx); ok && len(md.Get(tokenKey)) > 0 {
			return ctx, nil
		}
		token, err := s.Sign(p, now(), tokenLife)
		if err != nil {
			return ctx, err
		}
		return WithToken(ctx, token), nil
	}
	return []grpc.DialOption{
		grpc.WithChainUnaryInterceptor(func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
			ctx, err := sign(ctx)
			if err != nil {
				return err
			}
			return invoke(ctx, method, req, reply, cc, opts...)
		}),
		grpc.WithChainStreamInterceptor(func(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, open grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
			ctx, err := sign(ctx)
			if err != nil {
				return nil, err
			}
			return open(ctx, desc, cc, method, opts...)
		}),
	}
}

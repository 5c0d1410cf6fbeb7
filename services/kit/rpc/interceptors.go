package rpc

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"spanyard.example/services/kit/fault"
)

// call is what the interceptors of one call tell each other.
type call struct {
	id        string
	method    string
	requestID string
	actor     string
	// cause of the status that the caller gets, in full, for the log.
	cause error
}

type callContextKey struct{}

func callOf(ctx context.Context) *call {
	c, ok := ctx.Value(callContextKey{}).(*call)
	if !ok {
		return &call{id: newID()}
	}
	return c
}

// layer is one interceptor, written once for unary and stream: it does its
// part around next.
type layer func(ctx context.Context, next func(context.Context) error) error

// check looks at a request before the handler sees it.
type check func(ctx context.Context, req any) error

func unary(l layer) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
		err = l(ctx, func(ctx context.Context) error {
			resp, err = handler(ctx, req)
			return err
		})
		if err != nil {
			return nil, err
		}
		return resp, nil
	}
}

func stream(l layer) grpc.StreamServerInterceptor {
	return func(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
		return l(ss.Context(), func(ctx context.Context) error {
			return handler(srv, &serverStream{ServerStream: ss, ctx: ctx})
		})
	}
}

// serverStream is a stream with another context and checks on what arrives.
type serverStream struct {
	grpc.ServerStream
	ctx    context.Context
	checks []check
}

func (s *serverStream) Context() context.Context { return s.ctx }

func (s *serverStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	for _, c := range s.checks {
		if err := c(s.ctx, m); err != nil {
			return err
		}
	}
	return nil
}

// unaryChain in the order of its work; the order is part of the contract.
func (s *Server) unaryChain(checks []check) []grpc.UnaryServerInterceptor {
	begin := func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		c := &call{id: newID(), method: info.FullMethod, requestID: requestIDOf(req)}
		return handler(context.WithValue(ctx, callContextKey{}, c), req)
	}
	validate := func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		for _, c := range checks {
			if err := c(ctx, req); err != nil {
				return nil, err
			}
		}
		return handler(ctx, req)
	}
	return []grpc.UnaryServerInterceptor{
		begin, unary(s.logged), unary(s.recovered), unary(s.mapped), unary(s.named), unary(s.timed), validate,
	}
}

// streamChain is the same for streams. A stream lives until its caller or the
// server ends it, so it has no deadline; it ends when the server stops.
func (s *Server) streamChain(checks []check) []grpc.StreamServerInterceptor {
	begin := func(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
		c := &call{id: newID(), method: info.FullMethod}
		ctx := context.WithValue(ss.Context(), callContextKey{}, c)
		note := func(_ context.Context, req any) error {
			if id := requestIDOf(req); id != "" {
				c.requestID = id
			}
			return nil
		}
		return handler(srv, &serverStream{ServerStream: ss, ctx: ctx, checks: []check{note}})
	}
	validate := func(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
		return handler(srv, &serverStream{ServerStream: ss, ctx: ss.Context(), checks: checks})
	}
	return []grpc.StreamServerInterceptor{
		begin, stream(s.logged), stream(s.recovered), stream(s.mapped), stream(s.named), stream(s.untilStop), validate,
	}
}

// logged writes one line per call: reads that went well only when debugging.
func (s *Server) logged(ctx context.Context, next func(context.Context) error) error {
	c := callOf(ctx)
	start := time.Now()
	err := next(ctx)
	code := status.Code(err)
	level := slog.LevelInfo
	switch {
	case code == codes.OK && c.requestID == "", strings.HasPrefix(c.method, "/grpc."):
		level = slog.LevelDebug
	case code == codes.Internal, code == codes.Unknown:
		level = slog.LevelError
	case code == codes.Unavailable, code == codes.DeadlineExceeded:
		level = slog.LevelWarn
	}
	attrs := []slog.Attr{
		slog.String("method", c.method), slog.String("code", code.String()),
		slog.Duration("took", time.Since(start)), slog.String("call", c.id),
	}
	if c.actor != "" {
		attrs = append(attrs, slog.String("actor", c.actor))
	}
	if c.requestID != "" {
		attrs = append(attrs, slog.String("request_id", c.requestID))
	}
	if err != nil {
		attrs = append(attrs, slog.String("reason", fault.ReasonOf(FromStatus(err))))
	}
	if c.cause != nil {
		attrs = append(attrs, slog.String("error", c.cause.Error()))
	}
	s.log.LogAttrs(ctx, level, "call", attrs...)
	return err
}

// recovered turns a panic into Internal. The stack goes to the log; the caller
// gets the id to quote.
func (s *Server) recovered(ctx context.Context, next func(context.Context) error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			c := callOf(ctx)
			c.cause = fmt.Errorf("panic: %v", p)
			s.log.LogAttrs(ctx, slog.LevelError, "panic in a handler",
				slog.String("method", c.method), slog.String("call", c.id),
				slog.Any("panic", p), slog.String("stack", string(debug.Stack())))
			err = internalStatus(c.id)
		}
	}()
	return next(ctx)
}

// mapped is the only place where an error of a handler becomes a status.
func (s *Server) mapped(ctx context.Context, next func(context.Context) error) error {
	err := next(ctx)
	if err == nil {
		return nil
	}
	c := callOf(ctx)
	c.cause = err
	var f *fault.Error
	if ctx.Err() != nil && !errors.As(err, &f) {
		// The caller has gone; whatever failed, failed because of that.
		err = ctx.Err()
	}
	return toStatus(err, c.id)
}

// named finds out who asks, and whether he may.
func (s *Server) named(ctx context.Context, next func(context.Context) error) error {
	ctx, err := s.options.Access.admit(ctx)
	if err != nil {
		return err
	}
	callOf(ctx).actor = Actor(ctx)
	return next(ctx)
}

// timed gives the handler a deadline a little before the caller's, and does
// not begin what cannot be answered in time.
func (s *Server) timed(ctx context.Context, next func(context.Context) error) error {
	left := defaultCallTime
	if deadline, ok := ctx.Deadline(); ok {
		left = time.Until(deadline)
	}
	if left < leastCallTime {
		return tooSlow()
	}
	ctx, cancel := context.WithTimeout(ctx, left-reportTime)
	defer cancel()
	return next(ctx)
}

// untilStop ends a stream when the server stops, so that its caller resumes
// with another replica at once.
func (s *Server) untilStop(ctx context.Context, next func(context.Context) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(s.stopping, cancel)()
	err := next(ctx)
	var f *fault.Error
	if s.stopping.Err() != nil && ctx.Err() != nil && !errors.As(err, &f) {
		return fault.New(fault.Unavailable, ReasonStopping, "The service is being restarted; ask again.")
	}
	return err
}

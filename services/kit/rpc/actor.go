package rpc

import (
	"context"
	"net/url"
	"strings"
	"unicode"
	"unicode/utf8"

	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"spanyard.example/services/kit/fault"
)

// actorKey of the metadata that says who asks. The name is percent-encoded,
// because metadata values are ASCII and names are not.
const actorKey = "spanyard-actor"

// maxActorChars in a name.
const maxActorChars = 120

// actorAllowed says so to people. Programs find the name of the metadata in
// AsActor.
const actorAllowed = "a name of 1 to 120 printable characters"

type actorContextKey struct{}

// Actor returns who asks, inside a handler; empty on a read without a name.
func Actor(ctx context.Context) string {
	name, _ := ctx.Value(actorContextKey{}).(string)
	return name
}

// AsActor returns a context whose outgoing calls are made in the name of a
// person or service.
func AsActor(ctx context.Context, name string) context.Context {
	md, ok := metadata.FromOutgoingContext(ctx)
	if !ok {
		md = metadata.MD{}
	}
	md.Set(actorKey, url.PathEscape(name))
	return metadata.NewOutgoingContext(ctx, md)
}

// withActor returns a context from which Actor answers.
func withActor(ctx context.Context) (context.Context, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	values := md.Get(actorKey)
	if len(values) == 0 {
		return ctx, nil
	}
	name, err := url.PathUnescape(values[0])
	if err != nil || len(values) > 1 {
		return ctx, badActor("", "cannot be read")
	}
	name = strings.TrimSpace(name)
	switch {
	case name == "":
		return ctx, nil
	case !utf8.ValidString(name), strings.ContainsFunc(name, unicode.IsControl):
		return ctx, badActor("", "has characters that cannot be printed")
	case utf8.RuneCountInString(name) > maxActorChars:
		return ctx, badActor("", "is too long")
	}
	return context.WithValue(ctx, actorContextKey{}, name), nil
}

func badActor(value, problem string) error {
	return fault.New(fault.Invalid, "ACTOR_INVALID", "The name of the person asking %s.", problem).
		At("who asks", value, problem, actorAllowed)
}

// requireActor refuses a writing request that does not say who asks.
func requireActor(ctx context.Context, req any) error {
	if Actor(ctx) != "" || !hasRequestID(req) {
		return nil
	}
	return fault.New(fault.Invalid, "ACTOR_MISSING", "Say who you are: every change is recorded with the name of the person who asked for it.").
		At("who asks", "", "is missing", actorAllowed)
}

const requestIDField = protoreflect.Name("request_id")

func hasRequestID(req any) bool {
	m, ok := req.(proto.Message)
	return ok && m.ProtoReflect().Descriptor().Fields().ByName(requestIDField) != nil
}

func requestIDOf(req any) string {
	m, ok := req.(proto.Message)
	if !ok {
		return ""
	}
	r := m.ProtoReflect()
	field := r.Descriptor().Fields().ByName(requestIDField)
	if field == nil || field.Kind() != protoreflect.StringKind || field.IsList() {
		return ""
	}
	return r.Get(field).String()
}

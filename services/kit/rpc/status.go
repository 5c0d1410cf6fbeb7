package rpc

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"spanyard.example/services/kit/fault"
)

// errorDomain of the reasons in google.rpc.ErrorInfo.
const errorDomain = "spanyard"

// Reasons that this package itself gives.
const (
	// ReasonInternal: our own mistake; the sentence holds an id to quote.
	ReasonInternal = "INTERNAL"
	// ReasonTooSlow: the time for the call ran out.
	ReasonTooSlow = "TOO_SLOW"
	// ReasonCancelled: the caller gave up.
	ReasonCancelled = "CANCELLED"
	// ReasonStopping: the service is being stopped; ask again.
	ReasonStopping = "STOPPING"
	// ReasonNotReachable: the service did not answer.
	ReasonNotReachable = "NOT_REACHABLE"
	// ReasonTooLarge: a message exceeds 32 MiB.
	ReasonTooLarge = "TOO_LARGE"
	// ReasonUnknown: another program's error without a reason of ours.
	ReasonUnknown = "UNKNOWN"
)

// codeOf a kind on the wire. Unavailable is the only one that clients retry.
func codeOf(kind fault.Kind) codes.Code {
	switch kind {
	case fault.Invalid:
		return codes.InvalidArgument
	case fault.NotFound:
		return codes.NotFound
	case fault.Conflict:
		return codes.Aborted
	case fault.Stale:
		return codes.FailedPrecondition
	case fault.Refused:
		return codes.PermissionDenied
	case fault.Unavailable:
		return codes.Unavailable
	default:
		return codes.Internal
	}
}

// kindOf is the inverse of codeOf, and reads codes that gRPC itself or another
// program sent.
func kindOf(code codes.Code) fault.Kind {
	switch code {
	case codes.InvalidArgument, codes.OutOfRange, codes.ResourceExhausted:
		return fault.Invalid
	case codes.NotFound:
		return fault.NotFound
	case codes.Aborted, codes.AlreadyExists:
		return fault.Conflict
	case codes.FailedPrecondition:
		return fault.Stale
	case codes.PermissionDenied, codes.Unauthenticated:
		return fault.Refused
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
		return fault.Unavailable
	default:
		return fault.Internal
	}
}

// toStatus turns an error into the status that goes to the caller. A fault
// keeps its kind, reason, sentence and places; everything else becomes
// Internal with the id to quote.
func toStatus(err error, id string) error {
	if err == nil {
		return nil
	}
	var f *fault.Error
	if !errors.As(err, &f) {
		return strangerStatus(err, id)
	}
	if f.Kind == fault.Invalid && isRemote(f) {
		// The caller's request was good; the one we made of it was not.
		return internalStatus(id)
	}
	switch f.Reason {
	case ReasonCancelled:
		return withInfo(codes.Canceled, f)
	case ReasonTooSlow:
		return withInfo(codes.DeadlineExceeded, f)
	}
	code := codeOf(f.Kind)
	if code == codes.Internal {
		return internalStatus(id)
	}
	return withInfo(code, f)
}

// strangerStatus maps an error that is no fault.
func strangerStatus(err error, id string) error {
	switch {
	case errors.Is(err, context.DeadlineExceeded), status.Code(err) == codes.DeadlineExceeded:
		return withInfo(codes.DeadlineExceeded, tooSlow())
	case errors.Is(err, context.Canceled), status.Code(err) == codes.Canceled:
		return withInfo(codes.Canceled, cancelled())
	case status.Code(err) == codes.Unimplemented:
		return withInfo(codes.Unimplemented, fault.New(fault.Internal, ReasonUnknown, "This service does not know this request; it may be older than the program that asks."))
	}
	return internalStatus(id)
}

func internalStatus(id string) error {
	return withInfo(codes.Internal, fault.New(fault.Internal, ReasonInternal,
		"Something went wrong on our side; quote id %s when you report it.", id))
}

func tooSlow() *fault.Error {
	return fault.New(fault.Unavailable, ReasonTooSlow, "This took longer than the time allowed for it; try again.")
}

func cancelled() *fault.Error {
	return fault.New(fault.Unavailable, ReasonCancelled, "The request was given up before it was answered.")
}

// withInfo builds the status. google.rpc.ErrorInfo carries the reason and, in
// its metadata, value and allowed of place N as "value-N" and "allowed-N";
// google.rpc.BadRequest carries where and problem. Together they are the
// places exactly; a client that knows only google.rpc still reads the essence.
func withInfo(code codes.Code, f *fault.Error) error {
	info := &errdetails.ErrorInfo{Reason: text(f.Reason), Domain: errorDomain}
	bad := &errdetails.BadRequest{}
	for i, p := range f.Places {
		bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field: text(p.Where), Description: text(p.Problem),
		})
		put(info, fmt.Sprintf("value-%d", i), p.Value)
		put(info, fmt.Sprintf("allowed-%d", i), p.Allowed)
	}
	s := status.New(code, text(f.Sentence))
	detailed, err := s.WithDetails(info)
	if err == nil && len(bad.FieldViolations) > 0 {
		detailed, err = detailed.WithDetails(bad)
	}
	if err != nil { // only an OK status refuses details
		return s.Err()
	}
	return detailed.Err()
}

func put(info *errdetails.ErrorInfo, key, value string) {
	if value == "" {
		return
	}
	if info.Metadata == nil {
		info.Metadata = map[string]string{}
	}
	info.Metadata[key] = text(value)
}

// text replaces bytes that a proto string may not hold.
func text(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// FromStatus turns a received status into the fault that it was. A nil, a
// fault and an error that is no status come back as they are.
func FromStatus(err error) error {
	if err == nil {
		return nil
	}
	var already *fault.Error
	if errors.As(err, &already) {
		return err
	}
	s, ok := status.FromError(err)
	if !ok {
		switch {
		case errors.Is(err, context.DeadlineExceeded):
			return tooSlow().Because(context.DeadlineExceeded)
		case errors.Is(err, context.Canceled):
			return cancelled().Because(context.Canceled)
		}
		return err
	}
	if s.Code() == codes.OK {
		return nil
	}
	f := faultOf(s)
	f.Cause = &remote{code: s.Code()}
	return f
}

func faultOf(s *status.Status) *fault.Error {
	var info *errdetails.ErrorInfo
	var bad *errdetails.BadRequest
	for _, d := range s.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			if d.GetDomain() == errorDomain {
				info = d
			}
		case *errdetails.BadRequest:
			bad = d
		}
	}
	if info == nil {
		return strangerFault(s)
	}
	f := &fault.Error{Kind: kindOf(s.Code()), Reason: info.GetReason(), Sentence: s.Message()}
	for i, v := range bad.GetFieldViolations() {
		f.At(v.GetField(), info.GetMetadata()[fmt.Sprintf("value-%d", i)], v.GetDescription(), info.GetMetadata()[fmt.Sprintf("allowed-%d", i)])
	}
	return f
}

// strangerFault reads a status that gRPC itself or another program made. The
// description goes into the cause only: it is for programmers.
func strangerFault(s *status.Status) *fault.Error {
	switch s.Code() {
	case codes.DeadlineExceeded:
		return tooSlow()
	case codes.Canceled:
		return cancelled()
	case codes.Unavailable:
		return fault.New(fault.Unavailable, ReasonNotReachable, "The service cannot be reached at the moment; try again.")
	case codes.ResourceExhausted:
		return fault.New(fault.Invalid, ReasonTooLarge, "The request or its answer is larger than %d MiB.", maxMessageBytes>>20)
	default:
		return fault.New(kindOf(s.Code()), ReasonUnknown, "The service answered with an error that this program does not know.")
	}
}

// remote marks a fault as received from another service, and keeps what a
// programmer needs to know of it.
type remote struct {
	code   codes.Code
	method string
	detail string
}

func (r *remote) Error() string {
	s := "answered with " + r.code.String()
	if r.method != "" {
		s = r.method + " " + s
	}
	if r.detail != "" {
		s += ": " + r.detail
	}
	return s
}

// Is lets callers ask for the context errors whatever side noticed them.
func (r *remote) Is(target error) bool {
	return target == context.Canceled && r.code == codes.Canceled ||
		target == context.DeadlineExceeded && r.code == codes.DeadlineExceeded
}

// isRemote says whether f itself was received; a fault of our own that was
// made because of a received one is ours.
func isRemote(f *fault.Error) bool {
	_, ok := f.Cause.(*remote)
	return ok
}

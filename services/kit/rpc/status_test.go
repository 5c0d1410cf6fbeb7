package rpc

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"pgregory.net/rapid"

	"spanyard.example/services/kit/fault"
)

// Every kind travels as its own code and comes back as itself.
// onTheWire is an error as the caller gets it.
func onTheWire(err error) error { return toStatus(err, newID()) }

func TestToStatusOfEachKind(t *testing.T) {
	tests := map[fault.Kind]codes.Code{
		fault.Internal:    codes.Internal,
		fault.Invalid:     codes.InvalidArgument,
		fault.NotFound:    codes.NotFound,
		fault.Conflict:    codes.Aborted,
		fault.Stale:       codes.FailedPrecondition,
		fault.Refused:     codes.PermissionDenied,
		fault.Unavailable: codes.Unavailable,
	}
	for kind, want := range tests {
		t.Run(kind.String(), func(t *testing.T) {
			err := onTheWire(fmt.Errorf("while working: %w", fault.New(kind, "SOME_REASON", "Some sentence.")))
			if got := status.Code(err); got != want {
				t.Errorf("code = %s, want %s", got, want)
			}
			if got := fault.KindOf(FromStatus(err)); got != kind {
				t.Errorf("kind after the journey = %s, want %s", got, kind)
			}
		})
	}
}

func TestToStatusOfOtherErrors(t *testing.T) {
	fromStock := FromStatus(onTheWire(fault.New(fault.Invalid, "BAD_LENGTH", "The length is wrong.")))
	tests := map[string]struct {
		err    error
		code   codes.Code
		reason string
	}{
		"a plain error":                {errors.New("disk on fire at 10.0.0.7"), codes.Internal, ReasonInternal},
		"a fault of kind internal":     {fault.New(fault.Internal, "LEDGER_BROKEN", "The chain is broken at 10.0.0.7."), codes.Internal, ReasonInternal},
		"a raw invalid status":         {status.Error(codes.InvalidArgument, "10.0.0.7 wants more"), codes.Internal, ReasonInternal},
		"a raw unavailable status":     {status.Error(codes.Unavailable, "10.0.0.7 is away"), codes.Internal, ReasonInternal},
		"another service's invalid":    {fmt.Errorf("reserve: %w", fromStock), codes.Internal, ReasonInternal},
		"our invalid because of it":    {fault.New(fault.Invalid, "NO_SUCH_BEAM", "There is no such beam.").Because(fromStock), codes.InvalidArgument, "NO_SUCH_BEAM"},
		"the caller's deadline":        {fmt.Errorf("read: %w", context.DeadlineExceeded), codes.DeadlineExceeded, ReasonTooSlow},
		"the caller gave up":           {fmt.Errorf("read: %w", context.Canceled), codes.Canceled, ReasonCancelled},
		"another service's deadline":   {FromStatus(status.Error(codes.DeadlineExceeded, "x")), codes.DeadlineExceeded, ReasonTooSlow},
		"another service is away":      {FromStatus(status.Error(codes.Unavailable, "x")), codes.Unavailable, ReasonNotReachable},
		"a deadline of our own inside": {fault.New(fault.Unavailable, "REDIS_AWAY", "Stock cannot be read.").Because(context.DeadlineExceeded), codes.Unavailable, "REDIS_AWAY"},
		"a request nobody knows":       {status.Error(codes.Unimplemented, "x"), codes.Unimplemented, ReasonUnknown},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			err := onTheWire(tt.err)
			if got := status.Code(err); got != tt.code {
				t.Errorf("code = %s, want %s", got, tt.code)
			}
			if got := fault.ReasonOf(FromStatus(err)); got != tt.reason {
				t.Errorf("reason = %s, want %s", got, tt.reason)
			}
			if strings.Contains(fmt.Sprintf("%v %v", err, status.Convert(err).Details()), "10.0.0.7") {
				t.Errorf("the status tells what it must not: %v", err)
			}
		})
	}
}

func TestInternalQuotesAnID(t *testing.T) {
	a, b := FromStatus(onTheWire(errors.New("x"))), FromStatus(onTheWire(errors.New("x")))
	var fa, fb *fault.Error
	if !errors.As(a, &fa) || !errors.As(b, &fb) {
		t.Fatal("no faults came back")
	}
	if fa.Sentence == fb.Sentence || !strings.Contains(fa.Sentence, "quote id ") {
		t.Errorf("sentences without ids of their own: %q, %q", fa.Sentence, fb.Sentence)
	}
}

func TestFromStatusOfStrangers(t *testing.T) {
	tests := map[codes.Code]struct {
		kind   fault.Kind
		reason string
	}{
		codes.Unavailable:       {fault.Unavailable, ReasonNotReachable},
		codes.DeadlineExceeded:  {fault.Unavailable, ReasonTooSlow},
		codes.Canceled:          {fault.Unavailable, ReasonCancelled},
		codes.ResourceExhausted: {fault.Invalid, ReasonTooLarge},
		codes.Unauthenticated:   {fault.Refused, ReasonUnknown},
		codes.AlreadyExists:     {fault.Conflict, ReasonUnknown},
		codes.Unimplemented:     {fault.Internal, ReasonUnknown},
		codes.DataLoss:          {fault.Internal, ReasonUnknown},
	}
	for code, want := range tests {
		t.Run(code.String(), func(t *testing.T) {
			err := FromStatus(status.Error(code, "words of another program"))
			if fault.KindOf(err) != want.kind || fault.ReasonOf(err) != want.reason {
				t.Errorf("got %s %s, want %s %s", fault.KindOf(err), fault.ReasonOf(err), want.kind, want.reason)
			}
		})
	}
	if err := FromStatus(status.Error(codes.Canceled, "x")); !errors.Is(err, context.Canceled) {
		t.Error("a cancelled call is no context.Canceled")
	}
	if err := FromStatus(status.Error(codes.DeadlineExceeded, "x")); !errors.Is(err, context.DeadlineExceeded) {
		t.Error("a call out of time is no context.DeadlineExceeded")
	}
	for _, err := range []error{nil, errors.New("no status"), fault.New(fault.Stale, "X", "x")} {
		if got := FromStatus(err); !errors.Is(got, err) {
			t.Errorf("FromStatus(%v) = %v, want it as it was", err, got)
		}
	}
}

// A fault is the same before and after its journey, whatever is in it.
func TestFaultsTravelWhole(t *testing.T) {
	kinds := []fault.Kind{fault.Invalid, fault.NotFound, fault.Conflict, fault.Stale, fault.Refused, fault.Unavailable}
	place := rapid.Custom(func(t *rapid.T) fault.Place {
		return fault.Place{
			Where: rapid.String().Draw(t, "where"), Value: rapid.String().Draw(t, "value"),
			Problem: rapid.String().Draw(t, "problem"), Allowed: rapid.String().Draw(t, "allowed"),
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		sent := &fault.Error{
			Kind:     rapid.SampledFrom(kinds).Draw(t, "kind"),
			Reason:   rapid.StringMatching(`[A-Z][A-Z0-9_]{0,30}`).Draw(t, "reason"),
			Sentence: rapid.String().Draw(t, "sentence"),
			Places:   rapid.SliceOfN(place, 0, 12).Draw(t, "places"),
			Cause:    errors.New("for the log only"),
		}
		var got *fault.Error
		if !errors.As(FromStatus(onTheWire(sent)), &got) {
			t.Fatal("no fault came back")
		}
		sent.Cause, got.Cause = nil, nil
		if len(sent.Places) == 0 {
			sent.Places = nil
		}
		if diff := cmp.Diff(sent, got); diff != "" {
			t.Fatalf("fault changed on its journey (-sent +got):\n%s", diff)
		}
	})
}

func TestBytesThatAreNoText(t *testing.T) {
	err := onTheWire(fault.New(fault.Invalid, "BAD", "Room %s is unknown.", "\xff").At("room\xfe", "\xff", "is \xfd", "\xfc"))
	var f *fault.Error
	if !errors.As(FromStatus(err), &f) || len(f.Places) != 1 || f.Places[0].Value != "\uFFFD" {
		t.Errorf("got %v, want the places with marks in place of the bytes", err)
	}
}

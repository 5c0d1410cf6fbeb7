package rpc

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"spanyard.example/services/kit/fault"
)

// ReasonBadRequest: the request breaks a rule of its proto; the places say
// which.
const ReasonBadRequest = "BAD_REQUEST"

// rules are those that the protos state. The validator compiles each message
// once and keeps it.
type rules struct {
	validator protovalidate.Validator
}

func newRules() (*rules, error) {
	v, err := protovalidate.New()
	if err != nil {
		return nil, fmt.Errorf("compile the rules of the protos: %w", err)
	}
	return &rules{validator: v}, nil
}

// check returns a fault that names every field that breaks a rule.
func (r *rules) check(_ context.Context, req any) error {
	m, ok := req.(proto.Message)
	if !ok {
		return fmt.Errorf("request %T is no proto message", req)
	}
	err := r.validator.Validate(m)
	if err == nil {
		return nil
	}
	var broken *protovalidate.ValidationError
	if !errors.As(err, &broken) {
		return fmt.Errorf("validate %s: %w", m.ProtoReflect().Descriptor().FullName(), err)
	}
	return faultOfViolations(broken.Violations)
}

// maxPlaces in a fault; more do not help anybody.
const maxPlaces = 100

func faultOfViolations(violations []*protovalidate.Violation) *fault.Error {
	f := fault.New(fault.Invalid, ReasonBadRequest, "The request cannot be taken as it is: %s.", counted(len(violations), "value is", "values are")+" wrong")
	for i, v := range violations {
		if i == maxPlaces {
			f.At("request", "", fmt.Sprintf("has %d more wrong values", len(violations)-maxPlaces), "")
			break
		}
		value := givenValue(v)
		problem, allowed := words(v, value)
		f.At(protovalidate.FieldPathString(v.Proto.GetField()), value, problem, allowed)
	}
	return f
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// maxValueChars of a value that is repeated to the caller.
const maxValueChars = 80

// givenValue is the wrong value as the caller wrote it; empty when it is a
// message, a list or too long to repeat.
func givenValue(v *protovalidate.Violation) string {
	if !v.FieldValue.IsValid() || v.FieldDescriptor == nil {
		return ""
	}
	switch value := v.FieldValue.Interface().(type) {
	case protoreflect.Message, protoreflect.List, protoreflect.Map, []byte:
		return ""
	case protoreflect.EnumNumber:
		if e := v.FieldDescriptor.Enum(); e != nil && e.Values().ByNumber(value) != nil {
			return string(e.Values().ByNumber(value).Name())
		}
		return fmt.Sprint(value)
	default:
		s := strings.ToValidUTF8(fmt.Sprint(value), "\uFFFD")
		if len([]rune(s)) > maxValueChars {
			return ""
		}
		return s
	}
}

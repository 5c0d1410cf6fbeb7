package rpc

import (
	"fmt"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// patterns of our protos in words.
var patterns = map[string]string{
	`^[a-z0-9][a-z0-9-]{0,31}$`:       "1 to 32 small letters, digits and hyphens, not beginning with a hyphen",
	`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`:    "a day written YYYY-MM-DD",
	`^[A-Za-z0-9]{1,8}$`:              "1 to 8 letters and digits",
	`^[A-E]$`:                         "one of the letters A to E",
	`^[A-E]?$`:                        "one of the letters A to E, or nothing",
	`^(A1|A3)?$`:                      "A1 or A3, or nothing",
	`^([0-9]{4}-[0-9]{2}-[0-9]{2})?$`: "a day written YYYY-MM-DD, or nothing",
}

// words says what is wrong and what is allowed, so that a clerk understands it.
func words(v *protovalidate.Violation, value string) (problem, allowed string) {
	rule, limit := v.Proto.GetRuleId(), v.RuleValue
	switch rule {
	case "required", "message.oneof.required":
		return "is missing", ""
	case "string.min_len", "bytes.min_len":
		if value == "" {
			return "is missing", ""
		}
		return "is too short", fmt.Sprintf("at least %v characters", limit)
	case "string.max_len":
		return "is too long", fmt.Sprintf("at most %v characters", limit)
	case "bytes.max_len":
		return "is too large", "at most " + bytesText(limit.Uint())
	case "string.pattern":
		allowed = patterns[limit.String()]
		if allowed == "" {
			allowed = "text of the form " + limit.String()
		}
		if value == "" {
			return "is missing", allowed
		}
		return "is not written as it must be", allowed
	case "repeated.min_items":
		return "has too few entries", fmt.Sprintf("at least %v", limit)
	case "repeated.max_items":
		return "has too many entries", fmt.Sprintf("at most %v", limit)
	case "repeated.unique":
		return "has an entry twice", "each entry once"
	case "enum.defined_only", "enum.not_in", "enum.in":
		return "is not one of the known values", enumNames(v.FieldDescriptor)
	}
	if allowed = span(v); allowed != "" {
		return "is out of range", allowed
	}
	if v.Proto.GetMessage() == "" {
		return "breaks the rule " + rule, ""
	}
	return v.Proto.GetMessage(), ""
}

func bytesText(n uint64) string {
	if n >= 1<<20 && n%(1<<20) == 0 {
		return fmt.Sprintf("%d MiB", n>>20)
	}
	return fmt.Sprintf("%d bytes", n)
}

// span says between which numbers a value must lie; empty when the broken rule
// is none about that.
func span(v *protovalidate.Violation) string {
	r := rulesAround(v)
	if r == nil {
		return ""
	}
	var parts []string
	for _, bound := range []struct {
		name  protoreflect.Name
		words string
	}{{"gte", "from %v"}, {"gt", "more than %v"}, {"lte", "to %v"}, {"lt", "less than %v"}} {
		if f := r.Descriptor().Fields().ByName(bound.name); f != nil && r.Has(f) {
			parts = append(parts, fmt.Sprintf(bound.words, r.Get(f)))
		}
	}
	if len(parts) == 1 {
		return strings.NewReplacer("from ", "at least ", "to ", "at most ").Replace(parts[0])
	}
	return strings.Join(parts, " ")
}

// rulesAround is the group of rules that the broken one stands in: the path of
// the rule, followed from the field's options, without its last step.
func rulesAround(v *protovalidate.Violation) protoreflect.Message {
	if v.FieldDescriptor == nil {
		return nil
	}
	options, ok := proto.GetExtension(v.FieldDescriptor.Options(), validate.E_Field).(*validate.FieldRules)
	if !ok || options == nil {
		return nil
	}
	r := options.ProtoReflect()
	path := v.Proto.GetRule().GetElements()
	for i := 0; i < len(path)-1; i++ {
		f := r.Descriptor().Fields().ByName(protoreflect.Name(path[i].GetFieldName()))
		if f == nil || f.Message() == nil || f.IsList() || f.IsMap() {
			return nil
		}
		r = r.Get(f).Message()
	}
	return r
}

// enumNames lists the values of an enum but the unspecified one.
func enumNames(f protoreflect.FieldDescriptor) string {
	if f == nil || f.Enum() == nil {
		return ""
	}
	var names []string
	values := f.Enum().Values()
	for i := range values.Len() {
		if values.Get(i).Number() != 0 {
			names = append(names, string(values.Get(i).Name()))
		}
	}
	return strings.Join(names, ", ")
}

package rpc

import (
	"crypto/sha256"
	"encoding/binary"
	"hash"
	"math"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Fingerprint returns a hash of everything in a request but its request_id.
// It is kept in the ledger, so it must stay the same from build to build,
// which proto's own deterministic encoding does not promise. A field that is
// not set does not count: a request made before a field was added keeps its
// fingerprint.
func Fingerprint(req proto.Message) []byte {
	h := fingerprint{sha256.New()}
	m := req.ProtoReflect()
	h.string(string(m.Descriptor().FullName()))
	h.message(m, m.Descriptor().Fields().ByName(requestIDField))
	return h.Sum(nil)
}

type fingerprint struct{ hash.Hash }

func (h fingerprint) uint(v uint64) {
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], v)
	h.Write(b[:])
}

func (h fingerprint) string(s string) {
	h.uint(uint64(len(s)))
	h.Write([]byte(s))
}

// message writes the set fields in the order of their numbers, between a
// start and an end that no field can imitate (zero is no field number).
func (h fingerprint) message(m protoreflect.Message, skip protoreflect.FieldDescriptor) {
	var fields []protoreflect.FieldDescriptor
	m.Range(func(f protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		if f != skip {
			fields = append(fields, f)
		}
		return true
	})
	slices.SortFunc(fields, func(a, b protoreflect.FieldDescriptor) int { return int(a.Number() - b.Number()) })
	for _, f := range fields {
		h.uint(uint64(f.Number()))
		h.field(f, m.Get(f))
	}
	h.uint(0)
	h.string(string(m.GetUnknown()))
}

func (h fingerprint) field(f protoreflect.FieldDescriptor, v protoreflect.Value) {
	switch {
	case f.IsMap():
		h.mapping(f, v.Map())
	case f.IsList():
		list := v.List()
		h.uint(uint64(list.Len()))
		for i := range list.Len() {
			h.value(f, list.Get(i))
		}
	default:
		h.value(f, v)
	}
}

func (h fingerprint) mapping(f protoreflect.FieldDescriptor, m protoreflect.Map) {
	// Every key's own hash is its sort key: any total order does.
	type entry struct {
		key   string
		value protoreflect.Value
	}
	var entries []entry
	m.Range(func(k protoreflect.MapKey, v protoreflect.Value) bool {
		kh := fingerprint{sha256.New()}
		kh.value(f.MapKey(), k.Value())
		entries = append(entries, entry{string(kh.Sum(nil)), v})
		return true
	})
	slices.SortFunc(entries, func(a, b entry) int {
		if a.key < b.key {
			return -1
		}
		return 1
	})
	h.uint(uint64(len(entries)))
	for _, e := range entries {
		h.string(e.key)
		h.value(f.MapValue(), e.value)
	}
}

func (h fingerprint) value(f protoreflect.FieldDescriptor, v protoreflect.Value) {
	switch f.Kind() {
	case protoreflect.MessageKind, protoreflect.GroupKind:
		h.message(v.Message(), nil)
	case protoreflect.StringKind:
		h.string(v.String())
	case protoreflect.BytesKind:
		h.string(string(v.Bytes()))
	case protoreflect.BoolKind:
		if v.Bool() {
			h.uint(1)
		} else {
			h.uint(0)
		}
	case protoreflect.EnumKind:
		h.uint(uint64(v.Enum()))
	case protoreflect.FloatKind, protoreflect.DoubleKind:
		h.uint(math.Float64bits(v.Float()))
	case protoreflect.Uint32Kind, protoreflect.Uint64Kind, protoreflect.Fixed32Kind, protoreflect.Fixed64Kind:
		h.uint(v.Uint())
	default:
		h.uint(uint64(v.Int()))
	}
}

package yardfile

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	"spanyard.example/services/kit/fault"
)

// maxPlaces keeps the list of wrong lines readable.
const maxPlaces = 100

// reader walks a file and a message side by side and collects everything that
// is wrong, so that one look at the list mends the file.
type reader struct {
	file    string
	except  []string
	places  []fault.Place
	skipped int
}

func newReader(file string, except []string) *reader {
	return &reader{file: file, except: except}
}

func (r *reader) wrong(n *yaml.Node, value, problem, allowed string) {
	if len(r.places) == maxPlaces {
		r.skipped++
		return
	}
	r.places = append(r.places, fault.Place{Where: at(r.file, n), Value: value, Problem: problem, Allowed: allowed})
}

func (r *reader) err() error {
	if len(r.places) == 0 {
		return nil
	}
	f := fault.New(fault.Invalid, "BAD_FILE", "%s is not right; nothing was changed.", r.file)
	f.Places = r.places
	if r.skipped > 0 {
		f = f.At(r.file, "", fmt.Sprintf("and %d more", r.skipped), "")
	}
	return f
}

func (r *reader) sections(root *yaml.Node, sections []Section) {
	var names []string
	for _, s := range sections {
		names = append(names, s.Name)
	}
	found := map[string]bool{}
	r.pairs(root, "", func(key, value *yaml.Node) {
		i := slices.Index(names, key.Value)
		if i < 0 {
			r.wrong(key, key.Value, "is no section of this file", strings.Join(names, ", "))
			return
		}
		found[key.Value] = true
		r.message(value, sections[i].Into.ProtoReflect(), key.Value)
	})
	for _, name := range names {
		if !found[name] && root.Kind == yaml.MappingNode {
			r.wrong(root, "", "section "+name+" is missing", "")
		}
	}
}

// pairs calls fn for every key of a mapping and refuses keys given twice.
func (r *reader) pairs(n *yaml.Node, path string, fn func(key, value *yaml.Node)) {
	n = follow(n)
	if n.Kind != yaml.MappingNode {
		r.wrong(n, n.Value, describe(path)+"should be a group of \"field: value\" lines", "")
		return
	}
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		if first, ok := seen[key.Value]; ok {
			r.wrong(key, key.Value, fmt.Sprintf("is given twice, first on line %d", first), "")
			continue
		}
		seen[key.Value] = key.Line
		fn(key, value)
	}
}

func (r *reader) message(n *yaml.Node, m protoreflect.Message, path string) {
	fields := m.Descriptor().Fields()
	given := map[protoreflect.FullName]string{}
	r.pairs(n, path, func(key, value *yaml.Node) {
		fd := fields.ByName(protoreflect.Name(key.Value))
		if fd == nil {
			fd = fields.ByJSONName(key.Value)
		}
		if fd == nil || slices.Contains(r.except, string(fd.Name())) {
			r.wrong(key, key.Value, "is not a field here", r.allowed(fields))
			return
		}
		// A field may go by two names, and of a choice only one can be.
		name := fd.FullName()
		if choice := fd.ContainingOneof(); choice != nil {
			name = choice.FullName()
		}
		if first, ok := given[name]; ok {
			r.wrong(key, key.Value, "cannot stand beside "+first, "")
			return
		}
		given[name] = key.Value
		r.field(value, m, fd, join(path, key.Value))
	})
}

func (r *reader) field(n *yaml.Node, m protoreflect.Message, fd protoreflect.FieldDescriptor, path string) {
	n = follow(n)
	if !fd.IsList() {
		if fd.Message() != nil {
			r.message(n, m.Mutable(fd).Message(), path)
			return
		}
		if v, ok := r.scalar(n, fd, path); ok {
			m.Set(fd, v)
		}
		return
	}
	if n.Kind != yaml.SequenceNode {
		r.wrong(n, n.Value, describe(path)+"should be a list", "")
		return
	}
	list := m.Mutable(fd).List()
	for i, item := range n.Content {
		at := fmt.Sprintf("%s[%d]", path, i)
		if fd.Message() != nil {
			r.message(item, list.AppendMutable().Message(), at)
			continue
		}
		if v, ok := r.scalar(follow(item), fd, at); ok {
			list.Append(v)
		}
	}
}

func (r *reader) scalar(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) (protoreflect.Value, bool) {
	if n.Kind != yaml.ScalarNode || n.Tag == "!!null" {
		r.wrong(n, "", describe(path)+"should be a single value", "")
		return protoreflect.Value{}, false
	}
	v, allowed, ok := parseScalar(n.Value, fd)
	if !ok {
		r.wrong(n, n.Value, describe(path)+"is not right", allowed)
	}
	return v, ok
}

// parseScalar also takes a time of day, "5:30", where the contract counts
// minutes after midnight: nobody in a yard counts those.
func parseScalar(text string, fd protoreflect.FieldDescriptor) (protoreflect.Value, string, bool) {
	switch fd.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(text), "", true
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(text == "true"), "true or false", text == "true" || text == "false"
	case protoreflect.Int32Kind:
		allowed := "a whole number"
		if strings.HasSuffix(string(fd.Name()), "_minute") {
			allowed = "a time of day as h:mm, or minutes after midnight"
			if minute, ok := timeOfDay(text); ok {
				return protoreflect.ValueOfInt32(minute), allowed, true
			}
		}
		v, err := strconv.ParseInt(text, 10, 32)
		return protoreflect.ValueOfInt32(int32(v)), allowed, err == nil
	case protoreflect.Int64Kind:
		v, err := strconv.ParseInt(text, 10, 64)
		return protoreflect.ValueOfInt64(v), "a whole number", err == nil
	case protoreflect.DoubleKind:
		v, err := strconv.ParseFloat(text, 64)
		return protoreflect.ValueOfFloat64(v), "a number", err == nil && v == v
	case protoreflect.EnumKind:
		return parseEnum(text, fd.Enum())
	default:
		return protoreflect.Value{}, "this field cannot be set from a file", false
	}
}

func parseEnum(text string, ed protoreflect.EnumDescriptor) (protoreflect.Value, string, bool) {
	var names []string
	for i := range ed.Values().Len() {
		v := ed.Values().Get(i)
		if v.Number() == 0 {
			continue
		}
		if string(v.Name()) == text {
			return protoreflect.ValueOfEnum(v.Number()), "", true
		}
		names = append(names, string(v.Name()))
	}
	return protoreflect.Value{}, strings.Join(names, ", "), false
}

func timeOfDay(text string) (int32, bool) {
	h, m, ok := strings.Cut(text, ":")
	if !ok || len(h) < 1 || len(h) > 2 || len(m) != 2 {
		return 0, false
	}
	hours, err1 := strconv.ParseUint(h, 10, 8)
	minutes, err2 := strconv.ParseUint(m, 10, 8)
	if err1 != nil || err2 != nil || hours > 24 || minutes > 59 || hours*60+minutes > 24*60 {
		return 0, false
	}
	return int32(hours*60 + minutes), true
}

func (r *reader) allowed(fields protoreflect.FieldDescriptors) string {
	var names []string
	for i := range fields.Len() {
		if name := string(fields.Get(i).Name()); !slices.Contains(r.except, name) {
			names = append(names, name)
		}
	}
	return strings.Join(names, ", ")
}

func follow(n *yaml.Node) *yaml.Node {
	for n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	return n
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

func describe(path string) string {
	if path == "" {
		return ""
	}
	return "in " + path + " "
}

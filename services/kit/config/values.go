package config

import (
	"fmt"
	"reflect"
	"strconv"
	"time"

	"go.yaml.in/yaml/v3"
)

var durationType = reflect.TypeFor[time.Duration]()

// mapping reads a YAML mapping into a struct.
func (l *loader) mapping(prefix string, n *yaml.Node, into reflect.Value) {
	n = resolve(n)
	if n.Kind != yaml.MappingNode {
		l.wrong(l.at(n, prefix), "", "is not a group of settings", "lines of the form \"key: value\"")
		return
	}
	fields := fieldsOf(into)
	known := make(map[string]field, len(fields))
	for _, f := range fields {
		known[f.key] = f
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		f, ok := known[key.Value]
		full := join(prefix, key.Value)
		switch {
		case !ok:
			l.wrong(l.at(key, full), "", "is not a setting", keysOf(fields))
		case seen[key.Value]:
			l.wrong(l.at(key, full), "", "is set twice", "each setting once")
		default:
			seen[key.Value] = true
			l.origin[full] = l.at(key, full)
			l.value(full, value, f)
		}
	}
}

// value reads one setting. An empty value ("key:") leaves the default.
func (l *loader) value(key string, n *yaml.Node, f field) {
	n = resolve(n)
	if n.Kind == yaml.ScalarNode && n.Tag == "!!null" {
		return
	}
	switch {
	case f.value.Kind() == reflect.Struct:
		l.mapping(key, n, f.value)
	case f.value.Kind() == reflect.Slice:
		l.list(key, n, f)
	case n.Kind != yaml.ScalarNode:
		l.wrong(l.at(n, key), "", "is a list or a group of settings", allowedFor(f.value.Type()))
	case f.value.Kind() == reflect.String && n.Tag == "!!binary":
		l.wrong(l.at(n, key), "", "is binary", allowedFor(f.value.Type()))
	default:
		if !set(f.value, n.Value) {
			l.wrong(l.at(n, key), shown(f, n.Value), "is of the wrong kind", allowedFor(f.value.Type()))
		}
	}
}

func (l *loader) list(key string, n *yaml.Node, f field) {
	if n.Kind != yaml.SequenceNode {
		l.wrong(l.at(n, key), "", "is not a list", "lines that begin with \"- \", or [one, two]")
		return
	}
	list := reflect.MakeSlice(f.value.Type(), len(n.Content), len(n.Content))
	for i, item := range n.Content {
		itemKey := fmt.Sprintf("%s[%d]", key, i)
		l.origin[itemKey] = l.at(item, itemKey)
		l.value(itemKey, item, field{key: itemKey, value: list.Index(i), secret: f.secret})
	}
	f.value.Set(list)
}

func resolve(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.AliasNode {
		return n.Alias
	}
	return n
}

// set reads a text into a scalar; false when it is of another kind.
func set(v reflect.Value, s string) bool {
	if v.Type() == durationType {
		d, err := time.ParseDuration(s)
		if err != nil || s == "0" {
			return false
		}
		v.SetInt(int64(d))
		return true
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(s)
	case reflect.Bool:
		if s != "true" && s != "false" {
			return false
		}
		v.SetBool(s == "true")
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		i, err := strconv.ParseInt(s, 10, 64)
		if err != nil || v.OverflowInt(i) {
			return false
		}
		v.SetInt(i)
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		u, err := strconv.ParseUint(s, 10, 64)
		if err != nil || v.OverflowUint(u) {
			return false
		}
		v.SetUint(u)
	case reflect.Float32, reflect.Float64:
		f, err := strconv.ParseFloat(s, 64)
		if err != nil || v.OverflowFloat(f) || f != f {
			return false
		}
		v.SetFloat(f)
	default:
		return false
	}
	return true
}

// allowedFor says what may stand in a setting of a type.
func allowedFor(t reflect.Type) string {
	if t == durationType {
		return `a duration with its unit, as in "500ms", "5s" or "2m"`
	}
	switch t.Kind() {
	case reflect.String:
		return "a text"
	case reflect.Bool:
		return "true or false"
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return "a whole number from 0 on"
	case reflect.Float32, reflect.Float64:
		return "a number"
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return "a whole number"
	default:
		return "nothing: settings cannot be of this kind"
	}
}

const mask = "(secret)"

func shown(f field, value string) string {
	if f.secret {
		return mask
	}
	return value
}

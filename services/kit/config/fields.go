package config

import (
	"reflect"
	"strings"
)

// field is one setting of a struct.
type field struct {
	key    string
	value  reflect.Value
	secret bool
}

// fieldsOf lists a struct's settings, those of inlined structs among them, in
// the order in which they are declared.
func fieldsOf(v reflect.Value) []field {
	var fields []field
	for i := range v.NumField() {
		f := v.Type().Field(i)
		key, inline, ok := tagOf(f)
		switch {
		case !ok:
		case inline:
			fields = append(fields, fieldsOf(v.Field(i))...)
		default:
			fields = append(fields, field{key: key, value: v.Field(i), secret: f.Tag.Get("secret") == "true"})
		}
	}
	return fields
}

// inlined lists the structs that lie flat in v, innermost first.
func inlined(v reflect.Value) []reflect.Value {
	var parts []reflect.Value
	for i := range v.NumField() {
		if _, inline, ok := tagOf(v.Type().Field(i)); ok && inline {
			parts = append(parts, inlined(v.Field(i))...)
			parts = append(parts, v.Field(i))
		}
	}
	return parts
}

func tagOf(f reflect.StructField) (key string, inline, ok bool) {
	tag, tagged := f.Tag.Lookup("yaml")
	if !f.IsExported() || tag == "-" {
		return "", false, false
	}
	key, options, _ := strings.Cut(tag, ",")
	if strings.Contains(","+options+",", ",inline,") {
		return "", true, f.Type.Kind() == reflect.Struct
	}
	if key == "" || !tagged {
		key = strings.ToLower(f.Name)
	}
	return key, false, true
}

func keysOf(fields []field) string {
	keys := make([]string, len(fields))
	for i, f := range fields {
		keys[i] = f.key
	}
	return strings.Join(keys, ", ")
}

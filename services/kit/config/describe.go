package config

import (
	"fmt"
	"reflect"
	"strings"
)

// Describe lists the settings that differ from the defaults, one "key: value"
// a line, secrets masked. Both are structs of one type, or pointers to them.
func Describe(defaults, settings any) string {
	d, s := reflect.ValueOf(defaults), reflect.ValueOf(settings)
	for d.Kind() == reflect.Pointer {
		d = d.Elem()
	}
	for s.Kind() == reflect.Pointer {
		s = s.Elem()
	}
	if d.Kind() != reflect.Struct || s.Type() != d.Type() {
		return ""
	}
	var b strings.Builder
	describe(&b, "", d, s)
	return b.String()
}

func describe(b *strings.Builder, prefix string, d, s reflect.Value) {
	was := fieldsOf(d)
	for i, f := range fieldsOf(s) {
		key := join(prefix, f.key)
		before := was[i].value
		switch {
		case f.value.Kind() == reflect.Struct:
			describe(b, key, before, f.value)
		case reflect.DeepEqual(before.Interface(), f.value.Interface()):
		case f.secret:
			fmt.Fprintf(b, "%s: %s\n", key, mask)
		case f.value.Kind() == reflect.Slice && f.value.Type().Elem().Kind() == reflect.Struct:
			describeList(b, key, f.value)
		default:
			fmt.Fprintf(b, "%s: %v\n", key, f.value.Interface())
		}
	}
}

func describeList(b *strings.Builder, key string, list reflect.Value) {
	zero := reflect.New(list.Type().Elem()).Elem()
	for i := range list.Len() {
		describe(b, fmt.Sprintf("%s[%d]", key, i), zero, list.Index(i))
	}
}

package config

import (
	"reflect"
	"regexp"
	"slices"
	"strings"
)

// serviceLink matches the variables that Kubernetes and container engines set
// for every service of a name; they are not meant for us, so they are no
// typing errors.
var serviceLink = regexp.MustCompile(`^(SERVICE_HOST|SERVICE_PORT(_.*)?|PORT(_[0-9]+_(TCP|UDP|SCTP)(_(PROTO|PORT|ADDR))?)?)$`)

// readEnvironment overrides settings. A variable with the prefix that names no
// setting is refused: it is a typing error.
func (l *loader) readEnvironment(prefix string, into reflect.Value, environ []string) {
	if prefix == "" {
		return
	}
	settings := map[string]setting{}
	collect("", into, settings)
	environ = slices.Sorted(slices.Values(environ))
	for _, line := range environ {
		name, value, _ := strings.Cut(line, "=")
		rest, ours := strings.CutPrefix(name, prefix+"_")
		if !ours {
			continue
		}
		s, known := settings[rest]
		switch {
		case known:
			l.origin[s.key] = "environment variable " + name
			l.override(name, value, s.field)
		case !serviceLink.MatchString(rest):
			l.wrong("environment variable "+name, "", "is not a setting", variables(prefix, settings))
		}
	}
}

type setting struct {
	field
	// key in full, as in the file.
	key string
}

// collect names every setting that the environment can set, as it does.
func collect(prefix string, v reflect.Value, into map[string]setting) {
	for _, f := range fieldsOf(v) {
		key := join(prefix, f.key)
		switch {
		case f.value.Kind() == reflect.Struct:
			collect(key, f.value, into)
		case f.value.Kind() == reflect.Slice && f.value.Type().Elem().Kind() == reflect.Struct:
			// Lists of groups are for files.
		default:
			into[variable(key)] = setting{field: f, key: key}
		}
	}
}

func variable(key string) string {
	return strings.ToUpper(strings.NewReplacer(".", "_", "-", "_").Replace(key))
}

func variables(prefix string, settings map[string]setting) string {
	names := make([]string, 0, len(settings))
	for name := range settings {
		names = append(names, prefix+"_"+name)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

// override sets one setting; an empty variable of a list empties it.
func (l *loader) override(name, value string, f field) {
	where := "environment variable " + name
	if f.value.Kind() != reflect.Slice {
		if !set(f.value, value) {
			l.wrong(where, shown(f, value), "is of the wrong kind", allowedFor(f.value.Type()))
		}
		return
	}
	list := reflect.MakeSlice(f.value.Type(), 0, 0)
	for part := range strings.SplitSeq(value, ",") {
		part = strings.TrimSpace(part)
		if part == "" {
			continue
		}
		item := reflect.New(f.value.Type().Elem()).Elem()
		if !set(item, part) {
			l.wrong(where, shown(f, part), "is of the wrong kind", allowedFor(item.Type())+"; several separated by commas")
			return
		}
		list = reflect.Append(list, item)
	}
	f.value.Set(list)
}

// Package config reads a program's settings: a strict YAML file, then the
// environment. What is unknown, double or of the wrong kind is refused, with
// file, line and key and what is allowed, because a setting that is silently
// ignored is found on the worst morning.
//
// A setting is a field of a struct with a yaml tag. Nested structs are nested
// mappings; a struct tagged ",inline" lies flat in its parent. Kinds: text,
// true or false, numbers, durations ("5s"), lists, structs, and lists of
// structs. The environment overrides PREFIX_NESTED_FIELD; lists are separated
// by commas there. Fields tagged secret:"true" are masked by Describe.
//
// After reading, the method Validate() error is called on every struct that
// has it, inner ones first. Problem makes errors for it.
package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"

	"go.yaml.in/yaml/v3"

	"spanyard.example/services/kit/fault"
)

// ReasonBadConfig of every fault that Load returns.
const ReasonBadConfig = "BAD_CONFIG"

// validator is what a struct of settings may implement.
type validator interface{ Validate() error }

// Load reads the settings into a pointer to a struct that holds the defaults:
// from the file, unless its name is empty, then from environment variables
// that begin with envPrefix and an underscore. The error is a fault with a
// place for every wrong setting.
func Load(file, envPrefix string, into any) error {
	return load(file, envPrefix, into, os.Environ())
}

func load(file, envPrefix string, into any, environ []string) error {
	v := reflect.ValueOf(into)
	if v.Kind() != reflect.Pointer || v.IsNil() || v.Elem().Kind() != reflect.Struct {
		return fmt.Errorf("config: settings must be a pointer to a struct, not %T", into)
	}
	l := &loader{
		file:   filepath.Base(file),
		origin: map[string]string{},
		fault:  fault.New(fault.Invalid, ReasonBadConfig, "The settings are wrong."),
	}
	if file != "" {
		content, err := os.ReadFile(file)
		if err != nil {
			return fault.New(fault.Invalid, ReasonBadConfig, "The file with the settings cannot be read.").
				At(file, "", "cannot be read", "").Because(err)
		}
		l.readFile(content, v.Elem())
	}
	l.readEnvironment(envPrefix, v.Elem(), environ)
	if len(l.fault.Places) == 0 {
		l.validate("", v.Elem())
	}
	if len(l.fault.Places) > 0 {
		return l.fault
	}
	return nil
}

// loader collects what is wrong, so that one run names everything.
type loader struct {
	file string
	// origin of each key that was set: "line 3" or a variable's name.
	origin map[string]string
	fault  *fault.Error
}

func (l *loader) wrong(where, value, problem, allowed string) {
	l.fault.At(where, value, problem, allowed)
}

func (l *loader) at(n *yaml.Node, key string) string {
	where := fmt.Sprintf("%s, line %d", l.file, n.Line)
	if key != "" {
		where += ", " + key
	}
	return where
}

func (l *loader) readFile(content []byte, into reflect.Value) {
	decoder := yaml.NewDecoder(bytes.NewReader(content))
	var document, second yaml.Node
	switch err := decoder.Decode(&document); {
	case errors.Is(err, io.EOF):
		return // an empty file sets nothing
	case err != nil:
		l.wrong(l.file, "", "is not YAML: "+err.Error(), "lines of the form \"key: value\"")
		return
	}
	if err := decoder.Decode(&second); !errors.Is(err, io.EOF) {
		l.wrong(l.file, "", "has more than one document", "one document, without a line ---")
		return
	}
	root := document.Content[0]
	if root.Kind == yaml.ScalarNode && root.Tag == "!!null" {
		return // only comments
	}
	l.mapping("", root, into)
}

// validate calls Validate of inner structs first. A struct that embeds another
// inherits its method; the same error twice is told once.
func (l *loader) validate(prefix string, v reflect.Value) {
	for _, f := range fieldsOf(v) {
		switch f.value.Kind() {
		case reflect.Struct:
			l.validate(join(prefix, f.key), f.value)
		case reflect.Slice:
			for i := range f.value.Len() {
				if e := f.value.Index(i); e.Kind() == reflect.Struct {
					l.validate(fmt.Sprintf("%s[%d]", join(prefix, f.key), i), e)
				}
			}
		}
	}
	for _, part := range inlined(v) {
		l.callValidate(prefix, part)
	}
	l.callValidate(prefix, v)
}

func (l *loader) callValidate(prefix string, v reflect.Value) {
	check, ok := v.Addr().Interface().(validator)
	if !ok {
		return
	}
	err := check.Validate()
	if err == nil {
		return
	}
	var f *fault.Error
	if !errors.As(err, &f) || len(f.Places) == 0 {
		f = fault.New(fault.Invalid, ReasonBadConfig, "").At("", "", err.Error(), "")
	}
	for _, p := range f.Places {
		key := join(prefix, p.Where)
		where := key
		if o := l.origin[key]; o != "" {
			where = o
		}
		if where == "" {
			where = "settings"
		}
		p.Where = where
		if !containsPlace(l.fault.Places, p) {
			l.fault.Places = append(l.fault.Places, p)
		}
	}
}

func containsPlace(places []fault.Place, p fault.Place) bool {
	for _, have := range places {
		if have == p {
			return true
		}
	}
	return false
}

// Problem is an error for a Validate method: key is the setting as the file
// names it, relative to the struct.
func Problem(key, value, problem, allowed string) *fault.Error {
	return fault.New(fault.Invalid, ReasonBadConfig, "A setting is wrong.").At(key, value, problem, allowed)
}

func join(prefix, key string) string {
	if prefix == "" || key == "" {
		return prefix + key
	}
	return prefix + "." + key
}

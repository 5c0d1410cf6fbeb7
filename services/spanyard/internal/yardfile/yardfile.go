// Package yardfile reads the files that a yard is set up from: YAML whose
// fields are the fields of the contracts. A field that the contract does not
// know, a field given twice or a value of the wrong kind is refused with its
// line; nothing is guessed.
package yardfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"

	"spanyard.example/services/kit/fault"
)

// Read fills a message from a file. Fields named in except belong to the
// program (the yard, the request id) and are refused in files.
func Read(file string, content []byte, into proto.Message, except ...string) error {
	root, err := parse(file, content)
	if err != nil {
		return err
	}
	r := newReader(file, except)
	r.message(root, into.ProtoReflect(), "")
	return r.err()
}

// Section is one top-level key of a file with several messages in it.
type Section struct {
	Name string
	Into proto.Message
}

// ReadSections fills one message for each top-level key of a file. Every
// section has to be there.
func ReadSections(file string, content []byte, sections []Section, except ...string) error {
	root, err := parse(file, content)
	if err != nil {
		return err
	}
	r := newReader(file, except)
	r.sections(root, sections)
	return r.err()
}

// ReadStruct fills a Go struct from a file; keys without a field are refused.
func ReadStruct(file string, content []byte, into any) error {
	d := yaml.NewDecoder(bytes.NewReader(content))
	d.KnownFields(true)
	if err := d.Decode(into); err != nil {
		return unreadable(file, err)
	}
	return single(file, d)
}

func parse(file string, content []byte) (*yaml.Node, error) {
	d := yaml.NewDecoder(bytes.NewReader(content))
	var doc yaml.Node
	if err := d.Decode(&doc); err != nil {
		return nil, unreadable(file, err)
	}
	if err := single(file, d); err != nil {
		return nil, err
	}
	return doc.Content[0], nil
}

// single makes sure that nothing follows the first document of a file, since
// it would be passed over in silence.
func single(file string, d *yaml.Decoder) error {
	var rest yaml.Node
	err := d.Decode(&rest)
	if errors.Is(err, io.EOF) {
		return nil
	}
	if err != nil {
		return unreadable(file, err)
	}
	return fault.New(fault.Invalid, "BAD_FILE", "%s holds more than one document; keep one and remove the lines from the second --- on.", file)
}

func unreadable(file string, err error) error {
	if errors.Is(err, io.EOF) {
		return fault.New(fault.Invalid, "EMPTY_FILE", "%s is empty.", file)
	}
	f := fault.New(fault.Invalid, "BAD_FILE", "%s cannot be read as YAML.", file)
	var te *yaml.TypeError
	if errors.As(err, &te) {
		for _, line := range te.Errors {
			f = f.At(lineOf(file, line), "", "is a field that the program does not know, or a value of the wrong kind", "")
		}
		return f.Because(err)
	}
	return f.At(lineOf(file, err.Error()), "", "cannot be read from here on", "lines of \"field: value\", indented by blanks alike, brackets and quotes closed").Because(err)
}

// lineNumber finds where the YAML reader stopped: it says that in its text only.
var lineNumber = regexp.MustCompile(`line (\d+)`)

func lineOf(file, text string) string {
	if m := lineNumber.FindStringSubmatch(text); m != nil {
		return file + ", line " + m[1]
	}
	return file
}

func at(file string, n *yaml.Node) string {
	return fmt.Sprintf("%s, line %d", file, n.Line)
}

// Package dxf reads and writes drawings in the ASCII drawing exchange format,
// R12 to 2018: pairs of a group code and a value. It reads what a floor
// outline can be made of (lines, arcs, circles, ellipses, polylines, splines,
// texts, nested block inserts) and flattens it to paths; everything else is
// counted and left out. It never fails on a kind of entity it does not know,
// and never reads more than the limits below.
package dxf

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/htmlindex"
)

// Limits keep a hostile file from eating time and memory.
const (
	// MaxBytes of a file.
	MaxBytes = 32 << 20
	maxPairs = 4 << 20
	// maxPoints of all paths together, after inserts are expanded.
	maxPoints = 2 << 20
	maxDepth  = 16
)

// Errors of files that cannot be read at all.
var (
	ErrBinary   = errors.New("this is a binary drawing; save it as an ASCII DXF file")
	ErrTooLarge = errors.New("the drawing is larger than can be read here")
	ErrNotDXF   = errors.New("this is not a DXF file: it does not begin with a pair of a group code and a value")
	ErrNothing  = errors.New("the drawing has no section of entities")
)

// SyntaxError names the line at which a file stops being one.
type SyntaxError struct {
	Line    int
	Problem string
}

func (e *SyntaxError) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.Problem) }

// pair is one group code and its value.
type pair struct {
	code  int
	value string
	line  int
}

func (p pair) float() (float64, error) {
	f, err := strconv.ParseFloat(strings.TrimSpace(p.value), 64)
	if err != nil || f != f || f > 1e15 || f < -1e15 {
		return 0, &SyntaxError{p.line, fmt.Sprintf("%.40q is not a number", p.value)}
	}
	return f, nil
}

func (p pair) int() int {
	n, err := strconv.Atoi(strings.TrimSpace(p.value))
	if err != nil {
		return 0
	}
	return n
}

// binarySentinel begins every binary file.
var binarySentinel = []byte("AutoCAD Binary DXF\r\n\x1a\x00")

// split cuts a file into pairs. What follows the pair 0 EOF is ignored, and a
// file that ends early is read as far as it goes.
func split(content []byte) ([]pair, error) {
	if len(content) > MaxBytes {
		return nil, ErrTooLarge
	}
	if bytes.HasPrefix(content, binarySentinel) {
		return nil, ErrBinary
	}
	content = bytes.TrimPrefix(content, []byte("\xef\xbb\xbf"))
	var pairs []pair
	line := 0
	next := func() (string, bool) {
		if len(content) == 0 {
			return "", false
		}
		line++
		i := bytes.IndexByte(content, '\n')
		var l []byte
		if i < 0 {
			l, content = content, nil
		} else {
			l, content = content[:i], content[i+1:]
		}
		return strings.TrimRight(string(l), "\r"), true
	}
	for {
		first, ok := next()
		if !ok {
			break
		}
		if strings.TrimSpace(first) == "" && len(content) == 0 {
			break
		}
		code, err := strconv.Atoi(strings.TrimSpace(first))
		if err != nil || code < -5 || code > 1071 {
			if len(pairs) == 0 {
				return nil, ErrNotDXF
			}
			return nil, &SyntaxError{line, fmt.Sprintf("%.40q is not a group code", first)}
		}
		value, ok := next()
		if !ok {
			break
		}
		if code == 999 {
			continue
		}
		if len(pairs) == maxPairs {
			return nil, ErrTooLarge
		}
		pairs = append(pairs, pair{code, value, line})
		if code == 0 && strings.TrimSpace(value) == "EOF" {
			break
		}
	}
	if len(pairs) == 0 {
		return nil, ErrNotDXF
	}
	return pairs, nil
}

// decoder returns what turns the file's texts into UTF-8: files from 2007 on
// (AC1021) are UTF-8, older ones name a code page in their header.
func decoder(version, codepage string) *encoding.Decoder {
	if version >= "AC1021" {
		return nil
	}
	name := strings.ToLower(codepage)
	name = strings.NewReplacer("ansi_", "windows-", "iso8859-", "iso-8859-", "dos", "ibm", "mac-roman", "macintosh").Replace(name)
	switch name {
	case "windows-932", "ibm932":
		name = "shift_jis"
	case "windows-949":
		name = "euc-kr"
	case "windows-936":
		name = "gbk"
	case "windows-950":
		name = "big5"
	}
	e, err := htmlindex.Get(name)
	if err != nil {
		e, _ = htmlindex.Get("windows-1252")
	}
	return e.NewDecoder()
}

// text decodes a value and its \U+XXXX escapes.
func text(d *encoding.Decoder, s string) string {
	if d != nil {
		if u, err := d.String(s); err == nil {
			s = u
		}
	}
	s = strings.ToValidUTF8(s, "\uFFFD")
	for from := 0; ; {
		i := strings.Index(s[from:], `\U+`)
		if i < 0 || from+i+7 > len(s) {
			return s
		}
		i += from
		r, err := strconv.ParseUint(s[i+3:i+7], 16, 32)
		if err != nil {
			from = i + 3
			continue
		}
		s = s[:i] + string(rune(r)) + s[i+7:]
		from = i + 1
	}
}

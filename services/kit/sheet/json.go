package sheet

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"spanyard.example/services/kit/fault"
)

// readJSON reads an array of flat objects: the keys are the columns. Numbers
// keep their digits; a list of numbers or texts is one cell, its items joined
// by "; ".
func readJSON(file string, content []byte) (*raw, error) {
	content = bytes.TrimPrefix(content, []byte("\xEF\xBB\xBF"))
	if !utf8.Valid(content) {
		return nil, badFile(file, "is not UTF-8 text", "JSON saved as UTF-8")
	}
	j := &jsonReader{file: file, raw: &raw{}, columns: map[string]int{}}
	j.decoder = json.NewDecoder(bytes.NewReader(content))
	j.decoder.UseNumber()
	if err := j.read(); err != nil {
		var already *fault.Error
		if errors.As(err, &already) {
			return nil, err
		}
		line := 1 + bytes.Count(content[:min(int(j.decoder.InputOffset()), len(content))], []byte("\n"))
		return nil, badFile(fmt.Sprintf("%s, line %d", file, line), "is not JSON", "a list of objects, as in "+jsonExample)
	}
	return j.raw, nil
}

const jsonExample = `[{"room": "01", "clear_span_mm": 4200}]`

type jsonReader struct {
	file    string
	decoder *json.Decoder
	raw     *raw
	columns map[string]int
}

func (j *jsonReader) read() error {
	t, err := j.decoder.Token()
	if err != nil {
		return err
	}
	if t != json.Delim('[') {
		return badFile(j.file, "is not a list of objects", jsonExample)
	}
	for number := 1; j.decoder.More(); number++ {
		if number > MaxRows {
			return badFile(j.file, "has too many rows", fmt.Sprintf("at most %d; split the file", MaxRows))
		}
		if err := j.object(number); err != nil {
			return err
		}
	}
	if _, err := j.decoder.Token(); err != nil {
		return err
	}
	if _, err := j.decoder.Token(); !errors.Is(err, io.EOF) {
		return badFile(j.file, "has something after the end of the list", "one list of objects")
	}
	if len(j.raw.rows) == 0 {
		return badFile(j.file, "is an empty list", jsonExample)
	}
	return nil
}

// object reads one row.
func (j *jsonReader) object(number int) error {
	t, err := j.decoder.Token()
	if err != nil {
		return err
	}
	if t != json.Delim('{') {
		return badFile(place(j.file, "", number, ""), "is not an object", jsonExample)
	}
	cells := make([]string, len(j.columns))
	seen := map[int]bool{}
	for j.decoder.More() {
		key, err := j.decoder.Token()
		if err != nil {
			return err
		}
		name, _ := key.(string)
		i, err := j.column(number, name)
		if err != nil {
			return err
		}
		if seen[i] {
			return badFile(place(j.file, "", number, shorten(name)), "stands there twice", "each column once")
		}
		seen[i] = true
		for len(cells) <= i {
			cells = append(cells, "")
		}
		if cells[i], err = j.value(number, name); err != nil {
			return err
		}
	}
	if _, err := j.decoder.Token(); err != nil {
		return err
	}
	j.raw.rows = append(j.raw.rows, rawRow{number: number, cells: cells})
	return nil
}

// column returns the index of a key; a new key is a new column.
func (j *jsonReader) column(number int, name string) (int, error) {
	key := headerKey(name)
	if i, ok := j.columns[key]; ok {
		return i, nil
	}
	if len(j.columns) == MaxColumns {
		return 0, badFile(place(j.file, "", number, ""), "brings the columns above what can be taken", fmt.Sprintf("at most %d columns", MaxColumns))
	}
	j.columns[key] = len(j.raw.header)
	j.raw.header = append(j.raw.header, name)
	return j.columns[key], nil
}

func (j *jsonReader) value(number int, name string) (string, error) {
	t, err := j.decoder.Token()
	if err != nil {
		return "", err
	}
	if t == json.Delim('[') {
		return j.list(number, name)
	}
	s, ok := scalar(t)
	if !ok {
		return "", badFile(place(j.file, "", number, shorten(name)), "is an object inside the row", "a text, a number, or a list of numbers")
	}
	return s, nil
}

func (j *jsonReader) list(number int, name string) (string, error) {
	var items []string
	for chars := 0; j.decoder.More(); {
		t, err := j.decoder.Token()
		if err != nil {
			return "", err
		}
		s, ok := scalar(t)
		if !ok {
			return "", badFile(place(j.file, "", number, shorten(name)), "is a list of something else than numbers or texts", "a list of numbers")
		}
		if chars += len(s) + 2; chars > MaxCellChars {
			return "", badFile(place(j.file, "", number, shorten(name)), "is too long", fmt.Sprintf("at most %d characters", MaxCellChars))
		}
		items = append(items, s)
	}
	_, err := j.decoder.Token()
	return strings.Join(items, "; "), err
}

func scalar(t json.Token) (string, bool) {
	switch v := t.(type) {
	case string:
		return v, true
	case json.Number:
		return v.String(), true
	case bool:
		return strings.ToUpper(strconv.FormatBool(v)), true
	case nil:
		return "", true
	default:
		return "", false
	}
}

package shell

import (
	"encoding/json"
	"fmt"
)

// Words are all that pages say, by key, in one language. A value is a format
// of package fmt; translators reorder with %[2]s.
type Words map[string]string

// ReadWords reads a file of words.
func ReadWords(content []byte) (Words, error) {
	var w Words
	if err := json.Unmarshal(content, &w); err != nil {
		return nil, fmt.Errorf("read the words: %w", err)
	}
	return w, nil
}

// Say returns the words of a key; the key itself, which a test refuses, where
// there are none.
func (w Words) Say(key string, args ...any) string {
	text, ok := w[key]
	if !ok {
		return key
	}
	if len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}

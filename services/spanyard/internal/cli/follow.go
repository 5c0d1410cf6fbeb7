package cli

import (
	"context"
	"errors"
	"io"
)

// follow hands on what a feed sends until the user stops it, which is the
// usual end and no failure.
func follow[T any](ctx context.Context, recv func() (T, error), each func(T) error) error {
	for {
		entry, err := recv()
		if ctx.Err() != nil || errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := each(entry); err != nil {
			return err
		}
	}
}

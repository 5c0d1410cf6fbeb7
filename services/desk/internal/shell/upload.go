package shell

import (
	"io"
	"log/slog"

	"spanyard.example/services/kit/fault"
)

// File returns a file that came with the form: its name for messages, and its
// content.
func (r *Request) File(field string, mostBytes int64) (name string, content []byte, err error) {
	file, head, err := r.R.FormFile(field)
	if err != nil {
		return "", nil, fault.New(fault.Invalid, "FILE_MISSING", "%s", r.shell.Words.Say("problem.file_missing")).Because(err)
	}
	defer func() {
		if err := file.Close(); err != nil {
			r.shell.Log.Debug("an uploaded file cannot be closed", slog.Any("error", err))
		}
	}()
	switch {
	case head.Size == 0:
		return "", nil, fault.New(fault.Invalid, "FILE_EMPTY", "%s", r.shell.Words.Say("problem.file_empty", head.Filename))
	case head.Size > mostBytes:
		return "", nil, fault.New(fault.Invalid, "FILE_TOO_LARGE", "%s", r.shell.Words.Say("problem.file_large", head.Filename, mostBytes>>20))
	}
	content, err = io.ReadAll(io.LimitReader(file, mostBytes))
	if err != nil {
		return "", nil, fault.New(fault.Invalid, "FILE_UNREADABLE", "%s", r.shell.Words.Say("problem.form")).Because(err)
	}
	return head.Filename, content, nil
}

// forgetFiles takes uploaded files off the disk.
func (r *Request) forgetFiles() {
	if r.R.MultipartForm == nil {
		return
	}
	if err := r.R.MultipartForm.RemoveAll(); err != nil {
		r.shell.Log.Warn("an uploaded file stays on the disk", slog.Any("error", err))
	}
}

// Picture answers with a drawing to be shown in a page. It has its lettering
// and its styles in itself and no scripts, also when it is opened alone.
func (r *Request) Picture(mediaType string, content []byte) error {
	h := r.W.Header()
	h.Set("Content-Type", mediaType)
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; font-src data:; sandbox; frame-ancestors 'none'")
	if _, err := r.W.Write(content); err != nil {
		r.shell.Log.Debug("a browser went before its picture was sent", slog.Any("error", err))
	}
	return nil
}

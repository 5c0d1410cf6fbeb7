// Package pages has the pages of the desk: for each a handler, a template in
// templates and words in words. A page asks the services, with the token of the
// person at the screen, and shows the answer; it decides nothing.
package pages

import (
	"embed"
	"errors"
	"io/fs"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/fault"
)

//go:embed templates
var templates embed.FS

//go:embed words/en.json
var english []byte

// Templates of the pages.
func Templates() (fs.FS, error) { return fs.Sub(templates, "templates") }

// English words of the pages.
func English() (shell.Words, error) { return shell.ReadWords(english) }

// All pages, each with what it is for in its own file.
func All() []shell.Page {
	all := shell.LivePages()
	for _, some := range [][]shell.Page{signInPages(), homePages(), morningPages(), stockPages(), batchPages(), availablePages(), findPages(), piecePages(), recallPages(), yardPages(), sitePages(), floorsPages()} {
		all = append(all, some...)
	}
	return all
}

// stateOf is the word for a batch's state.
func stateOf(s stockv1.BatchState) string {
	switch s {
	case stockv1.BatchState_BATCH_STATE_RELEASED:
		return "released"
	case stockv1.BatchState_BATCH_STATE_QUARANTINED:
		return "quarantined"
	default:
		return "curing"
	}
}

// productOf says what a batch is made of.
func productOf(b *stockv1.Batch) string {
	if b.GetBlockKind() != "" {
		return b.GetBlockKind()
	}
	return b.GetProfile() + "/" + b.GetWirePattern()
}

// missing reports whether there is nothing yet, which a page says instead of
// failing.
func missing(err error) bool { return errors.Is(err, fault.NotFound) }

// requestID of a form: the same form sent twice is done once.
func requestID(r *shell.Request) string { return r.Form("request_id") }

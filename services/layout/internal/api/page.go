package api

import (
	"encoding/base64"
	"encoding/json"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/office"
)

const defaultPageSize = 100

// token says after which plan a page begins. It names a plan, not a count, so
// plans drafted between two pages neither repeat nor hide others.
type token struct {
	// Filter is the job that the list is of; empty for all.
	Filter   string `json:"filter,omitempty"`
	Job      string `json:"job"`
	Floor    string `json:"floor"`
	Revision int    `json:"revision"`
}

func tokenAfter(p office.Plan, filter string) string {
	data, err := json.Marshal(token{Filter: filter, Job: p.Job, Floor: p.Floor, Revision: p.Revision})
	if err != nil { // strings and a number always marshal
		return ""
	}
	return base64.RawURLEncoding.EncodeToString(data)
}

// parseToken returns the zero token for the first page.
func parseToken(text, filter string) (token, error) {
	var t token
	if text == "" {
		return t, nil
	}
	data, err := base64.RawURLEncoding.DecodeString(text)
	if err == nil {
		err = json.Unmarshal(data, &t)
	}
	if err != nil || t.Filter != filter || t.Revision < 1 {
		return token{}, fault.New(fault.Invalid, "PAGE_TOKEN_INVALID",
			"The list cannot be continued from there; start again from its beginning.").
			At("page_token", "", "does not belong to this list", "the next_page_token of the page before, for the same job_id")
	}
	return t, nil
}

// page returns up to size revisions after a token, by job and floor, newest
// revision first, and whether there are more.
func page(state office.State, job string, after token, size int) (records []office.Record, more bool) {
	from := office.FloorKey{Job: after.Job, Floor: after.Floor}
	if after.Revision == 0 {
		from = office.FloorKey{Job: job}
	}
	state.Floors(from, func(key office.FloorKey, revisions []office.Record) bool {
		if job != "" && key.Job != job {
			return false
		}
		for i := len(revisions) - 1; i >= 0; i-- {
			if after.Revision > 0 && key == from && revisions[i].Plan.Revision >= after.Revision {
				continue
			}
			if len(records) == size {
				more = true
				return false
			}
			records = append(records, revisions[i])
		}
		return true
	})
	return records, more
}

package cli

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	"spanyard.example/services/kit/fault"
)

// travelColumns of a table of known ways, in any order.
var travelColumns = []string{"from", "to", "minutes", "km"}

// maxTravelFaults bounds how many wrong rows one refusal names.
const maxTravelFaults = 50

// readTravel reads a table of known ways. Every wrong row is named.
func readTravel(file string, content []byte) ([]*eventv1.TravelLeg, error) {
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(content, []byte("\xef\xbb\xbf"))))
	r.TrimLeadingSpace = true
	r.FieldsPerRecord = -1
	refusal := fault.New(fault.Invalid, "BAD_TRAVEL", "The table of ways cannot be used as it is; nothing was changed.")
	head, err := r.Read()
	if err != nil {
		return nil, refusal.At(file, "", "has no first row with the names of the columns", strings.Join(travelColumns, ","))
	}
	at := map[string]int{}
	for _, name := range travelColumns {
		i := slices.IndexFunc(head, func(h string) bool { return strings.EqualFold(strings.TrimSpace(h), name) })
		if i < 0 {
			refusal.At(file+", row 1", name, "is no column", strings.Join(travelColumns, ","))
		}
		at[name] = i
	}
	if len(refusal.Places) > 0 {
		return nil, refusal
	}
	var legs []*eventv1.TravelLeg
	for row := 2; len(refusal.Places) < maxTravelFaults; row++ {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		where := fmt.Sprintf("%s, row %d", file, row)
		if err != nil {
			refusal.At(where, "", "is no row of a CSV file", "fields with commas between")
			break
		}
		legs = append(legs, readLeg(refusal, where, record, at))
	}
	if len(refusal.Places) > 0 {
		return nil, refusal
	}
	return legs, nil
}

func readLeg(refusal *fault.Error, where string, record []string, at map[string]int) *eventv1.TravelLeg {
	field := func(name string) string {
		if i := at[name]; i < len(record) {
			return strings.TrimSpace(record[i])
		}
		return ""
	}
	number := func(name string, most float64) float64 {
		v, err := strconv.ParseFloat(field(name), 64)
		if err != nil || !(v >= 0 && v <= most) {
			refusal.At(where+", "+name, field(name), "is no number that is allowed", fmt.Sprintf("0 to %g", most))
		}
		return v
	}
	place := func(name string) string {
		v := field(name)
		if v == "" {
			refusal.At(where+", "+name, "", "is missing", `an id of a site, or "yard"`)
		}
		if strings.EqualFold(v, "yard") {
			return ""
		}
		return v
	}
	return &eventv1.TravelLeg{
		FromSiteId: place("from"), ToSiteId: place("to"),
		Minutes: int32(math.Ceil(number("minutes", 1440))), Metres: int32(math.Round(number("km", 2000) * 1000)),
	}
}

package cli

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	"spanyard.example/services/kit/fault"
)

func TestTravelTable(t *testing.T) {
	places := []*commonv1.Place{{LatitudeDeg: -41.5, LongitudeDeg: -119.25}, {LatitudeDeg: -41.4, LongitudeDeg: -119.5}}
	answer := `{"durations":[[0,610.2],[null,0]],"distances":[[0,8123.6],[9000,0]]}`
	status := http.StatusOK
	var asked string
	engine := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = r.URL.Path
		w.WriteHeader(status)
		fmt.Fprint(w, answer)
	}))
	defer engine.Close()
	address := engine.URL + "/table/{coordinates}"

	table, err := askTable(t.Context(), address, places)
	if err != nil {
		t.Fatal(err)
	}
	if want := "/table/-119.250000,-41.500000;-119.500000,-41.400000"; asked != want {
		t.Errorf("asked for %s, want %s", asked, want)
	}
	legs, err := table.legs([]string{"", "QF"})
	if err != nil || len(legs) != 1 {
		t.Fatalf("legs %v, %v", legs, err)
	}
	// 610.2 s are rounded up to 11 minutes; the way back was not found.
	if l := legs[0]; l.GetFromSiteId() != "" || l.GetToSiteId() != "QF" || l.GetMinutes() != 11 || l.GetMetres() != 8124 {
		t.Errorf("leg %v", l)
	}
	for name, broken := range map[string]string{
		"no JSON": "<html>", "too few rows": `{"durations":[[0]],"distances":[[0]]}`, "nothing": `{}`,
		"below zero": `{"durations":[[0,-4],[5,0]],"distances":[[0,1],[1,0]]}`,
	} {
		answer = broken
		table, err := askTable(t.Context(), address, places)
		if err == nil {
			_, err = table.legs([]string{"", "QF"})
		}
		if fault.ReasonOf(err) != "NO_TABLE" || !strings.Contains(err.Error(), "Nothing was changed") {
			t.Errorf("%s: %v", name, err)
		}
	}
	status = http.StatusTooManyRequests
	for _, bad := range []string{address, engine.URL + "/table", "ftp://somewhere/{coordinates}", "http://127.0.0.1:1/{coordinates}"} {
		if _, err := askTable(t.Context(), bad, places); fault.ReasonOf(err) != "NO_TABLE" {
			t.Errorf("%s: %v", bad, err)
		}
	}
}

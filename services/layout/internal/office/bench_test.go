package office_test

import (
	"fmt"
	"testing"

	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
)

// BenchmarkDraft1000Rooms checks and lays a schedule of 1,000 rooms on ten
// floors, which is the decision behind a large import.
func BenchmarkDraft1000Rooms(b *testing.B) {
	c := office.DraftPlans{SourceFile: "rooms.csv"}
	for i := range 1000 {
		r := row(i+2, "J1", fmt.Sprint(i/100), fmt.Sprintf("%02d", i%100), i%100+1)
		r.Room.ClearSpanMM, r.Room.WidthMM = 2400+i%40*100, 1800+i%53*100
		r.Room.Profile, r.Room.WirePattern, r.Room.Block, r.Room.BeamsPerRow = "", "", "", 0
		c.Rows = append(c.Rows, r)
	}
	events, err := office.Decide(office.New(), office.SetCatalogue{Catalogue: officetest.Catalogue()})
	if err != nil {
		b.Fatal(err)
	}
	state := office.Evolve(office.New(), events[0])
	b.ReportAllocs()
	for b.Loop() {
		events, err := office.Decide(state, c)
		if err != nil || len(events) != 10 {
			b.Fatalf("%d plans, %v", len(events), err)
		}
	}
}

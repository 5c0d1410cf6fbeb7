package readmodel

import (
	"fmt"
	"testing"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

// busy returns a ledger as a working yard writes it: batches of 100 beams that
// are tested, released, promised, picked, loaded and delivered.
func busy(b *testing.B, batches int) *book {
	facts := []yard.Event{yard.RulesSet{Rules: yardtest.Rules}}
	state := yard.EvolveAll(yard.New(testYard), facts)
	at := yardtest.Start
	do := func(c yard.Command) {
		events, err := yard.Decide(state, c)
		if err != nil {
			b.Fatal(err)
		}
		state = yard.EvolveAll(state, events)
		facts = append(facts, events...)
	}
	for n := range batches {
		id, run := fmt.Sprintf("B%05d", n), fmt.Sprintf("R%d", n)
		madeOn := state.Day(at) - civil.Day(20)
		do(yard.ReceiveBatch{
			BatchID: id, Kind: yard.Beams, MadeOn: madeOn, Profile: "T15", WirePattern: "W3", At: at,
			Concrete: yard.Concrete{FckCylinder: 40_000, FckCube: 50_000},
			Lines:    []yard.BeamLine{{LengthMM: 4200, Count: 100, MassGEach: 84_000, StackID: "S" + id}},
		})
		do(yard.RecordTest{
			BatchID: id, TestID: "T1", Laboratory: "Fennmoor Lab", TestedOn: madeOn + 7, Specimen: yard.Cylinder,
			Strengths: []conformity.MilliMPa{44_000}, By: "Ida Lorn", At: at,
		})
		do(yard.ReleaseBatch{BatchID: id, By: "Oda Brink", At: at})
		var lines []yard.ReserveLine
		var ids []string
		for i := 80; i >= 1; i-- {
			ids = append(ids, yard.BeamID(id, i+20))
			lines = append(lines, yard.ReserveLine{PieceID: yard.BeamID(id, i+20), Allocation: yard.Allocation{RunID: run, SiteID: "Alderby", Mark: "1-01-01"}})
		}
		do(yard.ReservePieces{ReservationID: "V" + run, Lines: lines})
		do(yard.PickPieces{RunID: run, PieceIDs: ids})
		do(yard.LoadPieces{RunID: run, TruckID: "L1", PieceIDs: ids})
		do(yard.DeliverPieces{RunID: run, SiteID: "Alderby", PieceIDs: ids, At: at})
	}
	ledger := newBook()
	ledger.append(facts...)
	return ledger
}

func BenchmarkRebuild(b *testing.B) {
	client := realRedis(b, false)
	ledger := busy(b, 200)
	v := New(client, ledger, quiet())
	b.ResetTimer()
	for b.Loop() {
		if _, err := v.rebuild(b.Context(), testYard, "o", client.Get(b.Context(), pointerKey(testYard)).Val()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(ledger.events)*b.N)/b.Elapsed().Seconds(), "events/s")
}

// BenchmarkQueries asks a view of 20,000 pieces, 4,000 of them free.
func BenchmarkQueries(b *testing.B) {
	client := realRedis(b, false)
	ledger := busy(b, 200)
	v := New(client, ledger, quiet())
	if _, err := v.rebuild(b.Context(), testYard, "o", ""); err != nil {
		b.Fatal(err)
	}
	for name, ask := range map[string]func() error{
		"free": func() error { _, _, err := v.Free(b.Context(), testYard, FreeFilter{}, 0, "", 1000); return err },
		"summary": func() error {
			_, err := v.Summary(b.Context(), testYard, 20_000, 0)
			return err
		},
		"piece": func() error { _, _, err := v.Pieces(b.Context(), testYard, []string{"B00100-001"}, 0); return err },
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if err := ask(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

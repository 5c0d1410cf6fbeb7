package readmodel

import (
	"slices"
	"testing"

	"github.com/redis/go-redis/v9"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

// Batches that an opening count released on one day leave in the order in
// which they were made, whatever their ids.
func TestOldestMadeLeavesFirst(t *testing.T) {
	onEachRedis(t, func(t *testing.T, client redis.UniversalClient) {
		b := newBook()
		b.append(yard.RulesSet{Rules: yardtest.Rules})
		const released = civil.Day(20_500)
		for id, made := range map[string]civil.Day{"B1": released - 20, "B2": released - 40, "B3": released - 40, "B4": released - 30} {
			b.append(
				yard.BatchReceived{BatchID: id, Kind: yard.Beams, MadeOn: made, Beams: []yard.Beam{{ID: id + "-001", LengthMM: 3000, StackID: "S" + id}}},
				yard.BatchReceived{BatchID: "K" + id, Kind: yard.Blocks, MadeOn: made, Lot: yard.Lot{BlockKind: "K20", Count: 10, StackID: "SK" + id}},
				yard.BatchReleased{BatchID: id, Release: yard.Release{On: released}},
				yard.BatchReleased{BatchID: "K" + id, Release: yard.Release{On: released}},
			)
		}
		// Released a day before, though made last.
		b.append(
			yard.BatchReceived{BatchID: "B9", Kind: yard.Beams, MadeOn: released - 16, Beams: []yard.Beam{{ID: "B9-001", LengthMM: 3000, StackID: "SB9"}}},
			yard.BatchReleased{BatchID: "B9", Release: yard.Release{On: released - 1}},
		)
		answer, _, err := project(t, client, b).Free(t.Context(), testYard, FreeFilter{}, b.last(), "", 100)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, p := range answer.GetBeams() {
			got = append(got, p.GetBatchId())
		}
		for _, l := range answer.GetBlocks() {
			got = append(got, l.GetBatchId())
		}
		if want := []string{"B9", "B2", "B3", "B4", "B1", "KB2", "KB3", "KB4", "KB1"}; !slices.Equal(got, want) {
			t.Errorf("leave in the order %v, want %v", got, want)
		}
	})
}

// A batch whose quarantine was lifted cures again; as long as its results do
// not conform, nobody may count on it.
func TestSummaryDoesNotPromiseWhatFailed(t *testing.T) {
	onEachRedis(t, func(t *testing.T, client redis.UniversalClient) {
		b := newBook()
		const made = civil.Day(20_500)
		b.append(
			yard.RulesSet{Rules: yardtest.Rules},
			yard.BatchReceived{BatchID: "B1", Kind: yard.Beams, MadeOn: made, Profile: "T15", Concrete: yard.Concrete{FckCylinder: 40_000, FckCube: 50_000},
				Beams: []yard.Beam{{ID: "B1-001", LengthMM: 3000, StackID: "S1"}}},
			yard.TestRecorded{BatchID: "B1", Test: yard.Test{ID: "T1", TestedOn: made + 10, Specimen: yard.Cylinder, Strengths: []conformity.MilliMPa{30_000}}},
			yard.BatchQuarantined{BatchID: "B1", Reason: "weak"},
			yard.QuarantineLifted{BatchID: "B1"},
		)
		answer, err := project(t, client, b).Summary(t.Context(), testYard, made+100, b.last())
		if err != nil {
			t.Fatal(err)
		}
		if s := answer.GetBeams()[0]; s.GetProvisional() != 0 || s.GetQuarantined() != 1 {
			t.Errorf("the summary counts %v", s)
		}
	})
}

package codec

import (
	"encoding/json"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	eventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	"spanyard.example/services/layout/internal/office"
)

// SnapshotVersion is raised when the bytes of a snapshot or the meaning of
// office.Evolve change; older snapshots are then ignored.
const SnapshotVersion = 2

// snapshot of a state: plans and catalogue in their stored form, the rest as
// JSON.
type snapshot struct {
	Catalogue []byte     `json:"catalogue,omitempty"`
	Floors    [][]record `json:"floors,omitempty"`
}

type record struct {
	Plan       []byte        `json:"plan"`
	Status     office.Status `json:"status"`
	SourceFile string        `json:"source_file"`
	Engineer   string        `json:"engineer,omitempty"`
	Reason     string        `json:"reason,omitempty"`
	ApprovedAt time.Time     `json:"approved_at,omitzero"`
}

// Snapshot turns a state into bytes.
func Snapshot(s office.State) ([]byte, error) {
	var out snapshot
	if catalogue, ok := s.Catalogue(); ok {
		data, err := proto.Marshal(CatalogueProto(catalogue))
		if err != nil {
			return nil, fmt.Errorf("snapshot of the catalogue: %w", err)
		}
		out.Catalogue = data
	}
	var failed error
	s.Floors(office.FloorKey{}, func(key office.FloorKey, records []office.Record) bool {
		floor := make([]record, len(records))
		for i, r := range records {
			data, err := proto.Marshal(PlanProto(r.Plan))
			if err != nil {
				failed = fmt.Errorf("snapshot of job %s floor %s: %w", key.Job, key.Floor, err)
				return false
			}
			floor[i] = record{
				Plan: data, Status: r.Status, SourceFile: r.SourceFile,
				Engineer: r.Engineer, Reason: r.Reason, ApprovedAt: r.ApprovedAt,
			}
		}
		out.Floors = append(out.Floors, floor)
		return true
	})
	if failed != nil {
		return nil, failed
	}
	return json.Marshal(out)
}

// Restore is the inverse of Snapshot.
func Restore(data []byte) (office.State, error) {
	var in snapshot
	if err := json.Unmarshal(data, &in); err != nil {
		return office.State{}, fmt.Errorf("restore: %w", err)
	}
	var catalogue *office.Catalogue
	if in.Catalogue != nil {
		var m eventv1.CatalogueSet
		if err := proto.Unmarshal(in.Catalogue, &m); err != nil {
			return office.State{}, fmt.Errorf("restore the catalogue: %w", err)
		}
		c := CatalogueOf(&m)
		catalogue = &c
	}
	floors := make([][]office.Record, len(in.Floors))
	for i, floor := range in.Floors {
		for _, r := range floor {
			restored, err := recordOf(r)
			if err != nil {
				return office.State{}, err
			}
			floors[i] = append(floors[i], restored)
		}
	}
	return office.Restored(catalogue, floors), nil
}

func recordOf(r record) (office.Record, error) {
	var m eventv1.LayingPlan
	if err := proto.Unmarshal(r.Plan, &m); err != nil {
		return office.Record{}, fmt.Errorf("restore a plan: %w", err)
	}
	plan, err := PlanOf(&m)
	if err != nil {
		return office.Record{}, fmt.Errorf("restore: %w", err)
	}
	return office.Record{
		Plan: plan, Status: r.Status, SourceFile: r.SourceFile,
		Engineer: r.Engineer, Reason: r.Reason, ApprovedAt: r.ApprovedAt, Totals: plan.Totals(),
	}, nil
}

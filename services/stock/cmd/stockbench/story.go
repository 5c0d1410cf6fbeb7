package main

import (
	"context"
	"fmt"
	"slices"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/api"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
)

const (
	// beamsPerStory are cast, tested and released together.
	beamsPerStory = 100
	// mostTogether is the ledger's limit on the events of one command.
	mostTogether = 1000
)

// story returns what a yard does with one batch: it is received, tested and
// released; goes of its beams are promised, picked, loaded and delivered.
func story(n, goes int) []yard.Command {
	id, run := fmt.Sprintf("B%06d", n), fmt.Sprintf("R%d", n)
	at := noon{}.Now()
	made := civil.DayOf(at, at.Location()) - 20
	commands := []yard.Command{
		yard.ReceiveBatch{
			BatchID: id, Kind: yard.Beams, MadeOn: made, Profile: "T15", WirePattern: "W3", At: at,
			Concrete: yard.Concrete{FckCylinder: 40_000, FckCube: 50_000},
			Lines:    []yard.BeamLine{{LengthMM: 4200, Count: beamsPerStory, MassGEach: 84_000, StackID: "S" + id}},
		},
		yard.RecordTest{
			BatchID: id, TestID: "T1", Laboratory: "Fennmoor Lab", TestedOn: made + 14, Specimen: yard.Cylinder,
			Strengths: []conformity.MilliMPa{44_000}, By: "Ida Lorn", At: at,
		},
		yard.ReleaseBatch{BatchID: id, By: "Oda Brink", At: at},
	}
	if goes == 0 {
		return commands
	}
	var lines []yard.ReserveLine
	var ids []string
	for i := range goes {
		piece := yard.BeamID(id, beamsPerStory-i)
		ids = append(ids, piece)
		lines = append(lines, yard.ReserveLine{PieceID: piece, Allocation: yard.Allocation{RunID: run, SiteID: "Alderby", JobID: run, Mark: fmt.Sprintf("1-01-%02d", i)}})
	}
	return append(commands,
		yard.ReservePieces{ReservationID: "V" + run, Lines: lines},
		yard.PickPieces{RunID: run, PieceIDs: ids},
		yard.LoadPieces{RunID: run, TruckID: "L1", PieceIDs: ids},
		yard.DeliverPieces{RunID: run, SiteID: "Alderby", PieceIDs: ids, At: at},
	)
}

// open returns stock's ledger.
func (p *place) open(ctx context.Context) (*api.Ledger, error) {
	js, err := p.jetStream()
	if err != nil {
		return nil, err
	}
	// No snapshots: what is measured is read from events.
	return ledger.Open(ctx, js, api.Domain(), ledger.Options{Replicas: p.copies, Log: silent})
}

// tell writes stories number first to last-1 into a yard, as many of them
// together as fit, and returns how many events that were.
func tell(ctx context.Context, l *api.Ledger, yardID string, first, last, goes int) (events int, err error) {
	if first == 0 {
		events++
		_, err := decideAll(ctx, l, yardID, "rules", []yard.Command{yard.SetRules{
			Rules: yard.Rules{TimeZone: "Etc/UTC", BeamMinAgeDays: 14, BlockMinAgeDays: 28, BeamsPerStackTier: 4},
		}})
		if err != nil {
			return 0, err
		}
	}
	perStory := 3 + 3*goes + goes/64 + 1
	for first < last {
		n := min(last-first, max(1, mostTogether/perStory))
		var commands []yard.Command
		for i := range n {
			commands = append(commands, story(first+i, goes)...)
		}
		written, err := decideAll(ctx, l, yardID, fmt.Sprintf("story-%d", first), commands)
		if err != nil {
			return events, err
		}
		events, first = events+written, first+n
	}
	return events, nil
}

// decideAll carries out several commands as one.
func decideAll(ctx context.Context, l *api.Ledger, yardID, request string, commands []yard.Command) (int, error) {
	done, err := l.Do(ctx, yardID, ledger.Command[yard.State, yard.Event]{
		RequestID: request, Fingerprint: []byte(request), Actor: "Bench Clerk", Time: noon{}.Now(),
		Decide: func(s yard.State) ([]yard.Event, error) {
			var events []yard.Event
			for _, c := range commands {
				more, err := yard.Decide(s, c)
				if err != nil {
					return nil, err
				}
				s, events = yard.EvolveAll(s, more), slices.Concat(events, more)
			}
			return events, nil
		},
	})
	return len(done.Events), err
}

package stores

import (
	"cmp"
	"context"
	"slices"
	"time"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/dispatch/internal/morning"
)

// picksTime is how long a dispatcher waits for the yard's picks at most. After
// it the plan keeps the picks that were made without the yard.
const picksTime = 5 * time.Second

// Picks has stock choose the beams of a plan anew, of those that are equal, and
// plan what is moved aside for them. A plan that stock cannot help with keeps
// its own picks, and says why.
func (s *Stores) Picks(ctx context.Context, yard string, plan morning.Plan, atLeast uint64) morning.Plan {
	ctx, cancel := context.WithTimeout(ctx, picksTime)
	defer cancel()
	order := loadingOrder(plan.Runs)
	wanted := wantedPieces(plan.Runs, order)
	if len(wanted) == 0 {
		return plan
	}
	answer, err := s.client.PlanPicks(ctx, &stockv1.PlanPicksRequest{Yard: yard, Wanted: wanted, AtLeast: atLeast})
	if err != nil {
		plan.PicksNote = "Stock could not plan the picks; what is moved aside was counted without knowing where it goes: " + err.Error()
		return plan
	}
	return apply(plan, order, answer)
}

// loadingOrder returns the runs in the order in which they are loaded.
func loadingOrder(runs []morning.Run) []int {
	order := make([]int, len(runs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(runs[a].LoadingMinute, runs[b].LoadingMinute) })
	return order
}

// wantedPieces asks for every beam of the picks in loading order. The beams of
// a tier may be picked in any order.
func wantedPieces(runs []morning.Run, order []int) []*stockv1.WantedPiece {
	var wanted []*stockv1.WantedPiece
	group := int32(0)
	for _, i := range order {
		jobs := map[string]string{}
		for _, pile := range runs[i].Piles {
			for _, tier := range pile.Tiers {
				for _, item := range tier.Items {
					jobs[item.PieceID] = item.JobID
				}
			}
		}
		pile, tier := 0, 0
		for _, p := range runs[i].Picks {
			if p.BlockKind != "" {
				continue
			}
			if p.PileNumber != pile || p.PileTier != tier {
				group++
				pile, tier = p.PileNumber, p.PileTier
			}
			wanted = append(wanted, &stockv1.WantedPiece{
				Profile: p.Beam.Profile, WirePattern: p.Beam.WirePattern, LengthMm: int32(p.Beam.LengthMM), MassG: p.MassG,
				JobId: jobs[p.PieceID], Mark: p.Mark, Group: group,
			})
		}
		group++
	}
	return wanted
}

// apply gives the planned beams to the places of the plan.
func apply(plan morning.Plan, order []int, answer *stockv1.PlanPicksResponse) morning.Plan {
	plan.Runs = slices.Clone(plan.Runs)
	next := 0
	// at says which pick of which run has a place in the order of picking.
	type place struct{ run, pick int }
	at := map[int32]place{}
	for _, i := range order {
		r := &plan.Runs[i]
		picks := slices.Clone(r.Picks)
		numbers := make([]int32, len(picks))
		renamed := map[string]*stockv1.PlannedPick{}
		for k := range picks {
			if p := &picks[k]; p.BlockKind == "" {
				planned := answer.GetPicks()[next]
				next++
				renamed[p.PieceID] = planned
				p.PieceID, p.BatchID, p.StackID, p.StackTier = planned.GetPieceId(), planned.GetBatchId(), planned.GetStackId(), int(planned.GetTier())
				numbers[k] = planned.GetNumber()
			}
		}
		r.Picks = byNumber(picks, numbers)
		for k, p := range r.Picks {
			if p.BlockKind == "" {
				at[numberOf(answer, p.PieceID)] = place{i, k + 1}
			}
		}
		r.Piles = rename(r.Piles, renamed)
		r.Moves = nil
	}
	for _, m := range answer.GetMoves() {
		p := at[m.GetBeforePick()]
		r := &plan.Runs[p.run]
		r.Moves = append(r.Moves, morning.Move{PieceID: m.GetPieceId(), FromID: m.GetFromStackId(), ToID: m.GetToStackId(), BeforePick: p.pick})
	}
	plan.MovedAside, plan.MovedAsideBound, plan.ByStock, plan.PicksNote = len(answer.GetMoves()), int(answer.GetMovesBound()), true, ""
	return plan
}

func numberOf(answer *stockv1.PlanPicksResponse, pieceID string) int32 {
	i := slices.IndexFunc(answer.GetPicks(), func(p *stockv1.PlannedPick) bool { return p.GetPieceId() == pieceID })
	return answer.GetPicks()[i].GetNumber()
}

// byNumber puts the beams of each tier into the order in which they are picked.
func byNumber(picks []morning.Pick, numbers []int32) []morning.Pick {
	index := make([]int, len(picks))
	for i := range index {
		index[i] = i
	}
	for from := 0; from < len(picks); {
		to := from + 1
		for to < len(picks) && picks[to].PileNumber == picks[from].PileNumber && picks[to].PileTier == picks[from].PileTier {
			to++
		}
		slices.SortStableFunc(index[from:to], func(a, b int) int { return cmp.Compare(numbers[a], numbers[b]) })
		from = to
	}
	out := make([]morning.Pick, len(picks))
	for i, k := range index {
		out[i] = picks[k]
		out[i].Number = i + 1
	}
	return out
}

// rename gives the beams of piles the ids that were planned for them.
func rename(piles []morning.Pile, planned map[string]*stockv1.PlannedPick) []morning.Pile {
	out := slices.Clone(piles)
	for p := range out {
		out[p].Tiers = slices.Clone(out[p].Tiers)
		for t := range out[p].Tiers {
			items := slices.Clone(out[p].Tiers[t].Items)
			for i := range items {
				if now := planned[items[i].PieceID]; now != nil {
					items[i].PieceID, items[i].BatchID = now.GetPieceId(), now.GetBatchId()
				}
			}
			out[p].Tiers[t].Items = items
		}
	}
	return out
}

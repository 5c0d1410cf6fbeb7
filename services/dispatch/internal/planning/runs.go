package planning

import (
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
)

// RunsOf returns runs of the book as the planner speaks of them.
func RunsOf(runs []daybook.Run) []morning.Run {
	out := make([]morning.Run, len(runs))
	for i := range runs {
		out[i] = runOf(&runs[i])
	}
	return out
}

// runOf is the inverse of run.
func runOf(r *daybook.Run) morning.Run {
	out := morning.Run{
		TruckID: r.TruckID, Trip: r.Trip, LoadingMinute: r.LoadingMinute, LeaveMinute: r.LeaveMinute,
		BackMinute: r.BackMinute, DistanceM: r.DistanceM, MassG: r.MassG,
	}
	for _, d := range r.Drops {
		out.Drops = append(out.Drops, morning.Drop(d))
	}
	for _, a := range r.AxleLoads {
		out.AxleLoads = append(out.AxleLoads, morning.AxleLoads{AfterDrop: a.AfterDrop, FrontKg: a.FrontKG, RearKg: a.RearKG})
	}
	for _, m := range r.Moves {
		out.Moves = append(out.Moves, morning.Move(m))
	}
	for i := range r.Piles {
		out.Piles = append(out.Piles, pileOf(&r.Piles[i]))
	}
	for _, p := range r.Picks {
		out.Picks = append(out.Picks, morning.Pick{
			Number: p.Number, PieceID: p.PieceID, StackID: p.StackID, StackTier: p.StackTier, Mark: p.Mark,
			Beam: morning.Product(p.Beam), BlockKind: p.BlockKind, BlockCount: p.BlockCount, MassG: p.MassG,
			PileNumber: p.PileNumber, PileTier: p.PileTier, BatchID: p.BatchID,
		})
	}
	return out
}

func pileOf(p *daybook.Pile) morning.Pile {
	out := morning.Pile{
		Number: p.Number, DropNumber: p.DropNumber, Lane: p.Lane, FromMM: p.FromMM, LeftMM: p.LeftMM,
		LengthMM: p.LengthMM, WidthMM: p.WidthMM, HeightMM: p.HeightMM, MassG: p.MassG,
	}
	for _, t := range p.Tiers {
		var tier morning.Tier
		for _, i := range t {
			tier.Items = append(tier.Items, morning.Item{
				PieceID: i.PieceID, Mark: i.Mark, Beam: morning.Product(i.Beam), BlockKind: i.BlockKind, BlockCount: i.BlockCount,
				MassG: i.MassG, JobID: i.FloorKey.JobID, Floor: i.FloorKey.Floor, Room: i.Room,
				CallOffID: i.CallOffID, LayingNumber: i.LayingNumber, BatchID: i.BatchID,
			})
		}
		out.Tiers = append(out.Tiers, tier)
	}
	return out
}

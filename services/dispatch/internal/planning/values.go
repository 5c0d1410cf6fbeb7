package planning

import (
	"slices"
	"time"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/kit/fault"
)

func rulesOf(r daybook.Rules) morning.Rules {
	return morning.Rules{
		Place:             morning.Place(r.Place),
		RoadFactorPercent: r.RoadFactorPercent,
		SpeedKmPerH:       r.SpeedKMPerH,
		LoadingMinutes:    r.LoadingMinutes,
		MaxTiers:          r.MaxTiers,
		MaxPileHeightMM:   r.MaxPileHeightMM,
		BearerHeightMM:    r.BearerHeightMM,
		BearerInsetMM:     r.BearerInsetMM,
		MaxOverhangMM:     r.MaxOverhangMM,
		PileGapMM:         r.PileGapMM,
		MaxLanes:          r.MaxLanes,
		MaxTailOverhangMM: r.MaxTailOverhangMM,

		LoadingBays:           r.LoadingBays,
		Forklifts:             r.Forklifts,
		LoadingMinutesPerPile: r.LoadingMinutesPerPile,
		Driver:                morning.DriverRules(r.Driver),
	}
}

// trucks returns the trucks that may drive.
func trucks(all []daybook.Truck, without []string) ([]morning.Truck, error) {
	refusal := fault.New(fault.Invalid, "TRUCK_UNKNOWN", "A truck that is to stay in the yard is not one of its trucks.")
	for _, id := range without {
		if !slices.ContainsFunc(all, func(t daybook.Truck) bool { return t.ID == id }) {
			refusal.At("without_truck_ids", id, "is no truck of this yard", "ids from the list of trucks")
		}
	}
	if len(refusal.Places) > 0 {
		return nil, refusal
	}
	var out []morning.Truck
	for _, t := range all {
		if slices.Contains(without, t.ID) {
			continue
		}
		out = append(out, morning.Truck{
			ID:              t.ID,
			Name:            t.Name,
			DeckLengthMM:    t.DeckLengthMM,
			DeckWidthMM:     t.DeckWidthMM,
			PayloadKg:       t.PayloadKG,
			TareFrontKg:     t.TareFrontKG,
			TareRearKg:      t.TareRearKG,
			MaxFrontKg:      t.MaxFrontKG,
			MaxRearKg:       t.MaxRearKG,
			WheelbaseMM:     t.WheelbaseMM,
			DeckStartMM:     t.DeckStartMM,
			OverallLengthMM: t.OverallLengthMM,
			MaxGrossKg:      t.MaxGrossKG,
			Hours:           morning.Window(t.Hours),
			HasCrane:        t.HasCrane,
			MaxDrops:        t.MaxDrops,
		})
	}
	return out, nil
}

func site(s daybook.Site) morning.Site {
	return morning.Site{
		ID:                   s.ID,
		Name:                 s.Name,
		Place:                morning.Place(s.Place),
		MaxGrossKg:           s.MaxGrossKG,
		MaxVehicleLengthMM:   s.MaxVehicleLengthMM,
		Opens:                morning.Window(s.Opens),
		UnloadFixedMinutes:   s.UnloadFixedMinutes,
		UnloadMinutesPerPile: s.UnloadMinutesPerPile,
		HasLifting:           s.HasLifting,
		Places:               s.Places,
		LaidPerHour:          s.LaidPerHour,
		HoldsBeams:           s.HoldsBeams,
	}
}

func order(w daybook.Wanted, wishes daybook.Wishes) morning.Order {
	o := morning.Order{
		CallOffID: w.CallOff.ID, SiteID: w.CallOff.SiteID, JobID: w.CallOff.JobID,
		Floor: w.CallOff.Floor, Window: morning.Window(w.CallOff.Window),
	}
	for _, f := range wishes.Forbidden {
		if f.CallOffID == o.CallOffID {
			o.NotBy = append(o.NotBy, f.TruckID)
		}
	}
	for _, r := range w.Rooms {
		room := morning.Room{Name: r.Room, BlockKind: r.BlockKind, BlockCount: r.BlockCount}
		for _, b := range r.Beams {
			room.Beams = append(room.Beams, morning.Beam{Mark: b.Mark, Product: morning.Product(b.Product), MassG: b.MassG})
		}
		o.Rooms = append(o.Rooms, room)
	}
	return o
}

// busy returns the runs of the day that hold a truck and places at sites.
func busy(runs []*daybook.RunStatus) []morning.BusyRun {
	var out []morning.BusyRun
	for _, r := range runs {
		if r.State == daybook.RunCancelledState {
			continue
		}
		b := morning.BusyRun{
			TruckID: r.Run.TruckID, Trip: r.Run.Trip, LoadingMinute: r.Run.LoadingMinute, LeaveMinute: r.Run.LeaveMinute, BackMinute: r.Run.BackMinute,
		}
		beams := map[int]int{}
		for _, p := range r.Run.Piles {
			for _, t := range p.Tiers {
				for _, item := range t {
					if !item.IsPallet() {
						beams[p.DropNumber]++
					}
				}
			}
		}
		left := r.Run.LeaveMinute
		for _, d := range r.Run.Drops {
			b.Stops = append(b.Stops, morning.BusyStop{SiteID: d.SiteID, UnloadMinute: d.UnloadMinute, LeaveMinute: d.LeaveMinute, Beams: beams[d.Number]})
			b.DrivingMinutes += d.ArriveMinute - left
			left = d.LeaveMinute
		}
		b.DrivingMinutes += r.Run.BackMinute - left
		out = append(out, b)
	}
	return out
}

// Made says how a plan came about.
type Made struct {
	Day           string
	By            string
	At            time.Time
	TookMS        int
	StockPosition uint64
}

// Plan returns the planner's plan as one of the book. Ids of the plan, its
// runs and its pallets are the book's to give.
func Plan(p morning.Plan, aside []daybook.Unserved, m Made) daybook.Plan {
	out := daybook.Plan{
		Day:             m.Day,
		PlannedBy:       m.By,
		PlannedAt:       m.At,
		TookMS:          m.TookMS,
		StockPosition:   m.StockPosition,
		RunLowerBound:   p.LowerBound,
		BoundReason:     p.BoundReason,
		MovedAsideCount: p.MovedAside,
		MovedAsideBound: p.MovedAsideBound,
		PicksNote:       p.PicksNote,

		CrewWaitingMinutes: p.CrewWaitingMinutes,
		Unserved:           slices.Clone(aside),
	}
	for _, u := range p.Unserved {
		out.Unserved = append(out.Unserved, daybook.Unserved{
			CallOffID: u.CallOffID, SiteID: u.SiteID, Room: u.Room, BeamCount: u.BeamCount, BlockCount: u.BlockCount,
			MassG: u.MassG, Reason: daybook.UnservedReason(u.Reason), Sentence: u.Sentence,
		})
	}
	for _, r := range p.Runs {
		out.Runs = append(out.Runs, run(r))
	}
	return out
}

func run(r morning.Run) daybook.Run {
	out := daybook.Run{
		TruckID: r.TruckID, Trip: r.Trip, LoadingMinute: r.LoadingMinute, LeaveMinute: r.LeaveMinute,
		BackMinute: r.BackMinute, DistanceM: r.DistanceM, MassG: r.MassG,
	}
	for _, d := range r.Drops {
		out.Drops = append(out.Drops, daybook.Drop(d))
	}
	for _, a := range r.AxleLoads {
		out.AxleLoads = append(out.AxleLoads, daybook.AxleLoads{AfterDrop: a.AfterDrop, FrontKG: a.FrontKg, RearKG: a.RearKg})
	}
	for _, m := range r.Moves {
		out.Moves = append(out.Moves, daybook.AsideMove(m))
	}
	for _, p := range r.Piles {
		out.Piles = append(out.Piles, pile(p))
	}
	for _, p := range r.Picks {
		out.Picks = append(out.Picks, daybook.Pick{
			Number: p.Number, PieceID: p.PieceID, StackID: p.StackID, StackTier: p.StackTier, Mark: p.Mark,
			Beam: daybook.Product(p.Beam), BlockKind: p.BlockKind, BlockCount: p.BlockCount, MassG: p.MassG,
			PileNumber: p.PileNumber, PileTier: p.PileTier, BatchID: p.BatchID,
		})
	}
	return out
}

func pile(p morning.Pile) daybook.Pile {
	out := daybook.Pile{
		Number: p.Number, DropNumber: p.DropNumber, Lane: p.Lane, FromMM: p.FromMM, LeftMM: p.LeftMM,
		LengthMM: p.LengthMM, WidthMM: p.WidthMM, HeightMM: p.HeightMM, MassG: p.MassG,
	}
	for _, t := range p.Tiers {
		var items []daybook.Item
		for _, i := range t.Items {
			items = append(items, daybook.Item{
				PieceID: i.PieceID, Mark: i.Mark, Beam: daybook.Product(i.Beam), BlockKind: i.BlockKind, BlockCount: i.BlockCount,
				MassG: i.MassG, FloorKey: daybook.FloorKey{JobID: i.JobID, Floor: i.Floor}, Room: i.Room,
				CallOffID: i.CallOffID, LayingNumber: i.LayingNumber, BatchID: i.BatchID,
			})
		}
		out.Tiers = append(out.Tiers, items)
	}
	return out
}

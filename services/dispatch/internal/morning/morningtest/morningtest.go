// Package morningtest makes up mornings for the tests of planning: an invented
// yard with trucks of several sizes, sites with and without limits, rooms of
// beams and blocks, and stacks to take them from.
package morningtest

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"

	"spanyard.example/services/dispatch/internal/morning"
)

// Options say what a morning is like.
type Options struct {
	Seed     uint64
	Trucks   int
	CallOffs int
	// Rooms of each call-off, at most.
	Rooms int
	// BeamsPerRoom on average.
	BeamsPerRoom int
	// Hard mornings have tight windows, small sites, scarce stock, confirmed runs,
	// few bays, drivers who rest, crews with a pace, and some known ways.
	Hard bool
}

// Busy is the morning that times are measured on: 10 call-offs of about 400
// beams, 5 trucks.
func Busy() morning.Problem {
	p := Make(Options{Seed: 7, Trucks: 5, CallOffs: 10, Rooms: 4, BeamsPerRoom: 10})
	for i := range p.Orders {
		// Every second call-off is wanted early, the others by the afternoon.
		if i%2 == 1 {
			p.Orders[i].Window.ClosesMinute = 16 * 60
		}
	}
	return p
}

// Make makes up a morning; the same options give the same morning.
func Make(o Options) morning.Problem {
	m := maker{Options: o, random: rand.New(rand.NewPCG(o.Seed, 11))}
	m.problem = morning.Problem{
		Rules: morning.Rules{
			Place: morning.Place{LatitudeDeg: -31.2, LongitudeDeg: 27.4}, RoadFactorPercent: 130, SpeedKmPerH: 50,
			LoadingMinutes: 30, MaxTiers: 6, MaxPileHeightMM: 1400, BearerHeightMM: 75, BearerInsetMM: 300,
			MaxOverhangMM: 300, PileGapMM: 100, MaxLanes: 2, MaxTailOverhangMM: 500,
		},
		Profiles:     []morning.Profile{{Name: "P150", HeightMM: 150, WidthMM: 140}, {Name: "P200", HeightMM: 200, WidthMM: 160}},
		PalletPrefix: "plan-", Seed: o.Seed,
		BlockKinds: []morning.BlockKind{
			{Name: "B440", BlocksPerPallet: 60, PalletLengthMM: 1200, PalletWidthMM: 1000, PalletHeightMM: 1100, PalletTareG: 25_000, MassG: 14_000},
			{Name: "B200", BlocksPerPallet: 90, PalletLengthMM: 1300, PalletWidthMM: 900, PalletHeightMM: 1000, PalletTareG: 25_000, MassG: 7_000},
		},
	}
	m.trucks()
	m.sites()
	m.orders()
	m.stock()
	if o.Hard {
		m.confirmed()
		m.limits()
	}
	return m.problem
}

type maker struct {
	Options
	random  *rand.Rand
	problem morning.Problem
}

// fleet are the yard's kinds of trucks: a three-axle one, a two-axle one with
// a crane, and a small one.
var fleet = []morning.Truck{
	{
		DeckLengthMM: 8000, DeckWidthMM: 2450, PayloadKg: 14500, TareFrontKg: 6500, TareRearKg: 4500, MaxFrontKg: 8600,
		MaxRearKg: 18000, WheelbaseMM: 5275, DeckStartMM: 700, OverallLengthMM: 10200, MaxGrossKg: 26000, HasCrane: true,
	},
	{
		DeckLengthMM: 6800, DeckWidthMM: 2450, PayloadKg: 9000, TareFrontKg: 4200, TareRearKg: 2800, MaxFrontKg: 7100,
		MaxRearKg: 11500, WheelbaseMM: 5200, DeckStartMM: 600, OverallLengthMM: 8600, MaxGrossKg: 18000, HasCrane: true,
	},
	{
		DeckLengthMM: 6200, DeckWidthMM: 2200, PayloadKg: 5500, TareFrontKg: 3100, TareRearKg: 2300, MaxFrontKg: 4600,
		MaxRearKg: 8000, WheelbaseMM: 4200, DeckStartMM: 500, OverallLengthMM: 7900, MaxGrossKg: 12000, HasCrane: false,
	},
}

func (m *maker) trucks() {
	for i := range m.Trucks {
		t := fleet[i%len(fleet)]
		t.ID = fmt.Sprintf("truck-%d", i+1)
		t.Name = t.ID
		t.Hours = morning.Window{OpensMinute: 5 * 60, ClosesMinute: 17 * 60}
		m.problem.Trucks = append(m.problem.Trucks, t)
	}
}

func (m *maker) sites() {
	n := max(1, m.CallOffs*4/5)
	for i := range n {
		s := morning.Site{
			ID: fmt.Sprintf("site-%02d", i+1), Name: fmt.Sprintf("Hollow Lane %d", i+1),
			Place: morning.Place{
				LatitudeDeg:  m.problem.Rules.Place.LatitudeDeg + (m.random.Float64()-0.5)*0.5,
				LongitudeDeg: m.problem.Rules.Place.LongitudeDeg + (m.random.Float64()-0.5)*0.5,
			},
			Opens:              morning.Window{OpensMinute: 6 * 60, ClosesMinute: 16 * 60},
			UnloadFixedMinutes: 15, UnloadMinutesPerPile: 5, HasLifting: i%3 != 1, Places: 1 + i%2,
		}
		if i%5 == 3 {
			s.MaxGrossKg = 12000
			s.HasLifting = true
		}
		if m.Hard && m.random.IntN(5) == 0 {
			s.MaxGrossKg = 5000 + 1000*m.random.IntN(15)
			s.MaxVehicleLengthMM = 7500 + 500*m.random.IntN(6)
		}
		m.problem.Sites = append(m.problem.Sites, s)
	}
}

func (m *maker) orders() {
	for i := range m.CallOffs {
		site := m.problem.Sites[i%len(m.problem.Sites)]
		opens := 6*60 + 30*m.random.IntN(8)
		o := morning.Order{
			CallOffID: fmt.Sprintf("call-%02d", i+1), SiteID: site.ID, JobID: fmt.Sprintf("job-%02d", i+1), Floor: "1",
			Window: morning.Window{OpensMinute: opens, ClosesMinute: opens + 180 + 30*m.random.IntN(6)},
		}
		if m.Hard {
			o.Window.ClosesMinute = opens + 30*m.random.IntN(10)
		}
		rooms := m.Rooms
		if m.Hard {
			rooms = 1 + m.random.IntN(m.Rooms)
		}
		for r := range rooms {
			o.Rooms = append(o.Rooms, m.room(o.Floor, r+1))
		}
		m.problem.Orders = append(m.problem.Orders, o)
	}
}

func (m *maker) room(floor string, number int) morning.Room {
	room := morning.Room{Name: fmt.Sprintf("%02d", number), BlockKind: "B440"}
	product := morning.Product{Profile: "P150", WirePattern: "W5", LengthMM: 2400 + 300*m.random.IntN(12)}
	if m.random.IntN(4) == 0 {
		product.Profile, product.WirePattern, room.BlockKind = "P200", "W7", "B200"
	}
	n := max(1, m.BeamsPerRoom/2+m.random.IntN(m.BeamsPerRoom+1))
	room.BlockCount = n * product.LengthMM / 220
	if m.Hard && m.random.IntN(3) == 0 {
		room.BlockCount = 0
	}
	for i := range n {
		b := morning.Beam{Mark: fmt.Sprintf("%s-%02d-%02d", floor, number, i+1), Product: product}
		if m.random.IntN(6) == 0 {
			b.Product.LengthMM -= 100 * m.random.IntN(m.shorter())
		}
		b.MassG = massG(b.Product)
		room.Beams = append(room.Beams, b)
	}
	return room
}

// shorter is how many lengths, 100 mm apart, the beams of a room have.
func (m *maker) shorter() int {
	if m.Hard {
		return 9
	}
	return 4
}

// massG of a beam: 34 kg a metre, 48 kg for the deeper profile.
func massG(p morning.Product) int64 {
	if p.Profile == "P200" {
		return int64(p.LengthMM) * 48
	}
	return int64(p.LengthMM) * 34
}

// stock puts pieces for the orders, and some more, on stacks of 5 a tier.
func (m *maker) stock() {
	var products []morning.Product
	blocks := map[string]int{}
	for _, o := range m.problem.Orders {
		for _, r := range o.Rooms {
			blocks[r.BlockKind] += r.BlockCount
			for _, b := range r.Beams {
				products = append(products, b.Product)
				if m.random.IntN(10) == 0 {
					products = append(products, b.Product)
				}
			}
		}
	}
	if m.Hard && m.random.IntN(2) == 0 && len(products) > 0 {
		products = products[:len(products)*(8+m.random.IntN(3))/10]
	}
	m.random.Shuffle(len(products), func(i, j int) { products[i], products[j] = products[j], products[i] })
	slices.SortStableFunc(products, func(a, b morning.Product) int {
		if m.Hard {
			return cmp.Compare(a.Profile, b.Profile)
		}
		// In a tidy yard a stack holds few lengths.
		return cmp.Or(cmp.Compare(a.Profile, b.Profile), cmp.Compare(a.LengthMM, b.LengthMM))
	})
	m.stacks(products)
	for i, k := range m.problem.BlockKinds {
		left := blocks[k.Name] + 20
		if m.Hard && m.random.IntN(4) == 0 {
			left = blocks[k.Name] * 9 / 10
		}
		for lot := 0; left > 0; lot++ {
			n := min(left, 150+m.random.IntN(400))
			left -= n
			m.problem.Stock.Blocks = append(m.problem.Stock.Blocks, morning.FreeBlocks{
				BatchID: fmt.Sprintf("BB%d%02d", i, lot/2), Kind: k.Name, Count: n, MassGEach: k.MassG + int64(lot/2)*50,
				StackID: fmt.Sprintf("Y%d%02d", i, lot), ReleaseRank: lot / 2,
			})
		}
	}
}

func (m *maker) stacks(products []morning.Product) {
	const perStack, perTier = 30, 5
	for i, p := range products {
		stack, place := i/perStack, i%perStack
		inStack := min(perStack, len(products)-stack*perStack)
		tier := place/perTier + 1
		above := max(0, inStack-tier*perTier)
		if m.Hard {
			// Pieces that are somebody's lie among the free ones.
			above += 2
		}
		keptFor := ""
		if m.Hard && m.random.IntN(12) == 0 {
			keptFor = m.problem.Orders[m.random.IntN(len(m.problem.Orders))].JobID
		}
		m.problem.Stock.Beams = append(m.problem.Stock.Beams, morning.FreeBeam{
			PieceID: fmt.Sprintf("B%02d-%03d", stack/2, i+1), BatchID: fmt.Sprintf("B%02d", stack/2), Product: p,
			MassG: massG(p) + int64(stack/2)*200, StackID: fmt.Sprintf("S%02d", stack), Tier: tier, Above: above,
			ReleaseRank: stack / 4, KeptFor: keptFor,
		})
	}
}

// confirmed puts a confirmed run on some trucks.
func (m *maker) confirmed() {
	for i, t := range m.problem.Trucks {
		if m.random.IntN(3) > 0 {
			continue
		}
		from := 5*60 + 30*m.random.IntN(10)
		m.problem.Busy = append(m.problem.Busy, morning.BusyRun{
			TruckID: t.ID, Trip: 1, LoadingMinute: from, LeaveMinute: from + 30, BackMinute: from + 150, DrivingMinutes: 90,
			Stops: []morning.BusyStop{{SiteID: m.problem.Sites[i%len(m.problem.Sites)].ID, UnloadMinute: from + 60, LeaveMinute: from + 90, Beams: 5}},
		})
	}
}

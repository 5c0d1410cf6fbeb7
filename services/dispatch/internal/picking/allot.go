// Package picking chooses the pieces of the yard for what is called off, and
// the order in which they are picked.
//
// Pieces are chosen twice. Before loads are built, every beam and pallet that
// can be had gets a piece, so that loads are built with true masses. When the
// runs are known, beams of equal product and mass are dealt out again in the
// order of loading, oldest batch first and from the tops of the stacks: that
// changes no load, and spares the yard from lifting stacks apart.
package picking

import (
	"cmp"
	"fmt"
	"slices"

	"spanyard.example/services/dispatch/internal/loading"
	"spanyard.example/services/dispatch/internal/morning"
)

// Lot is what an order gets: everything in laying order, or all before Cut.
type Lot struct {
	Order *morning.Order
	Units []loading.Unit
	// Cut says where and why the lot ends; nil when it is whole.
	Cut *Cut
}

// Cut is the first thing of an order that cannot be had.
type Cut struct {
	// Number is the laying number of the first thing that is left out.
	Number   int
	Reason   morning.Reason
	Sentence string
}

// Allot gives every order the pieces it needs, in laying order and up to the
// first that is missing: what lies behind it could not be laid. Orders with
// the earliest window choose first, and the oldest batch goes first. An order
// with an entry in cuts gets nothing from that number on, and the pieces stay
// for the others. What fixed runs bring is theirs and in no lot.
func Allot(p morning.Problem, cuts map[string]Cut) []Lot {
	a := newAllotment(p)
	lots := make([]Lot, len(p.Orders))
	first := firstNumbers(p.Orders)
	for _, i := range byUrgency(p.Orders) {
		o := &p.Orders[i]
		lots[i].Order = o
		if c, ok := cuts[o.CallOffID]; ok {
			lots[i].Cut = &c
		}
		a.fill(&lots[i], first[i])
	}
	return lots
}

type allotment struct {
	problem  morning.Problem
	fixed    fixed
	profiles map[string]morning.Profile
	kinds    map[string]morning.BlockKind
	// beams by product and the job that they are kept for, empty for anybody;
	// the next to go first.
	beams   map[shelf][]*morning.FreeBeam
	blocks  map[string][]*morning.FreeBlocks
	pallets int
}

// shelf is where the beams of a product lie that one job may have, or all.
type shelf struct {
	product morning.Product
	keptFor string
}

// open returns the shelf from which a job's next beam of a product comes: what
// is kept for it before what is for anybody.
func (a *allotment) open(product morning.Product, jobID string) shelf {
	if own := (shelf{product, jobID}); len(a.beams[own]) > 0 {
		return own
	}
	return shelf{product, ""}
}

func newAllotment(p morning.Problem) *allotment {
	a := &allotment{
		problem:  p,
		fixed:    fixedOf(p),
		profiles: map[string]morning.Profile{},
		kinds:    map[string]morning.BlockKind{},
		beams:    map[shelf][]*morning.FreeBeam{},
		blocks:   map[string][]*morning.FreeBlocks{},
	}
	for _, f := range p.Profiles {
		a.profiles[f.Name] = f
	}
	for _, k := range p.BlockKinds {
		a.kinds[k.Name] = k
	}
	for _, b := range a.fixed.free(p.Stock.Beams) {
		at := shelf{b.Product, b.KeptFor}
		a.beams[at] = append(a.beams[at], b)
	}
	for _, of := range a.beams {
		slices.SortFunc(of, func(x, y *morning.FreeBeam) int {
			return cmp.Or(
				cmp.Compare(x.ReleaseRank, y.ReleaseRank), cmp.Compare(x.BatchID, y.BatchID),
				cmp.Compare(x.Above, y.Above), cmp.Compare(x.PieceID, y.PieceID))
		})
	}
	for _, b := range p.Stock.Blocks {
		a.blocks[b.Kind] = append(a.blocks[b.Kind], &b)
	}
	for _, of := range a.blocks {
		slices.SortFunc(of, func(x, y *morning.FreeBlocks) int {
			return cmp.Or(
				cmp.Compare(x.ReleaseRank, y.ReleaseRank), cmp.Compare(x.BatchID, y.BatchID),
				cmp.Compare(x.StackID, y.StackID))
		})
	}
	a.takeFixed()
	return a
}

// fill takes pieces for the lot, whose first laying number is given.
func (a *allotment) fill(lot *Lot, number int) {
	o := lot.Order
	for _, room := range o.Rooms {
		item := morning.Item{JobID: o.JobID, Floor: o.Floor, Room: room.Name, CallOffID: o.CallOffID}
		if room.BlockCount > 0 {
			item.LayingNumber = number
			if lot.ends(number) || !a.fillBlocks(lot, a.fixed.still(o, room), item) {
				return
			}
			number++
		}
		for i := range room.Beams {
			item.LayingNumber = number
			if lot.ends(number) || !a.fixed.brings(o, &room.Beams[i]) && !a.fillBeam(lot, room, i, item) {
				return
			}
			number++
		}
	}
	lot.Cut = nil
}

func (l *Lot) ends(number int) bool { return l.Cut != nil && number >= l.Cut.Number }

func (l *Lot) cut(number int, reason morning.Reason, format string, args ...any) bool {
	l.Cut = &Cut{Number: number, Reason: reason, Sentence: fmt.Sprintf(format, args...)}
	return false
}

// fillBlocks puts a room's blocks on pallets; each pallet holds blocks of one
// batch and one stack.
func (a *allotment) fillBlocks(lot *Lot, room morning.Room, item morning.Item) bool {
	kind, known := a.kinds[room.BlockKind]
	if !known || kind.BlocksPerPallet < 1 {
		return lot.cut(item.LayingNumber, morning.DoesNotFit,
			"the pallet size of blocks %s for %s is not known", room.BlockKind, roomName(lot.Order, room))
	}
	free := 0
	for _, b := range a.blocks[kind.Name] {
		free += b.Count
	}
	if free < room.BlockCount {
		return lot.cut(item.LayingNumber, morning.NoStock, "%s %s short for %s; %d of the %d it needs are free",
			count(room.BlockCount-free, "block "+kind.Name, "blocks "+kind.Name), isAre(room.BlockCount-free),
			roomName(lot.Order, room), free, room.BlockCount)
	}
	left := room.BlockCount
	for _, b := range a.blocks[kind.Name] {
		for left > 0 && b.Count > 0 {
			n := min(left, b.Count, kind.BlocksPerPallet)
			b.Count -= n
			left -= n
			item.PieceID = a.nextPallet()
			item.BatchID, item.BlockKind, item.BlockCount = b.BatchID, kind.Name, n
			item.MassG = int64(n)*b.MassGEach + kind.PalletTareG
			lot.Units = append(lot.Units, loading.Unit{
				Item: item, LengthMM: kind.PalletLengthMM, WidthMM: kind.PalletWidthMM, HeightMM: kind.PalletHeightMM,
				StackID: b.StackID,
			})
		}
	}
	return true
}

// fillBeam takes the next free beam for the room's beam with the index.
func (a *allotment) fillBeam(lot *Lot, room morning.Room, index int, item morning.Item) bool {
	want := room.Beams[index]
	profile, known := a.profiles[want.Product.Profile]
	if !known {
		return lot.cut(item.LayingNumber, morning.DoesNotFit,
			"the size of profile %s for %s is not known", want.Product.Profile, roomName(lot.Order, room))
	}
	from := a.open(want.Product, item.JobID)
	free := a.beams[from]
	if len(free) == 0 {
		short, need := 0, 0
		for i, b := range room.Beams {
			if b.Product != want.Product || a.fixed.brings(lot.Order, &b) {
				continue
			}
			need++
			if i >= index {
				short++
			}
		}
		return lot.cut(item.LayingNumber, morning.NoStock, "%s %s short for %s; %d of the %d it needs are free%s",
			count(short, "beam "+ProductName(want.Product), "beams "+ProductName(want.Product)), isAre(short),
			roomName(lot.Order, room), need-short, need, a.keptForOthers(want.Product, item.JobID))
	}
	got := free[0]
	a.beams[from] = free[1:]
	if liked, ok := a.problem.Prefer[morning.BeamPlace{CallOffID: item.CallOffID, Mark: want.Mark}]; ok {
		if at := slices.IndexFunc(free, func(b *morning.FreeBeam) bool { return b.PieceID == liked }); at > 0 {
			got = free[at]
			a.beams[from] = slices.Delete(slices.Clone(free), at, at+1)
		}
	}
	item.PieceID, item.BatchID, item.MassG = got.PieceID, got.BatchID, got.MassG
	item.Mark, item.Beam = want.Mark, want.Product
	lot.Units = append(lot.Units, loading.Unit{
		Item: item, LengthMM: want.Product.LengthMM, WidthMM: profile.WidthMM, HeightMM: profile.HeightMM,
	})
	return true
}

// keptForOthers says how many beams of a product are made for other jobs.
func (a *allotment) keptForOthers(product morning.Product, jobID string) string {
	n := 0
	for at, beams := range a.beams {
		if at.product == product && at.keptFor != "" && at.keptFor != jobID {
			n += len(beams)
		}
	}
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(", and %d more %s kept for other jobs", n, isAre(n))
}

// ProductName is how the yard speaks of a product: "P150/W5 4.20 m".
func ProductName(p morning.Product) string {
	return fmt.Sprintf("%s/%s %s", p.Profile, p.WirePattern, Metres(p.LengthMM))
}

// Metres writes a length for people.
func Metres(mm int) string { return fmt.Sprintf("%.2f m", float64(mm)/1000) }

func roomName(o *morning.Order, r morning.Room) string {
	return fmt.Sprintf("room %s-%s of %s", o.Floor, r.Name, o.JobID)
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

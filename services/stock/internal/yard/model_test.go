package yard_test

import (
	"cmp"
	"slices"
	"time"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

// model is the yard as a clerk with a notebook would keep it: it knows the
// rules, but shares no code with the domain. It says of every command whether
// it must be accepted, and writes down what then holds.
type model struct {
	rules   yard.Rules
	zone    *time.Location
	batches map[string]*modelBatch
	pieces  map[string]*modelPiece
	// stacks hold beams, bottom first.
	stacks       map[string][]string
	reservations map[string]bool
}

type modelBatch struct {
	kind                  yard.Kind
	state                 yard.BatchState
	madeOn                civil.Day
	made, loose, scrapped int
	lotStack              string
	// groups are the results of one kind of specimen and one day.
	groups map[modelGroup]*modelResults
}

type modelGroup struct {
	specimen yard.Specimen
	day      civil.Day
}

// modelResults count results; one that fails makes all of them fail.
type modelResults struct {
	n   int
	bad bool
}

// stopped says whether results that fail were not made good by later ones, at
// least as many, of the same kind.
func (b *modelBatch) stopped() bool {
	for at, r := range b.groups {
		good := !r.bad
		for other, later := range b.groups {
			good = good || other.specimen == at.specimen && other.day > at.day && !later.bad && later.n >= r.n
		}
		if !good {
			return true
		}
	}
	return false
}

type modelPiece struct {
	batch, run, site, reservation string
	state                         yard.PieceState
	blocks                        int
	stack                         string
	profile, wires                string
	lengthMM                      int
	massG                         int64
	// keptFor is the job that a beam is made for.
	keptFor string
	// arrived says that it was delivered and has not come back whole.
	arrived bool
}

func newModel(rules yard.Rules) *model {
	zone, err := time.LoadLocation(rules.TimeZone)
	if err != nil {
		panic(err)
	}
	return &model{
		rules: rules, zone: zone,
		batches: map[string]*modelBatch{}, pieces: map[string]*modelPiece{}, stacks: map[string][]string{},
		reservations: map[string]bool{},
	}
}

// holds returns the batch that a stack holds.
func (m *model) holds(stack string) string {
	if ids := m.stacks[stack]; len(ids) > 0 {
		return m.pieces[ids[0]].batch
	}
	for id, b := range m.batches {
		if b.kind != yard.Blocks || b.lotStack != stack {
			continue
		}
		if b.loose > 0 || slices.ContainsFunc(m.of(id), func(p *modelPiece) bool { return p.state == yard.Reserved || p.state == yard.InYard }) {
			return id
		}
	}
	return ""
}

func (m *model) of(batch string) []*modelPiece {
	var list []*modelPiece
	for _, p := range m.pieces {
		if p.batch == batch && p.state != yard.Dissolved {
			list = append(list, p)
		}
	}
	return list
}

func (m *model) mayLeave(batch string) bool {
	b := m.batches[batch]
	return b != nil && b.state == yard.Released
}

// accepts says whether a command must be accepted.
func (m *model) accepts(command yard.Command) bool {
	switch c := command.(type) {
	case yard.ReceiveBatch:
		return m.acceptsBatch(c)
	case yard.RecordTest:
		b := m.batches[c.BatchID]
		return b != nil && c.TestedOn >= b.madeOn && c.TestedOn <= civil.DayOf(c.At, m.zone) &&
			(b.kind == yard.Blocks) == (c.Specimen == yard.Block)
	case yard.ReleaseBatch:
		b := m.batches[c.BatchID]
		if b == nil || c.By == "" || b.state != yard.Curing || b.stopped() || len(b.groups) == 0 {
			return false
		}
		age := int(civil.DayOf(c.At, m.zone) - b.madeOn)
		if b.kind == yard.Blocks {
			return age >= m.rules.BlockMinAgeDays
		}
		return age >= m.rules.BeamMinAgeDays
	case yard.QuarantineBatch:
		b := m.batches[c.BatchID]
		return b != nil && b.state != yard.Quarantined
	case yard.LiftQuarantine:
		b := m.batches[c.BatchID]
		return b != nil && b.state == yard.Quarantined
	case yard.ReservePieces:
		return m.acceptsReserve(c)
	case yard.DropReservation:
		return m.reservations[c.ReservationID]
	default:
		return m.acceptsPieces(command)
	}
}

func (m *model) acceptsBatch(c yard.ReceiveBatch) bool {
	if m.batches[c.BatchID] != nil || c.MadeOn > civil.DayOf(c.At, m.zone) {
		return false
	}
	if c.Kind == yard.Blocks {
		return m.holds(c.Lot.StackID) == ""
	}
	piles := map[string][]int{}
	for _, line := range c.Lines {
		if m.holds(line.StackID) != "" {
			return false
		}
		for range line.Count {
			if !m.stands(line.LengthMM, piles[line.StackID]) {
				return false
			}
			piles[line.StackID] = append(piles[line.StackID], line.LengthMM)
		}
	}
	return true
}

// stands says whether a beam may come on top of beams of these lengths.
func (m *model) stands(lengthMM int, below []int) bool {
	r := m.rules.Stacks
	if r.MaxTiers > 0 && len(below) >= r.MaxTiers*m.rules.BeamsPerStackTier {
		return false
	}
	for _, other := range below {
		if over := min(float64(r.MaxOverhangMM), float64(max(lengthMM, other))/5); r.MaxOverhangMM > 0 && float64(max(lengthMM, other)-min(lengthMM, other)) > 2*over {
			return false
		}
	}
	return true
}

// fits says whether a beam may come on top of a stack.
func (m *model) fits(p *modelPiece, stack string) bool {
	var below []int
	for _, id := range m.stacks[stack] {
		below = append(below, m.pieces[id].lengthMM)
	}
	return m.stands(p.lengthMM, below)
}

// standing returns the pallets of a batch that are nobody's, the smallest first.
func (m *model) standing(batch string) []string {
	var ids []string
	for id, p := range m.pieces {
		if p.batch == batch && p.blocks > 0 && p.state == yard.InYard {
			ids = append(ids, id)
		}
	}
	slices.SortFunc(ids, func(x, y string) int {
		return cmp.Or(cmp.Compare(m.pieces[x].blocks, m.pieces[y].blocks), cmp.Compare(x, y))
	})
	return ids
}

func (m *model) acceptsReserve(c yard.ReservePieces) bool {
	seen := map[string]bool{}
	for _, line := range c.Lines {
		if line.PieceID == "" {
			b := m.batches[line.BatchID]
			if !m.mayLeave(line.BatchID) || b.kind != yard.Blocks || m.pieces[line.PalletID] != nil {
				return false
			}
			all := b.loose
			for _, id := range m.standing(line.BatchID) {
				all += m.pieces[id].blocks
			}
			if all < line.Blocks {
				return false
			}
			continue
		}
		p := m.pieces[line.PieceID]
		if p == nil || seen[line.PieceID] || p.state != yard.InYard || p.blocks > 0 || !m.mayLeave(p.batch) || p.keptFor != "" && p.keptFor != line.Allocation.JobID {
			return false
		}
		seen[line.PieceID] = true
	}
	return true
}

func (m *model) acceptsPieces(command yard.Command) bool {
	all := func(ids []string, ok func(p *modelPiece) bool) bool {
		for _, id := range ids {
			if p := m.pieces[id]; p == nil || !ok(p) {
				return false
			}
		}
		return true
	}
	switch c := command.(type) {
	case yard.PickPieces:
		return all(c.PieceIDs, func(p *modelPiece) bool {
			return p.state == yard.Reserved && p.run == c.RunID && m.mayLeave(p.batch)
		})
	case yard.LoadPieces:
		return all(c.PieceIDs, func(p *modelPiece) bool {
			return p.state == yard.Picked && p.run == c.RunID && m.mayLeave(p.batch)
		})
	case yard.DeliverPieces:
		return all(c.PieceIDs, func(p *modelPiece) bool {
			return p.state == yard.Loaded && p.run == c.RunID && p.site == c.SiteID
		})
	case yard.ReturnPieces:
		return all(c.PieceIDs, func(p *modelPiece) bool {
			out := p.state == yard.Picked || p.state == yard.Loaded || p.state == yard.Delivered
			home := m.batches[p.batch].lotStack
			held := m.holds(c.StackID)
			return out && (held == "" || held == p.batch) && (p.blocks == 0 && m.fits(p, c.StackID) || p.blocks > 0 && (home == c.StackID || m.holds(home) != p.batch))
		})
	case yard.ScrapPieces:
		b := m.batches[c.BatchID]
		return (c.BatchID == "" || b != nil && b.kind == yard.Blocks && b.loose >= c.Blocks) &&
			all(c.PieceIDs, func(p *modelPiece) bool {
				return p.state != yard.Scrapped && p.state != yard.Dissolved
			})
	case yard.MovePieces:
		return all(c.PieceIDs, func(p *modelPiece) bool {
			held := m.holds(c.StackID)
			return p.blocks == 0 && (p.state == yard.InYard || p.state == yard.Reserved) && p.stack != c.StackID &&
				(held == "" || held == p.batch) && m.fits(p, c.StackID)
		})
	case yard.EndKeeping:
		return all(c.PieceIDs, func(p *modelPiece) bool { return p.keptFor != "" && p.state == yard.InYard })
	default:
		return m.acceptsHandling(command)
	}
}

// acceptsHandling is about moves, exchanges and pallets.
func (m *model) acceptsHandling(command yard.Command) bool {
	standing := func(id string) bool {
		p := m.pieces[id]
		return p != nil && p.blocks > 0 && p.state == yard.InYard
	}
	switch c := command.(type) {
	case yard.RecordCure:
		b := m.batches[c.BatchID]
		return b != nil && b.kind == yard.Beams
	case yard.Relocate:
		return m.relocates(c)
	case yard.ExchangePieces:
		old, fresh := m.pieces[c.Exchanges[0].OldID], m.pieces[c.Exchanges[0].NewID]
		return old != nil && fresh != nil && (old.state == yard.Reserved || old.state == yard.Scrapped && old.run != "" && !old.arrived) && old.blocks == 0 && fresh.state == yard.InYard && m.mayLeave(fresh.batch) &&
			(fresh.keptFor == "" || fresh.keptFor == "J1") && // the job of all stories
			fresh.profile == old.profile && fresh.wires == old.wires && fresh.lengthMM == old.lengthMM && fresh.massG == old.massG
	case yard.PackPallets:
		b := m.batches[c.BatchID]
		return b != nil && b.kind == yard.Blocks && m.pieces[c.Pallets[0].ID] == nil && b.loose >= c.Pallets[0].Blocks
	case yard.SplitPallet:
		return standing(c.PieceID) && m.pieces[c.NewID] == nil && c.Blocks < m.pieces[c.PieceID].blocks
	case yard.MergePallets:
		return c.PieceID != c.FromIDs[0] && standing(c.PieceID) && standing(c.FromIDs[0]) && m.pieces[c.PieceID].batch == m.pieces[c.FromIDs[0]].batch
	case yard.UnpackPallets:
		return standing(c.PieceIDs[0])
	default:
		panic("a command that the model does not know")
	}
}

// relocates tries moves one after the other and leaves the yard as it was.
func (m *model) relocates(c yard.Relocate) bool {
	before, where := map[string][]string{}, map[string]string{}
	for id, ids := range m.stacks {
		before[id] = ids
	}
	for id, p := range m.pieces {
		where[id] = p.stack
	}
	defer func() {
		m.stacks = before
		for id, p := range m.pieces {
			p.stack = where[id]
		}
	}()
	for _, move := range c.Moves {
		p := m.pieces[move.PieceID]
		if p == nil || p.blocks > 0 || p.state != yard.InYard && p.state != yard.Reserved || p.stack == move.StackID {
			return false
		}
		ids, per := m.stacks[p.stack], m.rules.BeamsPerStackTier
		if slices.Index(ids, move.PieceID)/per != (len(ids)-1)/per {
			return false
		}
		if held := m.holds(move.StackID); held != "" && held != p.batch || !m.fits(p, move.StackID) {
			return false
		}
		m.lift(move.PieceID)
		m.put(move.PieceID, move.StackID)
	}
	return true
}

// apply writes an accepted command down.
func (m *model) apply(command yard.Command) {
	switch c := command.(type) {
	case yard.ReceiveBatch:
		m.applyBatch(c)
	case yard.RecordTest:
		b := m.batches[c.BatchID]
		at := modelGroup{c.Specimen, c.TestedOn}
		if b.groups[at] == nil {
			b.groups[at] = &modelResults{}
		}
		group := b.groups[at]
		group.n += len(c.Strengths)
		if group.bad = group.bad || c.Strengths[0] == yardtest.Failing; group.bad {
			b.state = yard.Quarantined
		}
	case yard.ReleaseBatch:
		m.batches[c.BatchID].state = yard.Released
	case yard.QuarantineBatch:
		m.batches[c.BatchID].state = yard.Quarantined
	case yard.LiftQuarantine:
		m.batches[c.BatchID].state = yard.Curing
	case yard.ReservePieces:
		m.applyReserve(c)
	case yard.DropReservation:
		for _, p := range m.pieces {
			if p.reservation == c.ReservationID && p.state == yard.Reserved && (c.RunID == "" || p.run == c.RunID) {
				m.free(p)
			}
		}
	default:
		m.applyPieces(command)
	}
}

func (m *model) applyBatch(c yard.ReceiveBatch) {
	b := &modelBatch{kind: c.Kind, state: yard.Curing, madeOn: c.MadeOn, groups: map[modelGroup]*modelResults{}}
	m.batches[c.BatchID] = b
	if c.Kind == yard.Blocks {
		b.made, b.loose, b.lotStack = c.Lot.Count, c.Lot.Count, c.Lot.StackID
	}
	for _, line := range c.Lines {
		for range line.Count {
			b.made++
			id := yard.BeamID(c.BatchID, b.made)
			m.pieces[id] = &modelPiece{batch: c.BatchID, state: yard.InYard, stack: line.StackID, keptFor: line.KeptJob,
				profile: c.Profile, wires: c.WirePattern, lengthMM: line.LengthMM, massG: line.MassGEach}
			m.stacks[line.StackID] = append(m.stacks[line.StackID], id)
		}
	}
}

func (m *model) applyReserve(c yard.ReservePieces) {
	m.reservations[c.ReservationID] = true
	for _, line := range c.Lines {
		id := line.PieceID
		if id == "" {
			id = line.PalletID
			for _, pallet := range m.standing(line.BatchID) {
				if m.batches[line.BatchID].loose >= line.Blocks {
					break
				}
				m.unpack(pallet)
			}
			m.batches[line.BatchID].loose -= line.Blocks
			m.pieces[id] = &modelPiece{batch: line.BatchID, blocks: line.Blocks}
		}
		p := m.pieces[id]
		p.state, p.run, p.site, p.reservation = yard.Reserved, line.Allocation.RunID, line.Allocation.SiteID, c.ReservationID
	}
}

// unpack makes the blocks of a pallet loose.
func (m *model) unpack(id string) {
	p := m.pieces[id]
	m.batches[p.batch].loose += p.blocks
	p.state = yard.Dissolved
}

func (m *model) free(p *modelPiece) {
	p.state, p.run, p.site, p.arrived = yard.InYard, "", "", false
	if p.blocks > 0 {
		m.batches[p.batch].loose += p.blocks
		p.state = yard.Dissolved
	}
}

func (m *model) applyPieces(command yard.Command) {
	switch c := command.(type) {
	case yard.PickPieces:
		for _, id := range c.PieceIDs {
			m.pieces[id].state = yard.Picked
			m.lift(id)
		}
	case yard.LoadPieces:
		for _, id := range c.PieceIDs {
			m.pieces[id].state = yard.Loaded
		}
	case yard.DeliverPieces:
		for _, id := range c.PieceIDs {
			m.pieces[id].state, m.pieces[id].arrived = yard.Delivered, true
		}
	case yard.ReturnPieces:
		for _, id := range c.PieceIDs {
			p := m.pieces[id]
			m.free(p)
			if p.blocks > 0 {
				m.batches[p.batch].lotStack = c.StackID
				continue
			}
			m.put(id, c.StackID)
		}
	case yard.ScrapPieces:
		for _, id := range c.PieceIDs {
			m.pieces[id].state = yard.Scrapped
			m.lift(id)
		}
		if c.BatchID != "" {
			m.batches[c.BatchID].loose -= c.Blocks
			m.batches[c.BatchID].scrapped += c.Blocks
		}
	case yard.EndKeeping:
		for _, id := range c.PieceIDs {
			m.pieces[id].keptFor = ""
		}
	case yard.Relocate:
		for _, move := range c.Moves {
			m.lift(move.PieceID)
			m.put(move.PieceID, move.StackID)
		}
	case yard.ExchangePieces:
		old, fresh := m.pieces[c.Exchanges[0].OldID], m.pieces[c.Exchanges[0].NewID]
		fresh.state, fresh.run, fresh.site, fresh.reservation = yard.Reserved, old.run, old.site, old.reservation
		broken := old.state == yard.Scrapped
		m.free(old)
		if broken {
			old.state = yard.Scrapped
		}
	case yard.PackPallets:
		m.batches[c.BatchID].loose -= c.Pallets[0].Blocks
		m.pieces[c.Pallets[0].ID] = &modelPiece{batch: c.BatchID, blocks: c.Pallets[0].Blocks, state: yard.InYard}
	case yard.SplitPallet:
		m.pieces[c.PieceID].blocks -= c.Blocks
		m.pieces[c.NewID] = &modelPiece{batch: m.pieces[c.PieceID].batch, blocks: c.Blocks, state: yard.InYard}
	case yard.MergePallets:
		m.pieces[c.PieceID].blocks += m.pieces[c.FromIDs[0]].blocks
		m.pieces[c.FromIDs[0]].state = yard.Dissolved
	case yard.UnpackPallets:
		m.unpack(c.PieceIDs[0])
	case yard.MovePieces:
		for _, id := range c.PieceIDs {
			m.lift(id)
			m.put(id, c.StackID)
		}
	}
}

func (m *model) lift(id string) {
	p := m.pieces[id]
	m.stacks[p.stack] = slices.DeleteFunc(slices.Clone(m.stacks[p.stack]), func(other string) bool { return other == id })
	p.stack = ""
}

func (m *model) put(id, stack string) {
	m.pieces[id].stack = stack
	m.stacks[stack] = append(slices.Clone(m.stacks[stack]), id)
}

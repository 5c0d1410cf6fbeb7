package yard_test

import (
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
	passed, failed        int
	made, loose, scrapped int
	lotStack              string
}

type modelPiece struct {
	batch, run, site, reservation string
	state                         yard.PieceState
	blocks                        int
	stack                         string
	// keptFor is the job that a beam is made for.
	keptFor string
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
		if b.loose > 0 || slices.ContainsFunc(m.of(id), func(p *modelPiece) bool { return p.state == yard.Reserved }) {
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
		if b == nil || c.By == "" || b.state != yard.Curing || b.failed > 0 || b.passed == 0 {
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
	for _, line := range c.Lines {
		if m.holds(line.StackID) != "" {
			return false
		}
	}
	return true
}

func (m *model) acceptsReserve(c yard.ReservePieces) bool {
	seen := map[string]bool{}
	for _, line := range c.Lines {
		if line.PieceID == "" {
			b := m.batches[line.BatchID]
			if !m.mayLeave(line.BatchID) || b.kind != yard.Blocks || b.loose < line.Blocks || m.pieces[line.PalletID] != nil {
				return false
			}
			continue
		}
		p := m.pieces[line.PieceID]
		if p == nil || seen[line.PieceID] || p.state != yard.InYard || !m.mayLeave(p.batch) || p.keptFor != "" && p.keptFor != line.Allocation.JobID {
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
			return out && (held == "" || held == p.batch) && (p.blocks == 0 || home == c.StackID || m.holds(home) != p.batch)
		})
	case yard.ScrapPieces:
		b := m.batches[c.BatchID]
		return (c.BatchID == "" || b != nil && b.kind == yard.Blocks && b.loose >= c.Blocks) &&
			all(c.PieceIDs, func(p *modelPiece) bool {
				return p.state != yard.Delivered && p.state != yard.Scrapped && p.state != yard.Dissolved
			})
	case yard.MovePieces:
		return all(c.PieceIDs, func(p *modelPiece) bool {
			held := m.holds(c.StackID)
			return p.blocks == 0 && (p.state == yard.InYard || p.state == yard.Reserved) && p.stack != c.StackID &&
				(held == "" || held == p.batch)
		})
	case yard.EndKeeping:
		return all(c.PieceIDs, func(p *modelPiece) bool { return p.keptFor != "" && p.state == yard.InYard })
	default:
		panic("a command that the model does not know")
	}
}

// apply writes an accepted command down.
func (m *model) apply(command yard.Command) {
	switch c := command.(type) {
	case yard.ReceiveBatch:
		m.applyBatch(c)
	case yard.RecordTest:
		b := m.batches[c.BatchID]
		if c.Strengths[0] == yardtest.Failing {
			b.failed++
			b.state = yard.Quarantined
		} else {
			b.passed++
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
	b := &modelBatch{kind: c.Kind, state: yard.Curing, madeOn: c.MadeOn}
	m.batches[c.BatchID] = b
	if c.Kind == yard.Blocks {
		b.made, b.loose, b.lotStack = c.Lot.Count, c.Lot.Count, c.Lot.StackID
	}
	for _, line := range c.Lines {
		for range line.Count {
			b.made++
			id := yard.BeamID(c.BatchID, b.made)
			m.pieces[id] = &modelPiece{batch: c.BatchID, state: yard.InYard, stack: line.StackID, keptFor: line.KeptJob}
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
			m.batches[line.BatchID].loose -= line.Blocks
			m.pieces[id] = &modelPiece{batch: line.BatchID, blocks: line.Blocks}
		}
		p := m.pieces[id]
		p.state, p.run, p.site, p.reservation = yard.Reserved, line.Allocation.RunID, line.Allocation.SiteID, c.ReservationID
	}
}

func (m *model) free(p *modelPiece) {
	p.state, p.run, p.site = yard.InYard, "", ""
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
			m.pieces[id].state = yard.Delivered
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

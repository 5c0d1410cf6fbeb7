package office

import (
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/design"
)

// Bytes that the parts of a plan take at most where it is stored, beside their
// texts. Package codec tests that they suffice.
const (
	planBytes      = 600
	roomBytes      = 450
	beamBytes      = 220
	cornerBytes    = 24
	lineBytes      = 36
	floorBytes     = 24
	bayBytes       = 60
	trimmerBytes   = 64
	partitionBytes = 64
	sideBytes      = 12
	profileBytes   = 64
	patternBytes   = 48
	rowBytes       = 24
	blockBytes     = 128
	problemBytes   = 24
)

// StoredBytes is at least what a plan takes where it is stored, by counting
// its parts.
func (p Plan) StoredBytes() int {
	n := planBytes + len(p.Job) + len(p.JobName) + len(p.Floor) + p.Catalogue.storedBytes()
	for _, x := range p.Problems {
		n += problemBytes + len(x.Entity) + len(x.Layer) + len(x.What) + len(x.LeftOut)
	}
	for _, r := range p.Rooms {
		n += r.storedBytes()
	}
	return n
}

func (c Catalogue) storedBytes() int {
	n := 0
	for _, p := range c.Profiles {
		n += profileBytes + len(p.Name) + cornerBytes*len(p.Outline)
		for _, w := range p.WirePatterns {
			n += patternBytes + len(w)
		}
		for _, w := range p.Patterns {
			n += patternBytes + len(w.Name) + rowBytes*len(w.Rows)
		}
	}
	for _, b := range c.Blocks {
		n += blockBytes + len(b.Name)
		for _, p := range b.Profiles {
			n += 4 + len(p)
		}
	}
	if c.Basis != nil {
		n += len(c.Basis.Wire.Name) + len(c.Basis.Concrete.Cement)
	}
	return n
}

func (r Room) storedBytes() int {
	n := roomBytes + len(r.LeftOut) + askedBytes(r.Room)
	if r.Drawn != nil {
		n += roomBytes + askedBytes(*r.Drawn)
	}
	if r.Refused != nil {
		n += len(r.Refused.Reason) + len(r.Refused.Help) + len(r.Refused.Code())
	}
	n += 2*len(r.Kit.Block) + len(r.Kit.Profile)
	for _, p := range r.Kit.Patterns {
		n += patternBytes + len(p.Name)
	}
	n += bayBytes*len(r.Layout.Bays) + trimmerBytes*len(r.Layout.Headers)
	for i, b := range r.Beams {
		n += beamBytes + len(b.Mark) + len(b.Profile) + len(b.Pattern) + len(b.Governing) + memberBytes(r.Layout.Beams[i].Member)
	}
	return n
}

func askedBytes(r design.Room) int {
	n := len(r.ID) + len(r.Name) + len(r.Loads.Category) + len(r.Profile) + len(r.Pattern) + len(r.Block)
	n += partitionBytes*len(r.Partitions) + sideBytes*len(r.OpenSides) + cornerBytes*len(r.Shape.Outline)
	for _, h := range r.Shape.Holes {
		n += 2*sideBytes + cornerBytes*len(h)
	}
	return n
}

func memberBytes(m *arrange.Member) int {
	if m == nil {
		return 0
	}
	return lineBytes*len(m.Lines) + floorBytes*(len(m.Floors)+len(m.Points))
}

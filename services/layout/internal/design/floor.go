package design

import (
	"fmt"
	"math"
	"slices"

	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/strength"
)

// Loads on a room's floor.
type Loads struct {
	Category        strength.Category `json:"category"`
	ImposedKNPerM2  float64           `json:"imposed_kn_per_m2"`
	FinishesKNPerM2 float64           `json:"finishes_kn_per_m2"`
}

// Room of a floor, in whole millimetres of the drawing.
type Room struct {
	// ID is part of the marks.
	ID   string
	Name string
	// Order in the crew's way through the floor.
	Order int
	Shape geometry.Polygon
	Loads Loads
	// HoleSupports, OpenSides, Partitions, DirectionDegrees: as in arrange.
	HoleSupports     []bool
	OpenSides        map[int]bool
	Partitions       []arrange.Partition
	DirectionDegrees *float64
	// Wishes; what is empty or 0 is chosen, the bearing by the yard's rules.
	Profile   string
	Pattern   string
	Block     string
	PerRow    int
	BearingMM float64
}

// Floor is a storey to be laid.
type Floor struct {
	Job, JobName, Floor string
	Rooms               []Room
}

// Beam of a laid room.
type Beam struct {
	Mark     string
	Profile  string
	Pattern  string
	LengthMM int
	ClearMM  float64
	PerRow   int
	Row      int
	MassG    int64
	Quad     geometry.Quad
	// Fullness of the governing check.
	Fullness  float64
	Governing string
	// Type names the calculation that covers the beam.
	Type int
}

// RoomPlan is a room, laid or refused.
type RoomPlan struct {
	Room   Room
	Layout arrange.Layout
	Kit    arrange.Kit
	Beams  []Beam
	// Trimmers carry the beams that openings cut short.
	Trimmers []TrimmerPiece
	Refused  *arrange.Refusal
}

// Plan is a floor, laid and checked.
type Plan struct {
	Floor Floor
	Rooms []RoomPlan
	// Calculations, one for each kind of beam under its greatest load.
	Calculations []strength.Report
}

// Designer lays floors; it remembers what it has checked, so one designer for
// many rooms is faster. It is for one goroutine.
type Designer struct {
	catalogue Catalogue
	sections  map[string]strength.Section
	known     map[question]arrange.Outcome
	reaches   map[reachQuestion]reachAnswer
}

// question is a strength check that may be asked again.
type question struct {
	kit                             string
	pattern                         string
	perRow                          int
	clearMM, bearingMM, tributaryMM float64
	loads                           Loads
	// extra loads of partitions and headers.
	extra string
}

// New returns a designer for a catalogue.
func New(c Catalogue) (*Designer, error) {
	if err := c.Validate(); err != nil {
		return nil, err
	}
	d := &Designer{catalogue: c, sections: map[string]strength.Section{}, known: map[question]arrange.Outcome{}, reaches: map[reachQuestion]reachAnswer{}}
	for _, p := range c.Profiles {
		s, err := strength.NewSection(p.Outline)
		if err != nil {
			return nil, err
		}
		d.sections[p.Name] = s
	}
	return d, nil
}

// Lay lays a floor room by room. A room that cannot be laid is refused by
// itself; the others go on.
func (d *Designer) Lay(f Floor) Plan {
	var rooms []RoomPlan
	var obstacles []geometry.Quad
	for _, room := range f.Rooms {
		rp := d.layRoom(f, room, obstacles)
		for _, b := range rp.Beams {
			obstacles = append(obstacles, b.Quad)
		}
		rooms = append(rooms, rp)
	}
	return d.Assemble(f, rooms)
}

// LayRoom lays one room anew beside the others of its floor, which stay as
// they are: its beams keep clear of theirs. A mark is made of the floor, the
// room and the beam's number in the room, so theirs stay as well. Put the
// answer in the room's place and Assemble the floor.
func (d *Designer) LayRoom(f Floor, room Room, neighbours []RoomPlan) RoomPlan {
	var obstacles []geometry.Quad
	for _, n := range neighbours {
		if n.Room.ID == room.ID {
			continue
		}
		for _, b := range n.Beams {
			obstacles = append(obstacles, b.Quad)
		}
	}
	return d.layRoom(f, room, obstacles)
}

// Assemble makes a plan of rooms that are laid or refused, with one
// calculation for each kind of beam; the rooms themselves are left as they
// are.
func (d *Designer) Assemble(f Floor, rooms []RoomPlan) Plan {
	plan := Plan{Floor: f}
	plan.Floor.Rooms = nil
	fullest := map[string]place{}
	var kinds []string
	for at, rp := range rooms {
		plan.Floor.Rooms = append(plan.Floor.Rooms, rp.Room)
		rp.Beams = slices.Clone(rp.Beams)
		for i, b := range rp.Beams {
			had, ok := fullest[b.kind()]
			if !ok {
				kinds = append(kinds, b.kind())
			}
			if !ok || b.Fullness > rooms[had.room].Beams[had.beam].Fullness {
				fullest[b.kind()] = place{at, i}
			}
		}
		plan.Rooms = append(plan.Rooms, rp)
	}
	types := map[string]int{}
	for i, k := range kinds {
		p := fullest[k]
		types[k] = i
		plan.Calculations = append(plan.Calculations, d.calculate(rooms[p.room], p.beam))
	}
	for _, rp := range plan.Rooms {
		for i := range rp.Beams {
			rp.Beams[i].Type = types[rp.Beams[i].kind()]
		}
	}
	return plan
}

// place of a beam among a floor's rooms.
type place struct{ room, beam int }

// kind of beams that share a calculation: profile, pattern and number of beams
// side by side.
func (b Beam) kind() string { return fmt.Sprint(b.Profile, "|", b.Pattern, "|", b.PerRow) }

// calculate is the calculation of one beam; it passed when it was laid.
func (d *Designer) calculate(rp RoomPlan, i int) strength.Report {
	report, err := strength.Check(d.beam(rp.Room, rp.Kit, *rp.Layout.Beams[i].Member))
	if err != nil {
		return strength.Report{Caution: strength.Caution, Governing: strength.Verdict{What: err.Error()}}
	}
	return report
}

func (d *Designer) layRoom(f Floor, room Room, obstacles []geometry.Quad) RoomPlan {
	rp := RoomPlan{Room: room}
	if err := room.Shape.Validate(); err != nil {
		rp.Refused = arrange.Refuse("outline", "The room "+err.Error()+".", "Mend the drawing.")
		return rp
	}
	if rp.Refused = d.catalogue.known(room); rp.Refused != nil {
		return rp
	}
	kit, layout, refusal := d.search(room, obstacles)
	if refusal != nil {
		rp.Refused = d.withoutWishes(room, obstacles, refusal)
		return rp
	}
	rp.Layout, rp.Kit = layout, kit
	perM := d.catalogue.MassGPerM(kit.Profile)
	for i, b := range layout.Beams {
		length := int(math.Round(b.LengthMM))
		rp.Beams = append(rp.Beams, Beam{
			Mark: fmt.Sprintf("%s-%s-%02d", f.Floor, room.ID, i+1), Profile: kit.Profile, Pattern: kit.Patterns[b.Pattern].Name,
			LengthMM: length, ClearMM: b.ClearMM, PerRow: b.PerRow, Row: b.Row, MassG: (int64(length)*perM + 500) / 1000, Quad: b.Quad,
			Fullness: b.Outcome.Fullness, Governing: b.Outcome.Governing,
		})
	}
	rp.Trimmers = d.trimmers(f, room, layout)
	return rp
}

func (d *Designer) arrangeRoom(room Room) arrange.Room {
	bearing := room.BearingMM
	if bearing == 0 {
		bearing = d.catalogue.Rules.BearingMM
	}
	return arrange.Room{Name: room.Name, Shape: room.Shape, HoleSupports: room.HoleSupports, OpenSides: room.OpenSides,
		Partitions: room.Partitions, BearingMM: bearing, PerRow: room.PerRow, DirectionDegrees: room.DirectionDegrees}
}

// spanStep is how spans are rounded up before they are checked: beams that
// differ by less share a calculation, on the safe side.
const spanStep = 10

// carry checks members of a room by the code.
func (d *Designer) carry(room Room, kits []arrange.Kit) func(arrange.Member) arrange.Outcome {
	return func(m arrange.Member) arrange.Outcome {
		m.ClearMM = math.Ceil(m.ClearMM/spanStep-1e-9) * spanStep
		key := question{kit: kits[m.Kit].Profile + "|" + kits[m.Kit].Block, pattern: kits[m.Kit].Patterns[m.Pattern].Name, perRow: m.PerRow,
			clearMM: m.ClearMM, bearingMM: m.BearingMM, tributaryMM: m.TributaryMM, loads: room.Loads}
		if len(m.Lines)+len(m.Points) > 0 {
			key.extra = fmt.Sprint(m.Lines, m.Points)
		}
		if o, ok := d.known[key]; ok {
			return o
		}
		governing, passes, err := strength.Judge(d.beam(room, kits[m.Kit], m))
		o := arrange.Outcome{Passes: err == nil && passes, Fullness: governing.Fullness, Governing: governing.What}
		if err != nil {
			o.Governing = err.Error()
		}
		d.known[key] = o
		return o
	}
}

// beam is the strength check's view of a member.
func (d *Designer) beam(room Room, kit arrange.Kit, m arrange.Member) strength.Beam {
	c := d.catalogue
	p, _ := c.profile(kit.Profile)
	pattern := p.pattern(kit.Patterns[m.Pattern].Name)
	section := d.sections[p.Name]
	b := strength.Beam{
		Name: fmt.Sprintf("%s %s x%d, %.0f mm clear", kit.Profile, pattern.Name, m.PerRow, m.ClearMM), Outline: p.Outline,
		Pattern: strength.Pattern{Wire: c.Wire, Rows: pattern.Rows},
		FckMPa:  c.Concrete.FckMPa, Cement: c.Concrete.Cement, Aggregate: c.Concrete.Aggregate, Casting: c.Casting, National: c.National,
		Floor: strength.Floor{
			ClearSpanMM: m.ClearMM, BearingMM: m.BearingMM, BeamsPerRow: m.PerRow, PitchMM: m.TributaryMM,
			FinishesKNPerM2: d.finishes(room), ImposedKNPerM2: room.Loads.ImposedKNPerM2, Category: room.Loads.Category,
			InfillKNPerM: d.infill(kit), HumidityPercent: c.Rules.HumidityPercent, DesignHours: c.Rules.DesignHours, FinishAgeDays: c.Rules.FinishAgeDays,
		},
	}
	offset := strength.SupportOffsetMM(section.HeightMM, m.BearingMM)
	for _, l := range m.Lines {
		b.Floor.Lines = append(b.Floor.Lines, strength.Stretch{FromMM: l.FromMM + offset, ToMM: l.ToMM + offset, NPerMM: l.NPerMM})
	}
	dead := (d.finishes(room) + d.infill(kit)/kit.PitchMM*1000 + section.AreaMM2*25e-6/kit.PitchMM*1000) * 1e-3
	for _, a := range m.Floors {
		b.Floor.Points = append(b.Floor.Points, strength.PointLoad{AtMM: a.AtMM + offset, N: a.AreaMM2 * dead, VariableN: a.AreaMM2 * room.Loads.ImposedKNPerM2 * 1e-3})
	}
	for _, p := range m.Points {
		b.Floor.Points = append(b.Floor.Points, strength.PointLoad{AtMM: p.AtMM + offset, N: p.PermanentN, VariableN: p.VariableN})
	}
	return b
}

// finishes on a room's floor with the screed, in kN/m2.
func (d *Designer) finishes(room Room) float64 {
	return room.Loads.FinishesKNPerM2 + d.catalogue.Rules.ScreedMM/1000*d.catalogue.Rules.ScreedKNPerM3
}

// infill is the weight of the blocks of one bay on a row, in kN/m.
func (d *Designer) infill(kit arrange.Kit) float64 {
	for _, b := range d.catalogue.Blocks {
		if b.Name == kit.Block && b.Profile == kit.Profile {
			return float64(b.MassG) * 9.81e-6 / b.LengthMM * 1000
		}
	}
	return 0
}

// LongestSpan is the longest clear span, to 10 mm, that beams of a block's
// profile carry side by side in a row, and the check that governs there; 0
// when they do not carry the shortest.
func (d *Designer) LongestSpan(block string, pattern, perRow int, loads Loads) (clearMM float64, governing string) {
	kits := d.catalogue.kits(Room{})
	for at, k := range kits {
		if k.Block == block && pattern < len(k.Patterns) {
			return d.reach(Room{Loads: loads}, kits, at, pattern, perRow, d.catalogue.Rules.BearingMM)
		}
	}
	return 0, ""
}

// reachQuestion is a longest span that may be asked for again.
type reachQuestion struct {
	kit             string
	perRow, pattern int
	bearingMM       float64
	loads           Loads
}

type reachAnswer struct {
	clearMM            float64
	pattern, governing string
}

// longest is the longest clear span of a kit with any of its patterns.
func (d *Designer) longest(room Room, kits []arrange.Kit, kit, perRow int, bearingMM float64) (clearMM float64, pattern, governing string) {
	k := kits[kit]
	key := reachQuestion{k.Profile + "|" + k.Block + "|" + fmt.Sprint(k.Patterns), perRow, 0, bearingMM, room.Loads}
	if a, ok := d.reaches[key]; ok {
		return a.clearMM, a.pattern, a.governing
	}
	best := reachAnswer{pattern: k.Patterns[0].Name}
	for i, p := range k.Patterns {
		clear, why := d.reach(room, kits, kit, i, perRow, bearingMM)
		if clear > best.clearMM || best.governing == "" {
			best = reachAnswer{clear, p.Name, why}
		}
	}
	d.reaches[key] = best
	return best.clearMM, best.pattern, best.governing
}

func (d *Designer) reach(room Room, kits []arrange.Kit, kit, pattern, perRow int, bearingMM float64) (clearMM float64, governing string) {
	carry := d.carry(room, kits)
	ask := func(clear float64) arrange.Outcome {
		return carry(arrange.Member{Kit: kit, Pattern: pattern, PerRow: perRow, ClearMM: clear, BearingMM: bearingMM,
			// A row beside a wall carries most: its bay is half a beam wider.
			TributaryMM: kits[kit].PitchMM + (float64(perRow-1)+0.25)*kits[kit].WidthMM})
	}
	low, high := d.catalogue.Rules.ShortestMM, d.catalogue.Rules.MaxLengthMM-2*bearingMM
	if o := ask(low); !o.Passes {
		return 0, o.Governing
	}
	if ask(high).Passes {
		return math.Floor(high/spanStep) * spanStep, "the longest beam of the bed"
	}
	for steps := int(high-low) / spanStep; steps > 1; steps = int(high-low) / spanStep {
		if mid := low + float64(steps/2)*spanStep; ask(mid).Passes {
			low = mid
		} else {
			high = mid
		}
	}
	low = math.Floor(low/spanStep) * spanStep
	return low, ask(low).Governing
}

package design

import (
	"errors"
	"fmt"
	"math"

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
	// Profile to be used; empty chooses.
	Profile string
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
	Room    Room
	Layout  arrange.Layout
	Kit     arrange.Kit
	Beams   []Beam
	Refused *arrange.Refusal
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
}

// question is a strength check that may be asked again.
type question struct {
	kit                             string
	pattern, perRow                 int
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
	d := &Designer{catalogue: c, sections: map[string]strength.Section{}, known: map[question]arrange.Outcome{}}
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
	plan := Plan{Floor: f}
	types := map[string]int{}
	var obstacles []geometry.Quad
	for _, room := range f.Rooms {
		rp := d.layRoom(f, room, obstacles)
		for i := range rp.Beams {
			obstacles = append(obstacles, rp.Beams[i].Quad)
			d.calculate(&plan, types, rp, i)
		}
		plan.Rooms = append(plan.Rooms, rp)
	}
	return plan
}

func (d *Designer) layRoom(f Floor, room Room, obstacles []geometry.Quad) RoomPlan {
	rp := RoomPlan{Room: room}
	if err := room.Shape.Validate(); err != nil {
		rp.Refused = arrange.Refuse("outline", "The room "+err.Error()+".", "Mend the drawing.")
		return rp
	}
	kits := d.catalogue.kits(room.Profile)
	layout, err := arrange.Search(d.arrangeRoom(room), kits, d.catalogue.rules(), d.carry(room, kits), obstacles)
	if err != nil {
		var refusal *arrange.Refusal
		if !errors.As(err, &refusal) {
			refusal = arrange.Refuse("internal", err.Error(), "")
		}
		rp.Refused = refusal
		return rp
	}
	rp.Layout, rp.Kit = layout, kits[layout.Kit]
	perM := d.catalogue.MassGPerM(rp.Kit.Profile)
	for i, b := range layout.Beams {
		length := int(math.Round(b.LengthMM))
		rp.Beams = append(rp.Beams, Beam{
			Mark: fmt.Sprintf("%s-%s-%02d", f.Floor, room.ID, i+1), Profile: rp.Kit.Profile, Pattern: rp.Kit.Patterns[b.Pattern].Name,
			LengthMM: length, ClearMM: b.ClearMM, PerRow: b.PerRow, Row: b.Row, MassG: (int64(length)*perM + 500) / 1000, Quad: b.Quad,
			Fullness: b.Outcome.Fullness, Governing: b.Outcome.Governing,
		})
	}
	return rp
}

func (d *Designer) arrangeRoom(room Room) arrange.Room {
	return arrange.Room{Name: room.Name, Shape: room.Shape, HoleSupports: room.HoleSupports, OpenSides: room.OpenSides,
		Partitions: room.Partitions, BearingMM: d.catalogue.Rules.BearingMM, DirectionDegrees: room.DirectionDegrees}
}

// spanStep is how spans are rounded up before they are checked: beams that
// differ by less share a calculation, on the safe side.
const spanStep = 10

// carry checks members of a room by the code.
func (d *Designer) carry(room Room, kits []arrange.Kit) arrange.Carry {
	return func(m arrange.Member) arrange.Outcome {
		m.ClearMM = math.Ceil(m.ClearMM/spanStep-1e-9) * spanStep
		key := question{kit: kits[m.Kit].Profile + "|" + kits[m.Kit].Block, pattern: m.Pattern, perRow: m.PerRow,
			clearMM: m.ClearMM, bearingMM: m.BearingMM, tributaryMM: m.TributaryMM, loads: room.Loads}
		if len(m.Lines)+len(m.Floors) > 0 {
			key.extra = fmt.Sprint(m.Lines, m.Floors)
		}
		if o, ok := d.known[key]; ok {
			return o
		}
		report, err := strength.Check(d.beam(room, kits[m.Kit], m))
		o := arrange.Outcome{Passes: err == nil && report.Passes, Fullness: report.Governing.Fullness, Governing: report.Governing.What}
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
	pattern := p.Patterns[m.Pattern]
	section := d.sections[p.Name]
	finishes := room.Loads.FinishesKNPerM2 + c.Rules.ScreedMM/1000*c.Rules.ScreedKNPerM3
	b := strength.Beam{
		Name: fmt.Sprintf("%s %s x%d, %.0f mm clear", kit.Profile, pattern.Name, m.PerRow, m.ClearMM), Outline: p.Outline,
		Pattern: strength.Pattern{Wire: c.Wire, Rows: pattern.Rows},
		FckMPa:  c.Concrete.FckMPa, Cement: c.Concrete.Cement, Aggregate: c.Concrete.Aggregate, Casting: c.Casting, National: c.National,
		Floor: strength.Floor{
			ClearSpanMM: m.ClearMM, BearingMM: m.BearingMM, BeamsPerRow: m.PerRow, PitchMM: m.TributaryMM,
			FinishesKNPerM2: finishes, ImposedKNPerM2: room.Loads.ImposedKNPerM2, Category: room.Loads.Category,
			InfillKNPerM: d.infill(kit), HumidityPercent: c.Rules.HumidityPercent, DesignHours: c.Rules.DesignHours, FinishAgeDays: c.Rules.FinishAgeDays,
		},
	}
	offset := strength.SupportOffsetMM(section.HeightMM, m.BearingMM)
	for _, l := range m.Lines {
		b.Floor.Lines = append(b.Floor.Lines, strength.Stretch{FromMM: l.FromMM + offset, ToMM: l.ToMM + offset, NPerMM: l.NPerMM})
	}
	dead := (finishes + d.infill(kit)/kit.PitchMM*1000 + section.AreaMM2*25e-6/kit.PitchMM*1000) * 1e-3
	for _, a := range m.Floors {
		b.Floor.Points = append(b.Floor.Points, strength.PointLoad{AtMM: a.AtMM + offset, N: a.AreaMM2 * dead, VariableN: a.AreaMM2 * room.Loads.ImposedKNPerM2 * 1e-3})
	}
	return b
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

// calculate keeps one calculation for each profile, pattern and number of
// beams side by side: that of the fullest beam.
func (d *Designer) calculate(plan *Plan, types map[string]int, rp RoomPlan, i int) {
	b := &rp.Beams[i]
	key := fmt.Sprint(b.Profile, "|", b.Pattern, "|", b.PerRow)
	at, ok := types[key]
	if ok && plan.Calculations[at].Governing.Fullness >= b.Fullness {
		b.Type = at
		return
	}
	report, err := strength.Check(d.beam(rp.Room, rp.Kit, *rp.Layout.Beams[i].Member))
	if err != nil {
		return
	}
	if !ok {
		at = len(plan.Calculations)
		types[key] = at
		plan.Calculations = append(plan.Calculations, report)
	} else {
		plan.Calculations[at] = report
	}
	b.Type = at
}

// LongestSpan is the longest clear span, to 10 mm, that beams of a block's
// profile carry side by side in a row, and the check that governs there; 0
// when they do not carry the shortest.
func (d *Designer) LongestSpan(block string, pattern, perRow int, loads Loads) (clearMM float64, governing string) {
	for at, k := range d.catalogue.kits("") {
		if k.Block != block || pattern >= len(k.Patterns) {
			continue
		}
		ask := d.asker(Room{Loads: loads}, at, pattern, perRow)
		low, high := d.catalogue.Rules.ShortestMM, d.catalogue.Rules.MaxLengthMM-2*d.catalogue.Rules.BearingMM
		if o := ask(low); !o.Passes {
			return 0, o.Governing
		}
		if ask(high).Passes {
			low = high
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
	return 0, ""
}

// asker asks for a span of a kit whether it passes.
func (d *Designer) asker(room Room, kit, pattern, perRow int) func(clearMM float64) arrange.Outcome {
	kits := d.catalogue.kits("")
	carry := d.carry(room, kits)
	return func(clear float64) arrange.Outcome {
		return carry(arrange.Member{Kit: kit, Pattern: pattern, PerRow: perRow, ClearMM: clear, BearingMM: d.catalogue.Rules.BearingMM,
			TributaryMM: kits[kit].PitchMM + float64(perRow-1)*kits[kit].WidthMM})
	}
}

// Carries says whether beams of a profile and pattern carry a clear span under
// a room's loads.
func (d *Designer) Carries(room Room, profile, pattern string, perRow int, clearMM float64) bool {
	for at, k := range d.catalogue.kits(profile) {
		for i, w := range k.Patterns {
			if w.Name == pattern {
				kits := d.catalogue.kits(profile)
				return d.carry(room, kits)(arrange.Member{Kit: at, Pattern: i, PerRow: perRow, ClearMM: clearMM, BearingMM: d.catalogue.Rules.BearingMM,
					TributaryMM: k.PitchMM + float64(perRow-1)*k.WidthMM}).Passes
			}
		}
	}
	return false
}

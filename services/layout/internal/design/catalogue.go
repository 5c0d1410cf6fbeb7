// Package design lays and checks whole floors: rooms as polygons go in, beams
// with marks, lengths and strength verdicts come out, or a refusal for a room
// that says what would make it possible.
package design

import (
	"fmt"
	"math"

	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/strength"
)

// Catalogue is what the yard makes and how: all numbers of the design that
// are not the building's own.
type Catalogue struct {
	Profiles []Profile         `json:"profiles"`
	Blocks   []Block           `json:"blocks"`
	Wire     strength.Wire     `json:"wire"`
	Concrete Concrete          `json:"concrete"`
	Casting  strength.Casting  `json:"casting"`
	National strength.National `json:"national"`
	Rules    Rules             `json:"rules"`
}

// Profile is a cross-section and the wire patterns that it is cast with, the
// cheapest first.
type Profile struct {
	Name     string           `json:"name"`
	Outline  strength.Outline `json:"outline"`
	Patterns []Pattern        `json:"patterns"`
}

// Pattern of wires in a profile.
type Pattern struct {
	Name string         `json:"name"`
	Rows []strength.Row `json:"rows"`
	// CentsPerM is the price of a metre of beam.
	CentsPerM int64 `json:"cents_per_m"`
}

// Block goes between beams of a profile.
type Block struct {
	Name     string  `json:"name"`
	Profile  string  `json:"profile"`
	LengthMM float64 `json:"length_mm"`
	PitchMM  float64 `json:"pitch_mm"`
	MassG    int64   `json:"mass_g"`
	Cents    int64   `json:"cents"`
}

// Concrete of the beams.
type Concrete struct {
	FckMPa    float64              `json:"fck_mpa"`
	Cement    strength.CementClass `json:"cement_class"`
	Aggregate float64              `json:"aggregate_factor"`
	KgPerM3   float64              `json:"kg_per_m3"`
}

// Rules of laying, the yard's own.
type Rules struct {
	LengthStepMM    float64 `json:"length_step_mm"`
	MaxLengthMM     float64 `json:"max_length_mm"`
	ShortestMM      float64 `json:"shortest_clear_mm"`
	MostPerRow      int     `json:"most_beams_per_row"`
	BearingMM       float64 `json:"bearing_mm"`
	HeaderWidthMM   float64 `json:"header_width_mm"`
	HeaderBearingMM float64 `json:"header_bearing_mm"`
	HeaderMaxMM     float64 `json:"header_max_mm"`
	LineLoadKNPerM  float64 `json:"line_load_kn_per_m"`
	HumidityPercent float64 `json:"humidity_percent"`
	DesignHours     float64 `json:"design_hours"`
	FinishAgeDays   float64 `json:"finish_age_days"`
	ScreedMM        float64 `json:"screed_mm"`
	ScreedKNPerM3   float64 `json:"screed_kn_per_m3"`
}

// Validate reports the first thing in a catalogue that cannot be.
func (c Catalogue) Validate() error {
	if len(c.Profiles) == 0 || len(c.Blocks) == 0 {
		return fmt.Errorf("the catalogue has %d profiles and %d blocks; allowed: at least one of each", len(c.Profiles), len(c.Blocks))
	}
	known := map[string]bool{}
	for i, p := range c.Profiles {
		if p.Name == "" || known[p.Name] {
			return fmt.Errorf("profiles[%d].name is %q; allowed: a name of its own", i, p.Name)
		}
		known[p.Name] = true
		if _, err := strength.NewSection(p.Outline); err != nil {
			return fmt.Errorf("profiles[%d].outline: %w", i, err)
		}
		if len(p.Patterns) == 0 {
			return fmt.Errorf("profiles[%d].patterns is empty; allowed: at least one", i)
		}
	}
	for i, b := range c.Blocks {
		if !known[b.Profile] {
			return fmt.Errorf("blocks[%d].profile is %q; allowed: a profile of the catalogue", i, b.Profile)
		}
		if !(b.LengthMM >= 50 && b.LengthMM <= 1000) || !(b.PitchMM >= 200 && b.PitchMM <= 1500) {
			return fmt.Errorf("blocks[%d] is %g mm long at a pitch of %g mm; allowed: 50 to 1000 mm at 200 to 1500 mm", i, b.LengthMM, b.PitchMM)
		}
	}
	r := c.Rules
	for _, x := range []struct {
		field         string
		value, lo, hi float64
	}{
		{"rules.length_step_mm", r.LengthStepMM, 1, 1000}, {"rules.max_length_mm", r.MaxLengthMM, 1000, 30000},
		{"rules.shortest_clear_mm", r.ShortestMM, 100, 2000}, {"rules.most_beams_per_row", float64(r.MostPerRow), 1, 3},
		{"rules.bearing_mm", r.BearingMM, 40, 500}, {"rules.header_width_mm", r.HeaderWidthMM, 50, 500},
		{"rules.header_bearing_mm", r.HeaderBearingMM, 40, r.HeaderWidthMM}, {"rules.header_max_mm", r.HeaderMaxMM, 300, 10000},
	} {
		if !(x.value >= x.lo && x.value <= x.hi) {
			return fmt.Errorf("%s is %g; allowed: %g to %g", x.field, x.value, x.lo, x.hi)
		}
	}
	return nil
}

// MassGPerM of a profile, from its outline and the density of its concrete.
func (c Catalogue) MassGPerM(profile string) int64 {
	p, _ := c.profile(profile)
	s, err := strength.NewSection(p.Outline)
	if err != nil {
		return 0
	}
	return int64(math.Round(s.AreaMM2 * 1e-6 * c.Concrete.KgPerM3 * 1000))
}

func (c Catalogue) profile(name string) (Profile, bool) {
	for _, p := range c.Profiles {
		if p.Name == name {
			return p, true
		}
	}
	return Profile{}, false
}

func (p Profile) pattern(name string) Pattern {
	for _, w := range p.Patterns {
		if w.Name == name {
			return w
		}
	}
	return Pattern{}
}

// widthMM is the greatest width of an outline.
func widthMM(o strength.Outline) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range o {
		low, high = math.Min(low, p.XMM), math.Max(high, p.XMM)
	}
	return high - low
}

// kits are the families that a room may be laid with: those that its wishes
// leave.
func (c Catalogue) kits(room Room) []arrange.Kit {
	var kits []arrange.Kit
	for _, b := range c.Blocks {
		if room.Profile != "" && b.Profile != room.Profile || room.Block != "" && b.Name != room.Block {
			continue
		}
		p, _ := c.profile(b.Profile)
		k := arrange.Kit{Profile: p.Name, Block: b.Name, WidthMM: widthMM(p.Outline), PitchMM: b.PitchMM, BlockMM: b.LengthMM, BlockCents: b.Cents}
		for _, w := range p.Patterns {
			if room.Pattern == "" || w.Name == room.Pattern {
				k.Patterns = append(k.Patterns, arrange.Pattern{Name: w.Name, CentsPerM: w.CentsPerM})
			}
		}
		if len(k.Patterns) > 0 {
			kits = append(kits, k)
		}
	}
	return kits
}

func (c Catalogue) rules() arrange.Rules {
	r := c.Rules
	return arrange.Rules{LengthStepMM: r.LengthStepMM, MaxLengthMM: r.MaxLengthMM, ShortestMM: r.ShortestMM, MostPerRow: r.MostPerRow,
		HeaderWidthMM: r.HeaderWidthMM, HeaderBearingMM: r.HeaderBearingMM, HeaderMaxMM: r.HeaderMaxMM, LineLoadNPerMM: r.LineLoadKNPerM}
}

// Package design lays and checks whole floors: rooms as polygons go in, beams
// with marks, lengths and strength verdicts come out, or a refusal for a room
// that says what would make it possible.
package design

import (
	"math"

	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/strength"
)

// Catalogue is what the yard makes and how: all numbers of the design that
// are not the building's own.
type Catalogue struct {
	Profiles []Profile         `json:"profiles"`
	Blocks   []Block           `json:"blocks"`
	Trimmers []Trimmer         `json:"trimmers"`
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

// Trimmer carries the beams cut short by an opening. What it carries is a
// product's own statement, so the catalogue names where it stands.
type Trimmer struct {
	Name string `json:"name"`
	// Source of the loads: a test report or a maker's table.
	Source  string  `json:"source"`
	WidthMM float64 `json:"width_mm"`
	// SeatMM bears the end of a cut beam; each end of the trimmer reaches
	// HangMM over what it hangs on.
	SeatMM    float64 `json:"seat_mm"`
	HangMM    float64 `json:"hang_mm"`
	KgPerM    float64 `json:"kg_per_m"`
	CentsPerM int64   `json:"cents_per_m"`
	// Loads that it carries, by clear length, the shortest first.
	Loads []TrimmerLoad `json:"loads"`
}

// TrimmerLoad is what a trimmer carries, spread evenly, up to a clear length.
type TrimmerLoad struct {
	ClearMM       float64 `json:"clear_mm"`
	DesignKNPerM  float64 `json:"design_kn_per_m"`
	ServiceKNPerM float64 `json:"service_kn_per_m"`
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
	LengthStepMM float64 `json:"length_step_mm"`
	MaxLengthMM  float64 `json:"max_length_mm"`
	ShortestMM   float64 `json:"shortest_clear_mm"`
	MostPerRow   int     `json:"most_beams_per_row"`
	BearingMM    float64 `json:"bearing_mm"`
	// HeaderWidthMM, HeaderBearingMM, HeaderMaxMM are of catalogues from before
	// trimmers were products; they stay as they were stored.
	HeaderWidthMM   float64 `json:"header_width_mm"`
	HeaderBearingMM float64 `json:"header_bearing_mm"`
	HeaderMaxMM     float64 `json:"header_max_mm"`
	LineLoadKNPerM  float64 `json:"line_load_kn_per_m"`
	HumidityPercent float64 `json:"humidity_percent"`
	DesignHours     float64 `json:"design_hours"`
	FinishAgeDays   float64 `json:"finish_age_days"`
	ScreedMM        float64 `json:"screed_mm"`
	ScreedKNPerM3   float64 `json:"screed_kn_per_m3"`
	// FillCentsPerM2 is the price of a square metre of floor made good on site.
	FillCentsPerM2 int64 `json:"fill_cents_per_m2"`
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
	out := arrange.Rules{LengthStepMM: r.LengthStepMM, MaxLengthMM: r.MaxLengthMM, ShortestMM: r.ShortestMM, MostPerRow: r.MostPerRow,
		LineLoadNPerMM: r.LineLoadKNPerM, FillCentsPerM2: r.FillCentsPerM2}
	for _, t := range c.Trimmers {
		out.Trimmers = append(out.Trimmers, arrange.Trimmer{Name: t.Name, WidthMM: t.WidthMM, SeatMM: t.SeatMM, HangMM: t.HangMM,
			LongestMM: t.Loads[len(t.Loads)-1].ClearMM, CentsPerM: t.CentsPerM})
	}
	return out
}

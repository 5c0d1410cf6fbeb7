package office

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/strength"
)

// Limits on a catalogue. They are far beyond anything that is made; they keep
// sums exact and slips of the keyboard out.
const (
	maxNameChars   = 32
	maxEntries     = 200
	maxPatterns    = 50
	maxSizeMM      = 5_000
	minPitchMM     = 100
	minBlockMM     = 50
	maxMassGPerM   = 2_000_000
	maxPieceMassG  = 2_000_000
	maxPerPallet   = 2_000
	maxCents       = 10_000_000
	maxStepMM      = 1_000
	leastBearingMM = 20
	mostBearingMM  = 1_000
	leastBeamMM    = 1_000
	mostBeamMM     = 30_000
	maxCorners     = 100
	maxWireRows    = 50
	maxWiresInRow  = 50
)

// Profile is a beam's cross-section and the wire patterns it is cast with.
type Profile struct {
	Name string
	// HeightMM, WidthMM (the greatest), MassGPerM and WirePatterns follow from
	// what is below; catalogues from before strength was computed have only
	// them.
	HeightMM     int
	WidthMM      int
	MassGPerM    int64
	WirePatterns []string
	Outline      strength.Outline
	Patterns     []design.Pattern
}

// Block is one kind of infill block and the pallet it travels on.
type Block struct {
	Name string
	// Profiles that the block lies on.
	Profiles []string
	// LengthMM is the block's size along the beams.
	LengthMM int
	// PitchMM is the distance between the centres of neighbouring single rows
	// with this block between them.
	PitchMM         int
	MassG           int64
	Cents           int64
	BlocksPerPallet int
	PalletLengthMM  int
	PalletWidthMM   int
	PalletHeightMM  int
	PalletTareG     int64
}

// Basis is what the strength of a yard's beams rests on. Of its rules, those
// that stand in the catalogue itself are taken from there.
type Basis struct {
	Wire     strength.Wire
	Concrete design.Concrete
	Casting  strength.Casting
	National strength.National
	Rules    design.Rules
	// Trimmers carry the beams cut short by openings, the cheapest first.
	Trimmers []design.Trimmer
}

// Catalogue is what a yard makes and the limits within which it makes it.
type Catalogue struct {
	Profiles        []Profile
	Blocks          []Block
	LengthStepMM    int
	MinBearingMM    int
	MaxBeamLengthMM int
	// Basis is nil in catalogues from before strength was computed.
	Basis *Basis
}

// Engine returns the catalogue as the design engine takes it. It is of use
// only where there is a Basis.
func (c Catalogue) Engine() design.Catalogue {
	var e design.Catalogue
	for _, p := range c.Profiles {
		e.Profiles = append(e.Profiles, design.Profile{Name: p.Name, Outline: p.Outline, Patterns: p.Patterns})
	}
	for _, b := range c.Blocks {
		for _, profile := range b.Profiles {
			e.Blocks = append(e.Blocks, design.Block{
				Name: b.Name, Profile: profile, LengthMM: float64(b.LengthMM), PitchMM: float64(b.PitchMM), MassG: b.MassG, Cents: b.Cents,
			})
		}
	}
	if c.Basis != nil {
		e.Wire, e.Concrete, e.Casting, e.National, e.Rules = c.Basis.Wire, c.Basis.Concrete, c.Basis.Casting, c.Basis.National, c.Basis.Rules
		e.Trimmers = c.Basis.Trimmers
	}
	e.Rules.LengthStepMM, e.Rules.MaxLengthMM = float64(c.LengthStepMM), float64(c.MaxBeamLengthMM)
	return e
}

// completed returns the catalogue with what follows from its outlines and
// patterns. What was given and differs from it is a mistake that k notes.
func (c Catalogue) completed(k *checker) Catalogue {
	c.Profiles = slices.Clone(c.Profiles)
	for i := range c.Profiles {
		p := &c.Profiles[i]
		where := fmt.Sprintf("profiles[%d]", i)
		if n := len(p.Outline); n > maxCorners {
			k.fault.At(where+".outline", strconv.Itoa(n), "are too many corners", strconv.Itoa(maxCorners))
			continue
		}
		section, err := strength.NewSection(p.Outline)
		if err != nil {
			k.fault.At(where+".outline", "", err.Error(), "the corners of the cross-section in turn, symmetric about x 0, the bottom at y 0")
			continue
		}
		width := c.Engine().WidthMM(p.Name)
		k.same(where+".height_mm", &p.HeightMM, section.HeightMM)
		k.same(where+".width_mm", &p.WidthMM, width)
		mass := c.Engine().MassGPerM(p.Name)
		if given := p.MassGPerM; given != 0 && (given < mass*98/100 || given > mass*102/100) {
			k.fault.At(where+".mass_g_per_m", strconv.FormatInt(given, 10), "is not what the outline weighs", fmt.Sprintf("%d, or nothing", mass))
		}
		p.MassGPerM = mass
		var names []string
		for _, w := range p.Patterns {
			names = append(names, w.Name)
		}
		if len(p.WirePatterns) > 0 && !slices.Equal(p.WirePatterns, names) {
			k.fault.At(where+".wire_patterns", strings.Join(p.WirePatterns, ", "), "are not the names of the patterns", strings.Join(names, ", ")+", or nothing")
		}
		p.WirePatterns = names
	}
	return c
}

// same sets a number to what follows from elsewhere, and notes one that was
// given and differs.
func (k *checker) same(where string, given *int, follows float64) {
	want := int(math.Round(follows))
	if *given != 0 && *given != want {
		k.fault.At(where, strconv.Itoa(*given), "is not what the outline gives", fmt.Sprintf("%d, or nothing", want))
	}
	*given = want
}

// profile returns the catalogue's entry; nil when there is none.
func (c Catalogue) profile(name string) *Profile {
	for i := range c.Profiles {
		if c.Profiles[i].Name == name {
			return &c.Profiles[i]
		}
	}
	return nil
}

// block returns the catalogue's entry; nil when there is none.
func (c Catalogue) block(name string) *Block {
	for i := range c.Blocks {
		if c.Blocks[i].Name == name {
			return &c.Blocks[i]
		}
	}
	return nil
}

func (c Catalogue) profileNames() string {
	return someNames(c.Profiles, func(p Profile) string { return p.Name })
}

func (c Catalogue) blockNames() string {
	return someNames(c.Blocks, func(b Block) string { return b.Name })
}

// someNames lists what a person may choose from, as long as it can be read.
func someNames[A any](entries []A, name func(A) string) string {
	const most = 12
	var names []string
	for i, e := range entries {
		if i == most {
			return fmt.Sprintf("%s and %d more", strings.Join(names, ", "), len(entries)-most)
		}
		names = append(names, name(e))
	}
	return strings.Join(names, ", ")
}

// checked returns the catalogue with what follows from what it says, or a
// fault that names everything that is wrong in it.
func (c Catalogue) checked() (Catalogue, error) {
	k := &checker{fault: fault.New(fault.Invalid, ReasonBadCatalogue, "The catalogue has mistakes; the yard's catalogue stays as it was.")}
	if c.Basis == nil {
		k.fault.At("basis", "", "is missing", "wire, concrete, casting, national choices and rules of laying: without them no beam can be checked")
		return c, k.fault
	}
	c = c.completed(k)
	k.basis(*c.Basis)
	k.number("length_step_mm", int64(c.LengthStepMM), 1, maxStepMM)
	k.number("min_bearing_mm", int64(c.MinBearingMM), leastBearingMM, mostBearingMM)
	k.number("max_beam_length_mm", int64(c.MaxBeamLengthMM), leastBeamMM, mostBeamMM)
	k.number("profiles", int64(len(c.Profiles)), 1, maxEntries)
	k.number("blocks", int64(len(c.Blocks)), 1, maxEntries)
	seen := map[string]bool{}
	for i, p := range c.Profiles {
		k.profile(fmt.Sprintf("profiles[%d]", i), p, seen)
	}
	seen = map[string]bool{}
	for i, b := range c.Blocks {
		k.block(fmt.Sprintf("blocks[%d]", i), b, seen)
	}
	if len(k.fault.Places) == 0 {
		if err := c.Engine().Try(); err != nil {
			k.fault.At("catalogue", "", err.Error(), "")
		}
	}
	if len(k.fault.Places) == 0 {
		return c, nil
	}
	if more := len(k.fault.Places) - maxPlaces; more > 0 {
		k.fault.Places = k.fault.Places[:maxPlaces]
		k.fault.At("catalogue", "", fmt.Sprintf("and %d more", more), "")
	}
	return c, k.fault
}

// checker collects what is wrong.
type checker struct {
	fault *fault.Error
	// weightless says that the density is wrong, of which masses follow.
	weightless bool
}

func (k *checker) profile(where string, p Profile, seen map[string]bool) {
	k.name(where+".name", p.Name, seen)
	k.number(where+".height_mm", int64(p.HeightMM), 1, maxSizeMM)
	k.number(where+".width_mm", int64(p.WidthMM), 1, maxSizeMM)
	if !k.weightless {
		k.number(where+".mass_g_per_m", p.MassGPerM, 1, maxMassGPerM)
	}
	k.number(where+".wire_patterns", int64(len(p.WirePatterns)), 1, maxPatterns)
	patterns := map[string]bool{}
	for i, pattern := range p.WirePatterns {
		k.name(fmt.Sprintf("%s.wire_patterns[%d]", where, i), pattern, patterns)
	}
	for i, w := range p.Patterns {
		k.pattern(fmt.Sprintf("%s.patterns[%d]", where, i), w, p.HeightMM)
	}
}

// pattern makes sure that wires lie in the beam.
func (k *checker) pattern(where string, w design.Pattern, heightMM int) {
	k.number(where+".cents_per_m", w.CentsPerM, 0, maxCents)
	k.number(where+".rows", int64(len(w.Rows)), 1, maxWireRows)
	for i, r := range w.Rows {
		row := fmt.Sprintf("%s.rows[%d]", where, i)
		k.number(row+".count", int64(r.Count), 1, maxWiresInRow)
		if !(r.HeightMM > 0 && r.HeightMM < float64(heightMM)) {
			k.fault.At(row+".height_mm", fmt.Sprint(r.HeightMM), "does not lie in the beam", fmt.Sprintf("above 0 and below %d", heightMM))
		}
	}
}

func (k *checker) block(where string, b Block, seen map[string]bool) {
	k.name(where+".name", b.Name, seen)
	k.number(where+".profiles", int64(len(b.Profiles)), 1, maxEntries)
	k.number(where+".length_mm", int64(b.LengthMM), minBlockMM, maxSizeMM)
	k.number(where+".pitch_mm", int64(b.PitchMM), minPitchMM, maxSizeMM)
	k.number(where+".mass_g", b.MassG, 1, maxPieceMassG)
	k.number(where+".cents", b.Cents, 0, maxCents)
	k.number(where+".blocks_per_pallet", int64(b.BlocksPerPallet), 1, maxPerPallet)
	k.number(where+".pallet_length_mm", int64(b.PalletLengthMM), 1, maxSizeMM)
	k.number(where+".pallet_width_mm", int64(b.PalletWidthMM), 1, maxSizeMM)
	k.number(where+".pallet_height_mm", int64(b.PalletHeightMM), 1, maxSizeMM)
	k.number(where+".pallet_tare_g", b.PalletTareG, 0, maxPieceMassG)
}

func (k *checker) number(where string, value, least, most int64) {
	if value >= least && value <= most {
		return
	}
	problem := "is too large"
	if value < least {
		problem = "is too small"
	}
	k.fault.At(where, strconv.FormatInt(value, 10), problem, fmt.Sprintf("%d to %d", least, most))
}

// name refuses two names that differ in capitals only: nobody hears the
// difference on the telephone.
func (k *checker) name(where, name string, seen map[string]bool) {
	allowed := fmt.Sprintf("1 to %d printable characters, no blanks at the ends", maxNameChars)
	switch {
	case name == "":
		k.fault.At(where, "", "is missing", allowed)
	case utf8.RuneCountInString(name) > maxNameChars:
		k.fault.At(where, "", "is too long", allowed)
	case strings.TrimSpace(name) != name || !printable(name, false):
		k.fault.At(where, strings.ToValidUTF8(name, "?"), "is no good name", allowed)
	case seen[strings.ToLower(name)]:
		k.fault.At(where, name, "is there twice", "a name of its own")
	}
	seen[strings.ToLower(name)] = true
}

// printable reports whether s can be put on paper; lines says whether line
// breaks and tabs are welcome.
func printable(s string, lines bool) bool {
	if !utf8.ValidString(s) {
		return false
	}
	for _, r := range s {
		if lines && (r == '\n' || r == '\r' || r == '\t') {
			continue
		}
		if !unicode.IsPrint(r) {
			return false
		}
	}
	return true
}

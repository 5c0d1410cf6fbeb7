package office

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/laying"
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
	maxStepMM      = 1_000
	leastBearingMM = 20
	mostBearingMM  = 1_000
	leastBeamMM    = 1_000
	mostBeamMM     = 30_000
)

// Catalogue is what a yard makes and the limits within which it makes it.
type Catalogue struct {
	Profiles        []laying.Profile
	Blocks          []laying.Block
	LengthStepMM    int
	MinBearingMM    int
	MaxBeamLengthMM int
}

// profile returns the catalogue's entry; nil when there is none.
func (c Catalogue) profile(name string) *laying.Profile {
	for i := range c.Profiles {
		if c.Profiles[i].Name == name {
			return &c.Profiles[i]
		}
	}
	return nil
}

// block returns the catalogue's entry; nil when there is none.
func (c Catalogue) block(name string) *laying.Block {
	for i := range c.Blocks {
		if c.Blocks[i].Name == name {
			return &c.Blocks[i]
		}
	}
	return nil
}

func (c Catalogue) profileNames() string {
	return someNames(c.Profiles, func(p laying.Profile) string { return p.Name })
}

func (c Catalogue) blockNames() string {
	return someNames(c.Blocks, func(b laying.Block) string { return b.Name })
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

// check returns a fault that names everything that is wrong in the catalogue.
func (c Catalogue) check() error {
	k := &checker{fault: fault.New(fault.Invalid, ReasonBadCatalogue, "The catalogue has mistakes; the yard's catalogue stays as it was.")}
	k.number("length_step_mm", int64(c.LengthStepMM), 1, maxStepMM)
	k.number("min_bearing_mm", int64(c.MinBearingMM), leastBearingMM, mostBearingMM)
	k.number("max_beam_length_mm", int64(c.MaxBeamLengthMM), leastBeamMM, mostBeamMM)
	k.number("profiles", int64(len(c.Profiles)), 1, maxEntries)
	k.number("blocks", int64(len(c.Blocks)), 0, maxEntries)
	seen := map[string]bool{}
	for i, p := range c.Profiles {
		k.profile(fmt.Sprintf("profiles[%d]", i), p, seen)
	}
	seen = map[string]bool{}
	for i, b := range c.Blocks {
		k.block(fmt.Sprintf("blocks[%d]", i), b, seen)
	}
	if len(k.fault.Places) == 0 {
		return nil
	}
	if more := len(k.fault.Places) - maxPlaces; more > 0 {
		k.fault.Places = k.fault.Places[:maxPlaces]
		k.fault.At("catalogue", "", fmt.Sprintf("and %d more", more), "")
	}
	return k.fault
}

// checker collects what is wrong.
type checker struct{ fault *fault.Error }

func (k *checker) profile(where string, p laying.Profile, seen map[string]bool) {
	k.name(where+".name", p.Name, seen)
	k.number(where+".height_mm", int64(p.HeightMM), 1, maxSizeMM)
	k.number(where+".width_mm", int64(p.WidthMM), 1, maxSizeMM)
	k.number(where+".mass_g_per_m", p.MassGPerM, 1, maxMassGPerM)
	k.number(where+".wire_patterns", int64(len(p.WirePatterns)), 1, maxPatterns)
	patterns := map[string]bool{}
	for i, pattern := range p.WirePatterns {
		k.name(fmt.Sprintf("%s.wire_patterns[%d]", where, i), pattern, patterns)
	}
}

func (k *checker) block(where string, b laying.Block, seen map[string]bool) {
	k.name(where+".name", b.Name, seen)
	k.number(where+".length_mm", int64(b.LengthMM), minBlockMM, maxSizeMM)
	k.number(where+".pitch_mm", int64(b.PitchMM), minPitchMM, maxSizeMM)
	k.number(where+".mass_g", b.MassG, 1, maxPieceMassG)
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

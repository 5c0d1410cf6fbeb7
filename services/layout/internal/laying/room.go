package laying

import "fmt"

// Profile is a beam's cross-section in the yard's catalogue.
type Profile struct {
	Name     string
	HeightMM int
	// WidthMM is the greatest width, at the bottom flange.
	WidthMM      int
	MassGPerM    int64
	WirePatterns []string
}

// HasPattern reports whether the profile is cast with the wire pattern.
func (p Profile) HasPattern(pattern string) bool {
	for _, have := range p.WirePatterns {
		if have == pattern {
			return true
		}
	}
	return false
}

// BeamMassG returns the mass of a beam, rounded half up to whole grams.
func (p Profile) BeamMassG(lengthMM int) int64 {
	return (int64(lengthMM)*p.MassGPerM + 500) / 1000
}

// Block is one kind of infill block and the pallet it travels on.
type Block struct {
	Name string
	// LengthMM is the block's size along the beams.
	LengthMM int
	// PitchMM is the distance between the centres of neighbouring single
	// rows with this block between them.
	PitchMM         int
	MassG           int64
	BlocksPerPallet int
	PalletLengthMM  int
	PalletWidthMM   int
	PalletHeightMM  int
	PalletTareG     int64
}

// Rules are the yard's limits on beams.
type Rules struct {
	LengthStepMM    int
	MinBearingMM    int
	MaxBeamLengthMM int
}

// Room is a rectangle between supporting walls, as the room schedule gives it.
type Room struct {
	Floor       string
	Room        string
	Name        string
	LayingOrder int
	ClearSpanMM int
	WidthMM     int
	// SpanDirection of the beams on the drawing: "x" or "y".
	SpanDirection      string
	BearingMM          int
	ImposedLoadNPerM2  int
	FinishesLoadNPerM2 int
	Profile            string
	WirePattern        string
	Block              string
	BeamsPerRow        int
}

// RoomPlan is the floor over one room.
type RoomPlan struct {
	Room               string
	Name               string
	LayingOrder        int
	ClearSpanMM        int
	WidthMM            int
	SpanDirection      string
	BearingMM          int
	PitchMM            int
	FillerWidthMM      int
	Block              string
	BlockCount         int
	CutBlockCount      int
	ImposedLoadNPerM2  int
	FinishesLoadNPerM2 int
	Beams              []Beam
}

// Beam is one beam and the place it will lie.
type Beam struct {
	Mark        string
	Row         int
	PlaceInRow  int
	Profile     string
	WirePattern string
	LengthMM    int
	MassG       int64
	// OffsetMM is the distance of the beam's centre line from the face of
	// the first wall.
	OffsetMM int
}

// Problem is one reason why a room cannot be laid as its schedule asks. Field
// is the column of the room schedule that has to change.
type Problem struct {
	Field   string
	Value   string
	Problem string
	Allowed string
}

// Mark returns what is painted on a beam: floor-room-number.
func Mark(floor, room string, number int) string {
	return fmt.Sprintf("%s-%s-%02d", floor, room, number)
}

package daybook

import "spanyard.example/services/dispatch/internal/lashing"

// Place is a position on the earth (WGS 84).
type Place struct {
	LatitudeDeg  float64
	LongitudeDeg float64
}

// Window is a stretch of one day in minutes after midnight.
type Window struct {
	OpensMinute  int
	ClosesMinute int
}

// Product says which beams are interchangeable if re-marked.
type Product struct {
	Profile     string
	WirePattern string
	LengthMM    int
}

// Profile is a cross-section as the catalogue gives it.
type Profile struct {
	Name         string
	HeightMM     int
	WidthMM      int
	MassGPerM    int64
	WirePatterns []string
}

// BlockKind is one kind of block and the pallet it travels on.
type BlockKind struct {
	Name            string
	LengthMM        int
	PitchMM         int
	MassG           int64
	BlocksPerPallet int
	PalletLengthMM  int
	PalletWidthMM   int
	PalletHeightMM  int
	PalletTareG     int64
}

// Rules of loading and driving.
type Rules struct {
	TimeZone          string
	Place             Place
	RoadFactorPercent int
	SpeedKMPerH       int
	LoadingMinutes    int
	MaxTiers          int
	MaxPileHeightMM   int
	BearerHeightMM    int
	BearerInsetMM     int
	MaxOverhangMM     int
	PileGapMM         int
	MaxLanes          int
	MaxTailOverhangMM int
	// LeadMinutes from planning to the start of loading, at least.
	LeadMinutes int
	// LoadingBays is how many trucks are loaded at a time; 0 is as many as come.
	LoadingBays int
	// Forklifts load one truck at a time each; 0 is as many as are needed.
	Forklifts int
	// LoadingMinutesPerPile comes on top of LoadingMinutes.
	LoadingMinutesPerPile int
	Driver                DriverRules
	// Lashing is zero where the yard has set nothing: then the default counts.
	Lashing lashing.Rules
}

// DriverRules are limits of one driver's day; 0 is no limit. A truck has one
// driver, who takes breaks in the yard between two runs.
type DriverRules struct {
	MaxDrivingMinutes         int
	DrivingBeforeBreakMinutes int
	BreakMinutes              int
}

// Lashings are the rules by which lashings are counted.
func (r Rules) Lashings() lashing.Rules {
	if r.Lashing == (lashing.Rules{}) {
		return lashing.Default()
	}
	return r.Lashing
}

// Truck as its papers and its weighing say.
type Truck struct {
	ID              string
	Name            string
	DeckLengthMM    int
	DeckWidthMM     int
	PayloadKG       int
	TareFrontKG     int
	TareRearKG      int
	MaxFrontKG      int
	MaxRearKG       int
	WheelbaseMM     int
	DeckStartMM     int
	OverallLengthMM int
	MaxGrossKG      int
	Hours           Window
	HasCrane        bool
	// MaxDrops is how many sites a run visits at most; 0 is as many as any may.
	MaxDrops int
}

// Site is where floors are laid.
type Site struct {
	ID                   string
	Name                 string
	Place                Place
	MaxGrossKG           int
	MaxVehicleLengthMM   int
	Opens                Window
	UnloadFixedMinutes   int
	UnloadMinutesPerPile int
	HasLifting           bool
	Contact              string
	Places               int
	// LaidPerHour is how many beams the crews lay; 0 is not known.
	LaidPerHour int
	// HoldsBeams that are not laid yet, at most; 0 is no limit.
	HoldsBeams int
}

// BeamDemand is one beam to be laid.
type BeamDemand struct {
	Mark    string
	Product Product
	MassG   int64
}

// RoomDemand is what one room needs, beams in laying order.
type RoomDemand struct {
	Room       string
	BlockKind  string
	BlockCount int
	Beams      []BeamDemand
}

// FloorKey names a floor of a job.
type FloorKey struct {
	JobID string
	Floor string
}

// Floor is an approved laying plan with all that loading needs of it.
type Floor struct {
	FloorKey
	Revision int
	// In laying order.
	Rooms    []RoomDemand
	Profiles []Profile
	Blocks   []BlockKind
}

// room returns the named room's demand and place in the laying order.
func (f *Floor) room(name string) (int, *RoomDemand) {
	for i := range f.Rooms {
		if f.Rooms[i].Room == name {
			return i, &f.Rooms[i]
		}
	}
	return -1, nil
}

// CallOff is a site's request for part of a floor on a morning.
type CallOff struct {
	ID     string
	SiteID string
	FloorKey
	// Rooms asked for; all rooms of the floor when empty.
	Rooms  []string
	Day    string
	Window Window
}

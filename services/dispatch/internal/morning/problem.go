// Package morning holds the words in which a morning is planned: what is asked
// for, what is free, what may drive, and the plan that comes out of it.
//
// The types are plain values: lengths in whole millimetres, piece masses in
// grams, vehicle masses in kilograms, times in minutes after midnight of the
// yard's own clock. Nothing here computes; the builder (packages picking,
// loading, routing) and the checker (package check) share these types and no
// other code, so that a mistake in one of them is not repeated by the other.
package morning

// Problem is everything that a plan rests on. A plan depends on nothing else:
// the same problem gives the same plan.
type Problem struct {
	Rules  Rules
	Trucks []Truck
	Sites  []Site
	// Orders are the call-offs of the day that are not yet on confirmed runs.
	Orders     []Order
	Profiles   []Profile
	BlockKinds []BlockKind
	Stock      Stock
	// Busy are the confirmed runs of the day.
	Busy []BusyRun
	// Fixed are runs that the plan is to have as they are: truck, times, and what
	// lies where on the deck. Their items are asked for by Orders and come out of
	// Stock; equal pieces may change places.
	Fixed []Run
	// EarliestLoadingMinute: no run starts loading before it.
	EarliestLoadingMinute int
	// Start are runs that the search begins with, as far as they can be made: a
	// plan from before, most of which may still do.
	Start []Run `json:"-"`
	// Prefer are the pieces that beams are to get if they are free.
	Prefer map[BeamPlace]string `json:"-"`
	// PalletPrefix starts the id of every pallet that the plan makes up, so
	// that ids of different plans differ.
	PalletPrefix string
	// Travel are ways of which distance and time are known; the others are worked
	// out from places, road factor and speed.
	Travel []Leg
	// Seed of the search for better plans.
	Seed uint64
}

// BeamPlace is where a call-off wants a beam.
type BeamPlace struct{ CallOffID, Mark string }

// Leg is a way between the yard, whose id is empty, and a site, or two sites.
type Leg struct {
	FromID, ToID    string
	Metres, Minutes int
}

// Place is a position on the earth (WGS 84).
type Place struct {
	LatitudeDeg, LongitudeDeg float64
}

// Window is a stretch of the day in minutes after midnight. Both ends belong
// to it.
type Window struct {
	OpensMinute, ClosesMinute int
}

// Rules are the yard's rules of loading and driving.
type Rules struct {
	Place             Place
	RoadFactorPercent int
	SpeedKmPerH       int
	LoadingMinutes    int
	MaxTiers          int
	MaxPileHeightMM   int
	BearerHeightMM    int
	BearerInsetMM     int
	MaxOverhangMM     int
	PileGapMM         int
	MaxLanes          int
	MaxTailOverhangMM int
	// LoadingBays is how many trucks are loaded at a time; 0 is as many as come.
	LoadingBays int
	// Forklifts load one truck at a time each; 0 is as many as are needed.
	Forklifts int
	// LoadingMinutesPerPile comes on top of LoadingMinutes.
	LoadingMinutesPerPile int
	Driver                DriverRules
}

// DriverRules are limits of one driver's day; 0 is no limit. A truck has one
// driver, who takes breaks in the yard: so long between being back and loading
// again counts as one.
type DriverRules struct {
	MaxDrivingMinutes         int
	DrivingBeforeBreakMinutes int
	BreakMinutes              int
}

// Truck as its papers and its weighing say.
type Truck struct {
	ID              string
	Name            string
	DeckLengthMM    int
	DeckWidthMM     int
	PayloadKg       int
	TareFrontKg     int
	TareRearKg      int
	MaxFrontKg      int
	MaxRearKg       int
	WheelbaseMM     int
	DeckStartMM     int
	OverallLengthMM int
	MaxGrossKg      int
	Hours           Window
	HasCrane        bool
	// MaxDrops is how many sites a run of the truck visits at most; 0 is as many
	// as any run may.
	MaxDrops int
}

// Site is where floors are laid.
type Site struct {
	ID    string
	Name  string
	Place Place
	// MaxGrossKg and MaxVehicleLengthMM: 0 is no limit.
	MaxGrossKg         int
	MaxVehicleLengthMM int
	// Unloading starts while the site is open.
	Opens                Window
	UnloadFixedMinutes   int
	UnloadMinutesPerPile int
	HasLifting           bool
	// Places is how many trucks unload at a time; less than 1 counts as 1.
	Places int
	// LaidPerHour is how many beams the crews lay; 0 is not known.
	LaidPerHour int
	// HoldsBeams that are not laid yet, at most, when unloading ends; 0 is no
	// limit. It binds where LaidPerHour is known.
	HoldsBeams int
}

// Order is one call-off with all that has to go.
type Order struct {
	CallOffID string
	SiteID    string
	JobID     string
	Floor     string
	// Unloading starts within it.
	Window Window
	// Rooms in laying order.
	Rooms []Room
	// NotBy are the trucks that must not bring any of it.
	NotBy []string
}

// Room is what one room of an order needs. Its blocks lie before its beams in
// the laying order.
type Room struct {
	Name       string
	BlockKind  string
	BlockCount int
	// Beams in laying order.
	Beams []Beam
}

// Beam is one beam to be laid. The mass is the drawing's; a plan counts with
// the mass of the piece that is chosen for it.
type Beam struct {
	Mark    string
	Product Product
	MassG   int64
}

// Product says which beams are interchangeable if re-marked.
type Product struct {
	Profile     string
	WirePattern string
	LengthMM    int
}

// Profile is a cross-section of the catalogue.
type Profile struct {
	Name     string
	HeightMM int
	WidthMM  int
}

// BlockKind is one kind of infill block and the pallet it travels on.
type BlockKind struct {
	Name            string
	BlocksPerPallet int
	PalletLengthMM  int
	PalletWidthMM   int
	PalletHeightMM  int
	PalletTareG     int64
	// MassG of one block by the catalogue; used for what cannot be served.
	MassG int64
}

// Stock is what may leave the yard and is nobody's.
type Stock struct {
	Beams  []FreeBeam
	Blocks []FreeBlocks
}

// FreeBeam is a beam that may leave.
type FreeBeam struct {
	PieceID string
	BatchID string
	Product Product
	MassG   int64
	StackID string
	// Tier of the stack from the bottom, from 1.
	Tier int
	// Above counts the pieces in higher tiers of its stack, free or not.
	Above int
	// ReleaseRank orders batches by the day of their release, then of their
	// making: the lower
	// leaves first. Equal ranks go by batch id.
	ReleaseRank int
	// KeptFor is the job that it was made for and is kept for; empty when it is
	// for anybody.
	KeptFor string
}

// FreeBlocks are the loose blocks of one batch on one stack.
type FreeBlocks struct {
	BatchID     string
	Kind        string
	Count       int
	MassGEach   int64
	StackID     string
	ReleaseRank int
}

// BusyRun is a confirmed run: its truck is away from LoadingMinute to
// BackMinute and takes a place at each of its stops.
type BusyRun struct {
	TruckID       string
	Trip          int
	LoadingMinute int
	LeaveMinute   int
	BackMinute    int
	// DrivingMinutes from the yard by all its stops and back.
	DrivingMinutes int
	Stops          []BusyStop
}

// BusyStop is an unloading place taken by a confirmed run.
type BusyStop struct {
	SiteID       string
	UnloadMinute int
	LeaveMinute  int
	// Beams that it brings.
	Beams int
}

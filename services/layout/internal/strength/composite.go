package strength

import "math"

// Topping is concrete cast on beams and blocks that then carries with them.
type Topping struct {
	// ThicknessMM over the blocks.
	ThicknessMM float64 `json:"thickness_mm"`
	// UndersideMM is the height of the blocks' top above the beam's soffit; 0
	// is the beam's top. Where the blocks are lower the topping also lies
	// against the sides of the beam.
	UndersideMM float64 `json:"underside_mm"`
	// EffectiveWidthMM for each beam; 0 takes that of 5.3.2.1.
	EffectiveWidthMM float64     `json:"effective_width_mm"`
	FckMPa           float64     `json:"fck_mpa"`
	Cement           CementClass `json:"cement_class"`
	Aggregate        float64     `json:"aggregate_factor"`
	// CastAgeDays is the age of the beam when the topping is cast,
	// CuringDays how long the topping is kept moist.
	CastAgeDays float64 `json:"cast_age_days"`
	CuringDays  float64 `json:"curing_days"`
	// ConstructionKNPerM2 of people and plant while it is cast.
	ConstructionKNPerM2 float64 `json:"construction_kn_per_m2"`
	// Surface of the beam under the topping.
	Surface Surface `json:"surface"`
	// LinksMM2PerM of steel that crosses the interface, and its strength.
	LinksMM2PerM float64 `json:"links_mm2_per_m"`
	LinksFykMPa  float64 `json:"links_fyk_mpa"`
}

// Surface says how rough a beam is where a topping lies on it (6.2.5(2)).
type Surface string

// The surfaces.
const (
	VerySmooth Surface = "very_smooth" // cast against steel, plastic or planed timber
	Smooth     Surface = "smooth"      // slipformed, extruded, or left free after vibration
	Rough      Surface = "rough"       // at least 3 mm rough about every 40 mm
	Indented   Surface = "indented"    // with keys after Figure 6.9
)

// adhesion and friction, c and mu of 6.2.5(2): the text of 2004 with very
// smooth from memory, and the corrigendum of 2010.
var (
	interfaces2004 = map[Surface][2]float64{VerySmooth: {0.25, 0.5}, Smooth: {0.35, 0.6}, Rough: {0.45, 0.7}, Indented: {0.50, 0.9}}
	interfaces2010 = map[Surface][2]float64{VerySmooth: {0.025, 0.5}, Smooth: {0.20, 0.6}, Rough: {0.40, 0.7}, Indented: {0.50, 0.9}}
)

// InterfaceFactors are c and mu of 6.2.5(2).
func (n National) InterfaceFactors(s Surface) (adhesion, friction float64) {
	f := interfaces2010[s]
	if n.Interface2004 {
		f = interfaces2004[s]
	}
	return f[0], f[1]
}

// InterfaceInput names the arguments of 6.24 and 6.25 for a topping without
// force across its interface and links at right angles to it.
type InterfaceInput struct {
	// Share of the compression that lies in the topping.
	Share          float64
	ShearN         float64
	LeverMM        float64
	ContactMM      float64
	Adhesion       float64
	Friction       float64
	FckMPa         float64
	FcdMPa         float64
	FctdMPa        float64
	LinksMM2PerM   float64
	LinksDesignMPa float64
}

// Interface holds the steps of the shear at an interface.
type Interface struct {
	// DemandMPa is vEdi (6.24); AdhesionMPa, LinksMPa and CrushingMPa are the
	// terms of 6.25, ResistanceMPa is vRdi.
	DemandMPa, AdhesionMPa, LinksMPa, CrushingMPa, ResistanceMPa float64
}

// InterfaceOf evaluates 6.24 and 6.25.
func InterfaceOf(in InterfaceInput) Interface {
	r := Interface{
		DemandMPa:   in.Share * in.ShearN / (in.LeverMM * in.ContactMM),
		AdhesionMPa: in.Adhesion * in.FctdMPa,
		LinksMPa:    in.LinksMM2PerM / (1000 * in.ContactMM) * in.LinksDesignMPa * in.Friction,
		CrushingMPa: 0.5 * 0.6 * (1 - in.FckMPa/250) * in.FcdMPa,
	}
	r.ResistanceMPa = math.Min(r.AdhesionMPa+r.LinksMPa, r.CrushingMPa)
	return r
}

// EffectiveFlangeMM is beff of 5.3.2.1 for a topping on one beam of a simply
// supported span: webs of a width at a distance of each other.
func EffectiveFlangeMM(webMM, distanceMM, spanMM float64) float64 {
	side := math.Max(0, (distanceMM-webMM)/2)
	reach := math.Min(0.2*side+0.1*spanMM, 0.2*spanMM)
	return webMM + 2*math.Min(reach, side)
}

// composite is a beam with its topping.
type composite struct {
	topping  Topping
	concrete Concrete
	// ratio is Ecm of the topping over that of the beam.
	ratio float64
	// low and high are the levels of the topping, widthMM its effective width.
	low, high, widthMM float64
	// area and centroid of the topping alone, net of the beam inside it.
	areaMM2, centroidMM float64
	// section of beam and topping, in concrete of the beam.
	section Transformed
	// contactMM is the width of the interface.
	contactMM float64
	// shrinkN is the force that differential shrinkage puts into a topping
	// that cannot shorten, at the end of the design life.
	shrinkN float64
}

// newComposite adds a topping to a section.
func newComposite(s Section, beam Concrete, t Topping, distanceMM, spanMM float64) composite {
	c := composite{topping: t, concrete: Concrete{FckMPa: t.FckMPa, Cement: t.Cement, Aggregate: t.Aggregate}}
	c.ratio = c.concrete.EcmMPa() / beam.EcmMPa()
	if c.low = t.UndersideMM; c.low == 0 {
		c.low = s.HeightMM
	}
	c.high = c.low + t.ThicknessMM
	if c.widthMM = t.EffectiveWidthMM; c.widthMM == 0 {
		c.widthMM = EffectiveFlangeMM(s.NarrowestMM(c.low, s.HeightMM), distanceMM, spanMM)
	}
	c.contactMM = s.contactMM(c.low)
	net := between(c.low, c.high, c.widthMM, c.widthMM)
	inside := s.above(c.low)
	net = moments{net.area - inside.area, net.first - inside.first, net.second - inside.second}
	c.areaMM2, c.centroidMM = net.area, net.first/net.area
	area := s.AreaMM2 + c.ratio*net.area
	first := s.AreaMM2*s.CentroidMM + c.ratio*net.first
	second := s.InertiaMM4 + s.AreaMM2*s.CentroidMM*s.CentroidMM + c.ratio*net.second
	c.section = Transformed{AreaMM2: area, CentroidMM: first / area}
	c.section.InertiaMM4 = second - area*c.section.CentroidMM*c.section.CentroidMM
	return c
}

// firstMomentMM3 is the first moment about the composite centroid of what lies
// above a level, in concrete of the beam.
func (c composite) firstMomentMM3(s Section, yMM float64) float64 {
	beam := s.above(yMM)
	from := math.Max(yMM, c.low)
	whole, inside := between(from, c.high, c.widthMM, c.widthMM), s.above(from)
	area := beam.area + c.ratio*(whole.area-inside.area)
	first := beam.first + c.ratio*(whole.first-inside.first)
	return first - area*c.section.CentroidMM
}

// shrinkMPa is the stress of differential shrinkage in the beam at a height:
// the topping's force, let go, presses on the composite section.
func (c composite) shrinkMPa(yMM float64) float64 {
	return c.section.StressMPa(c.shrinkN, c.shrinkN*(c.centroidMM-c.section.CentroidMM), yMM)
}

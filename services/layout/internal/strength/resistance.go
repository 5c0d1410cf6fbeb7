package strength

import (
	"errors"
	"math"
)

// Ultimate holds the result of strain compatibility at ultimate.
type Ultimate struct {
	// NeutralAxisMM is the depth of the neutral axis from the top.
	NeutralAxisMM float64
	// RowMPa is the stress of each row of wires, tension positive.
	RowMPa []float64
	// MomentNMM is MRd.
	MomentNMM float64
	// ConcreteN is the force of the stress block.
	ConcreteN float64
	// ToppingN is the part of it in a topping.
	ToppingN float64
	// LeverMM is the distance between the concrete's and the wires' resultant.
	LeverMM float64
	// BlockFactor is 0.9 where the zone narrows towards the top (3.1.7(3)),
	// else 1.
	BlockFactor float64
}

// SteelBranch says how wires go on after fpd (3.3.6(7)).
type SteelBranch int

// The branches.
const (
	// Horizontal: no strain limit needed.
	Horizontal SteelBranch = iota
	// Inclined to fpk/gammaS at eps_uk, limited to 0.9 eps_uk.
	Inclined
)

// UltimateInput names what strain compatibility needs.
type UltimateInput struct {
	Section Section
	Pattern Pattern
	// FcdMPa and the block of the concrete.
	FcdMPa, Lambda, Eta, EpsCU float64
	// FpdMPa is fp0.1k/gammaS, FpuMPa fpk/gammaS.
	FpdMPa, FpuMPa float64
	Branch         SteelBranch
	// PrestrainOf each row when the concrete beside it is unstrained.
	Prestrain []float64
	// Topping is nil for a beam alone.
	Topping *ToppingZone
}

// ToppingZone is a structural topping as part of a compression zone: a
// rectangle from the underside to the top, less the beam inside it.
type ToppingZone struct {
	UndersideMM, TopMM, WidthMM float64
	// StressMPa of its block, eta fcd of its own concrete.
	StressMPa float64
}

// ErrNoEquilibrium says that no depth of the neutral axis balances the forces.
var ErrNoEquilibrium = errors.New("no neutral axis balances the section: too many wires for the concrete")

// UltimateOf finds the neutral axis at which the concrete block balances the
// wires, each at its own height, with the top fibre at its ultimate strain.
func UltimateOf(in UltimateInput) (Ultimate, error) {
	height := in.heightMM()
	low, high := 1e-6*height, 20*height
	if in.balance(low) > 0 || in.balance(high) < 0 {
		return Ultimate{}, ErrNoEquilibrium
	}
	// Halving narrows the depth to less than a millionth of a millimetre.
	const halvings = 48
	for range halvings {
		mid := (low + high) / 2
		if in.balance(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	x := (low + high) / 2
	u := Ultimate{NeutralAxisMM: x, BlockFactor: in.narrowing(x), RowMPa: make([]float64, 0, len(in.Pattern.Rows))}
	force, lever, topping := in.concrete(x)
	u.ConcreteN, u.MomentNMM, u.ToppingN = force, lever, topping
	for i, r := range in.Pattern.Rows {
		stress := in.wireMPa(i, x)
		u.RowMPa = append(u.RowMPa, stress)
		u.MomentNMM -= stress * float64(r.Count) * in.Pattern.Wire.AreaMM2 * r.HeightMM
	}
	u.LeverMM = u.MomentNMM / u.ConcreteN
	return u, nil
}

// heightMM of the section with its topping.
func (in *UltimateInput) heightMM() float64 {
	if in.Topping != nil {
		return in.Topping.TopMM
	}
	return in.Section.HeightMM
}

// balance is concrete force less wire force at a depth of the neutral axis;
// it grows with the depth.
func (in *UltimateInput) balance(x float64) float64 {
	force, _, _ := in.concrete(x)
	for i, r := range in.Pattern.Rows {
		force -= in.wireMPa(i, x) * float64(r.Count) * in.Pattern.Wire.AreaMM2
	}
	return force
}

// concrete returns the force of the stress block, its moment about the soffit,
// and the part of the force in a topping.
func (in *UltimateInput) concrete(x float64) (forceN, momentNMM, toppingN float64) {
	level := math.Max(in.heightMM()-in.Lambda*x, 0)
	m := in.Section.above(level)
	stress := in.Eta * in.FcdMPa * in.narrowing(x)
	forceN, momentNMM = stress*m.area, stress*m.first
	if t := in.Topping; t != nil {
		from := math.Max(level, t.UndersideMM)
		whole := between(from, t.TopMM, t.WidthMM, t.WidthMM)
		beam := in.Section.above(from)
		toppingN = t.StressMPa * (whole.area - beam.area)
		forceN += toppingN
		momentNMM += t.StressMPa * (whole.first - beam.first)
	}
	return forceN, momentNMM, toppingN
}

// narrowing is the 10 % reduction of 3.1.7(3) where the width of the zone
// decreases towards the top fibre; a topping is wider than the beam.
func (in *UltimateInput) narrowing(x float64) float64 {
	if in.Topping != nil {
		return 1
	}
	level := math.Max(in.Section.HeightMM-in.Lambda*x, 0)
	if in.Section.strips[0].highWidth < in.Section.WidthMM(level+1e-3)-1e-6 {
		return 0.9
	}
	return 1
}

// wireMPa is the stress in a row when the neutral axis lies at depth x.
func (in *UltimateInput) wireMPa(row int, x float64) float64 {
	depth := in.heightMM() - in.Pattern.Rows[row].HeightMM
	strain := in.Prestrain[row] + in.EpsCU*(depth-x)/x
	e := in.Pattern.Wire.ModulusMPa
	yield := in.FpdMPa / e
	switch {
	case strain <= -yield:
		return -in.FpdMPa
	case strain <= yield:
		return strain * e
	case in.Branch == Horizontal:
		return in.FpdMPa
	default:
		uk := in.Pattern.Wire.StrainLimit
		s := math.Min(strain, 0.9*uk)
		return in.FpdMPa + (in.FpuMPa-in.FpdMPa)*(s-yield)/(uk-yield)
	}
}

// ShearCracked holds the steps of equation 6.2.
type ShearCracked struct {
	K, Rho, AxialMPa, StressMPa, MinStressMPa, ResistanceN float64
}

// ShearCrackedInput names the arguments of 6.2.
type ShearCrackedInput struct {
	FckMPa, FcdMPa, GammaC       float64
	WidthMM, DepthMM, TensileMM2 float64
	AxialN, AreaMM2              float64
	// CRdc and K1 are national choices; recommended 0.18/gammaC and 0.15.
	CRdc, K1 float64
}

// ShearCrackedOf evaluates 6.2.2(1).
func ShearCrackedOf(in ShearCrackedInput) ShearCracked {
	var r ShearCracked
	r.K = math.Min(2, 1+math.Sqrt(200/in.DepthMM))
	r.Rho = math.Min(0.02, in.TensileMM2/(in.WidthMM*in.DepthMM))
	r.AxialMPa = math.Min(in.AxialN/in.AreaMM2, 0.2*in.FcdMPa)
	r.StressMPa = in.CRdc * r.K * math.Cbrt(100*r.Rho*in.FckMPa)
	r.MinStressMPa = 0.035 * math.Pow(r.K, 1.5) * math.Sqrt(in.FckMPa)
	r.ResistanceN = (math.Max(r.StressMPa, r.MinStressMPa) + in.K1*r.AxialMPa) * in.WidthMM * in.DepthMM
	return r
}

// ShearUncrackedN is equation 6.4 at a fibre of width bw and first moment S;
// alphaL is how far the prestress has built up there, axialMPa the concrete
// stress from it.
func ShearUncrackedN(inertiaMM4, widthMM, firstMM3, fctdMPa, alphaL, axialMPa float64) float64 {
	return inertiaMM4 * widthMM / firstMM3 * math.Sqrt(fctdMPa*fctdMPa+alphaL*axialMPa*fctdMPa)
}

// ShearCrushingN is the greatest shear force of 6.2.2(6).
func ShearCrushingN(widthMM, depthMM, fckMPa, fcdMPa float64) float64 {
	return 0.5 * widthMM * depthMM * 0.6 * (1 - fckMPa/250) * fcdMPa
}

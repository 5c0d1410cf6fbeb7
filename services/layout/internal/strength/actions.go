package strength

import (
	"cmp"
	"math"
)

// Stretch is a line load on part of a span.
type Stretch struct {
	FromMM float64 `json:"from_mm"`
	ToMM   float64 `json:"to_mm"`
	// NPerMM equals kN/m.
	NPerMM float64 `json:"kn_per_m"`
}

// PointLoad is a single force on a span.
type PointLoad struct {
	AtMM float64 `json:"at_mm"`
	// N is permanent; VariableN comes with the imposed load.
	N         float64 `json:"n"`
	VariableN float64 `json:"variable_n"`
}

// Loads on a simply supported span.
type Loads struct {
	SpanMM    float64
	Stretches []Stretch
	Points    []PointLoad
}

// Uniform returns one line load over the whole span.
func Uniform(spanMM, nPerMM float64) Loads {
	return Loads{SpanMM: spanMM, Stretches: []Stretch{{ToMM: spanMM, NPerMM: nPerMM}}}
}

// Category of use of a floor (EN 1991-1-1 Table 6.1).
type Category string

// Psi holds the combination factors of EN 1990 Table A1.1.
type Psi struct{ Psi0, Psi1, Psi2 float64 }

// RecommendedPsi are the factors of EN 1990 Table A1.1 by category.
var RecommendedPsi = map[Category]Psi{
	"A": {0.7, 0.5, 0.3}, "B": {0.7, 0.5, 0.3},
	"C": {0.7, 0.7, 0.6}, "D": {0.7, 0.7, 0.6}, "E": {1.0, 0.9, 0.8},
}

// heaviestMovableKNPerM is the self weight above which a partition is a line
// load (EN 1991-1-1 6.3.1.2(8)).
const heaviestMovableKNPerM = 3

// movablePartitionsKNPerM2 turns the self weight of movable partitions per
// metre run into a uniform load (EN 1991-1-1 6.3.1.2(8)); the bounds belong to
// the lighter class, and no partitions weigh nothing.
func movablePartitionsKNPerM2(knPerM float64) float64 {
	switch {
	case knPerM <= 0:
		return 0
	case knPerM <= 1:
		return 0.5
	case knPerM <= 2:
		return 0.8
	default:
		return 1.2
	}
}

// AreaReduction is alpha_A of EN 1991-1-1 6.3.1.2(10) for the area that a beam
// carries; 1 up to 20 m2 where psi0 is 0.7. It holds for categories A to D.
func AreaReduction(psi0, areaM2 float64) float64 {
	return math.Min(1, 5.0/7*psi0+10/areaM2)
}

// usualImposed are the ranges of qk of EN 1991-1-1 Table 6.2 by category, from
// the least of a floor to the most of a balcony or stair (from memory).
var usualImposed = map[Category][2]float64{"A": {1.5, 4}, "B": {2, 3}, "C": {2, 7.5}, "D": {4, 5}}

// Densities of EN 1991-1-1 Table A.1 in N/mm3: reinforced or prestressed
// concrete, and the same while it is fresh.
const (
	concreteNPerMM3 = 25e-6
	freshNPerMM3    = 26e-6
)

// Combination is one combination of actions of EN 1990.
type Combination struct {
	Name   string
	Clause string
	// Permanent and Variable multiply the characteristic loads.
	Permanent, Variable float64
	Ultimate            bool
	// moment, shear and the texts beside them on the sheet.
	moment, shear, momentOf, shearOf string
}

// combination names the lines of the sheet once and for all, so that a check
// puts no texts together.
func combination(name, clause string, ultimate bool) Combination {
	return Combination{Name: name, Clause: clause, Ultimate: ultimate, moment: "M " + name, shear: "V " + name,
		momentOf: "greatest moment, " + name, shearOf: "greater reaction, " + name}
}

var combinations = [6]Combination{
	combination("6.10a", "EN 1990 6.4.3.2, 6.10a", true),
	combination("6.10b", "EN 1990 6.4.3.2, 6.10b", true),
	combination("6.10", "EN 1990 6.4.3.2, 6.10", true),
	combination("characteristic", "EN 1990 6.14b", false),
	combination("frequent", "EN 1990 6.15b", false),
	combination("quasi-permanent", "EN 1990 6.16b", false),
}

// Combinations lists those for one permanent and one variable action.
func Combinations(n National, p Psi) [6]Combination {
	factors := [6][2]float64{
		{n.GammaG, n.GammaQ * p.Psi0}, {n.Xi * n.GammaG, n.GammaQ}, {n.GammaG, n.GammaQ},
		{1, 1}, {1, p.Psi1}, {1, p.Psi2},
	}
	list := combinations
	for i, f := range factors {
		list[i].Permanent, list[i].Variable = f[0], f[1]
	}
	return list
}

// National holds the choices that EN 1990 and EN 1992-1-1 leave to each
// country, with the recommended values as default.
type National struct {
	AlphaCC float64 `json:"alpha_cc"`
	AlphaCT float64 `json:"alpha_ct"`
	GammaC  float64 `json:"gamma_c"`
	GammaS  float64 `json:"gamma_s"`
	GammaG  float64 `json:"gamma_g"`
	GammaQ  float64 `json:"gamma_q"`
	Xi      float64 `json:"xi"`
	K1Shear float64 `json:"k1_shear"`
	// UseAB takes the less favourable of 6.10a and 6.10b instead of 6.10.
	UseAB bool `json:"use_6_10ab"`
	// K7 and K8 limit the stress after transfer (5.10.3(2)); 0 is the
	// recommended value.
	K7 float64 `json:"k7_transfer"`
	K8 float64 `json:"k8_transfer"`
	// RSup and RInf give the characteristic prestress in service (5.10.9); 0 is
	// the recommended value.
	RSup float64 `json:"r_sup"`
	RInf float64 `json:"r_inf"`
	// InclinedBranch lets the stress of the wires grow beyond fpd, up to that
	// at 0.9 eps_uk (3.3.6(7)).
	InclinedBranch bool `json:"inclined_wire_branch"`
	// UseAreaReduction reduces the imposed load by the area that a beam
	// carries (EN 1991-1-1 6.3.1.2(10)).
	UseAreaReduction bool `json:"use_area_reduction"`
	// Interface2004 takes c and mu of the interface with a topping from the
	// text of 2004 instead of its corrigendum of 2010 (6.2.5(2)).
	Interface2004 bool `json:"interface_of_2004"`
}

// filled puts the recommended value where nothing was chosen, so that choices
// written before there was one more stay as they were.
func (n National) filled() National {
	n.K7, n.K8 = cmp.Or(n.K7, Recommended.K7), cmp.Or(n.K8, Recommended.K8)
	n.RSup, n.RInf = cmp.Or(n.RSup, Recommended.RSup), cmp.Or(n.RInf, Recommended.RInf)
	return n
}

// fcdMPa is the design strength of a concrete (3.15).
func (n National) fcdMPa(c Concrete) float64 { return n.AlphaCC * c.FckMPa / n.GammaC }

// fctdMPa is the design tensile strength of a concrete (3.16).
func (n National) fctdMPa(c Concrete) float64 { return n.AlphaCT * c.Fctk05MPa() / n.GammaC }

// Recommended are the values that the codes recommend.
var Recommended = National{AlphaCC: 1, AlphaCT: 1, GammaC: 1.5, GammaS: 1.15, GammaG: 1.35, GammaQ: 1.5, Xi: 0.85, K1Shear: 0.15,
	K7: 0.75, K8: 0.85, RSup: 1.05, RInf: 0.95}

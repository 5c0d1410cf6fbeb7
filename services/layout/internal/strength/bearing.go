package strength

import "math"

// Support is what a beam lies on.
type Support string

// The kinds of EN 1992-1-1 Table 10.3.
const (
	OnMasonry      Support = "masonry"
	OnConcrete     Support = "concrete"      // reinforced, C30 or better
	OnWeakConcrete Support = "weak_concrete" // plain, or below C30
	OnSteel        Support = "steel"
)

// Bearing holds the steps of the nominal length of a bearing (10.9.5).
type Bearing struct {
	// RelativeStress is the bearing stress over fcd that picks the column.
	RelativeStress float64
	// NetMM is a1, SupportMM a2, BeamMM a3.
	NetMM, SupportMM, BeamMM float64
	// SupportDeviationMM and BeamDeviationMM are the allowances for
	// tolerances.
	SupportDeviationMM, BeamDeviationMM float64
	// LengthMM is a, the least nominal length.
	LengthMM float64
}

// Tables 10.2 to 10.5 of EN 1992-1-1, from memory: the net length of ribbed
// floors by relative bearing stress, and the outer parts of supports that do
// not count.
var (
	netBearingMM  = [3]float64{55, 70, 80}
	supportEdgeMM = map[Support][3]float64{
		OnSteel: {0, 0, 10}, OnConcrete: {5, 10, 15}, OnWeakConcrete: {10, 15, 25},
		// Masonry is not meant for the third column; the next worse stands there.
		OnMasonry: {10, 15, 25},
	}
)

// beamEdgeMM is a3 where wires end in the face of the beam (Table 10.4, from
// memory).
const beamEdgeMM = 5

// BearingOf returns the nominal length that a beam of a ribbed floor needs to
// lie on a support: its reaction stands dry on a strip of the soffit's width.
func BearingOf(on Support, reactionN, soffitMM, fcdMPa, spanMM, lengthMM float64) Bearing {
	r := Bearing{BeamMM: beamEdgeMM, BeamDeviationMM: lengthMM / 2500}
	// 0.4 fcd without bedding (10.9.5.2(2)).
	needed := reactionN / (soffitMM * 0.4 * fcdMPa)
	column := 0
	for column = range netBearingMM {
		r.NetMM = math.Max(netBearingMM[column], needed)
		r.RelativeStress = reactionN / (soffitMM * r.NetMM) / fcdMPa
		if column == 0 && r.RelativeStress <= 0.15 || column == 1 && r.RelativeStress <= 0.4 {
			break
		}
	}
	r.SupportMM = supportEdgeMM[on][column]
	switch on {
	case OnSteel:
		r.SupportDeviationMM = math.Min(math.Max(spanMM/1200, 10), 30)
	default:
		r.SupportDeviationMM = math.Min(math.Max(spanMM/1200+5, 15), 40)
	}
	r.LengthMM = r.NetMM + r.SupportMM + r.BeamMM + math.Hypot(r.SupportDeviationMM, r.BeamDeviationMM)
	return r
}

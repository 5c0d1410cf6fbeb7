package strength

import "fmt"

// What the code leaves open, and how it is decided here. The first list holds
// for every beam, the others for beams with and without a topping.
var (
	choices = []string{
		"Elastic loss on the transformed section, each row of wires for itself, without self weight.",
		"Long-term loss by 5.46 with the full relaxation at the end of the design life from the stress after transfer, creep on the whole quasi-permanent stress from the age at transfer, the total shrinkage strain, and the section of the beam alone.",
		"Creep grows by 3.7 where the concrete at the wires is pressed beyond 0.45 fck(t0) at transfer.",
		"Service stresses on the uncracked section: with the mean prestress on the sheet, with r_sup or r_inf times it, whichever is worse, in the checks (5.10.9).",
		"Deflections are those of an uncracked beam, so the characteristic combination may not crack it (7.1(2)); the prestress bends the whole span alike; sag and camber fill the same limits. Calculated deflections scatter by +15 % to -30 %.",
		"Bending with the rectangular block (3.1.7(3)) and all wires starting at the remaining prestress, without the strain of decompression.",
		"Uncracked shear (6.4) at every corner of the outline and at the centroid, with the stress of the prestress, and that of bending where it is tension; no nearer the support than the 45 degree line from the support's inner edge to the centroid.",
		"Cracked shear (6.2) with the smallest width of the web and the wires of the lower half, where they are anchored beyond the section by the effective depth.",
		"Prestress builds up linearly over the longer transmission length 1.2 lpt; over 0.8 lpt where more prestress is worse.",
		"The imposed load lies on the whole span. Loads are shared equally by the beams of a row.",
		"Bearing by 10.9.5 for ribbed floors, dry, with wires that end in the face of the beam; what lies under the bearing is for its own designer to check.",
	}
	withoutTopping = []string{
		"Beam and blocks act without a structural topping; blocks, screed and finishes are load only.",
	}
	withTopping = []string{
		"The topping is cast on unpropped beams: their own weight, the blocks and the fresh concrete stay on the beam alone, everything later acts on beam and topping. Line and point loads come later.",
		"Differential shrinkage counts in service and in deflections: what the topping shrinks more than the beam after casting, with an effective modulus Ecm/(1 + 0.8 phi), where it is unfavourable; it is left out of the ultimate moment (2.3.2.2(2)), but not of the question whether a section is cracked.",
		"At ultimate the whole load acts on beam and topping, plane sections, without the strains of the stages. The block is as deep, and the top strain as large, as the weaker of the two concretes allows; each concrete has its own strength.",
		"Creep moves no stress from the beam to the topping, which is the safe side for the beam; in deflections it does.",
		"Shear at the interface by 6.2.5 with the whole shear force at the support's inner edge and no force across the interface.",
		"The topping's own bending between the beams and its mesh are not checked here.",
	}
)

// choicesOf lists the choices that a beam's check rests on, and what an
// engineer should look at.
func choicesOf(b Beam, s Section) []string {
	list := make([]string, 0, 24)
	f := b.Floor
	if f.Topping == nil {
		list = append(list, withoutTopping...)
	} else {
		list = append(list, withTopping...)
	}
	list = append(list, choices...)
	if b.National.InclinedBranch {
		list = append(list, "Inclined branch of the wires' diagram (3.3.6(7)), with no more stress than at 0.9 eps_uk.")
	} else {
		list = append(list, "Horizontal branch of the wires' diagram (3.3.6(7)), without a limit on their strain.")
	}
	if f.ConcentratedKN == 0 {
		list = append(list, "No concentrated load Qk (EN 1991-1-1 6.3.1.2) was given, so none is checked.")
	} else {
		list = append(list, "The concentrated load Qk stands alone with the permanent loads, anywhere on the row, without help of the neighbouring rows.")
	}
	if f.FireMinutes == 0 {
		list = append(list, "No resistance to fire was asked for, so none is checked.")
	} else {
		list = append(list, "Fire by tabulated data for simply supported beams (EN 1992-1-2 Table 5.5), wires failing at 350 degrees, without a ceiling or plaster; the wires' distance to the beam's sides is not known here and must be 10 mm more.")
	}
	if b.Casting.TransferAgeDays < 3 {
		list = append(list, "Transfer before 3 days: its strength must rest on tests (3.1.2(5)), the formula only estimates it.")
	}
	if usual, ok := usualImposed[f.Category]; ok && f.ImposedKNPerM2 < usual[0] {
		list = append(list, fmt.Sprintf("The imposed load of %g kN/m2 is less than what EN 1991-1-1 Table 6.2 gives for category %s, %g to %g kN/m2.", f.ImposedKNPerM2, f.Category, usual[0], usual[1]))
	}
	if s.HeightMM < 60 || s.HeightMM > 300 || f.PitchMM/float64(f.BeamsPerRow) > 1000 {
		list = append(list, "The beam is outside the scope of EN 15037-1: 60 to 300 mm deep, centres of at most 1000 mm.")
	}
	return list
}

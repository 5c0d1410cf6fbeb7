package strength

import "math"

// Wire is one kind of prestressing wire. Every number comes from its
// certificate; fp0.1k is data and is not derived from fpk.
type Wire struct {
	Name        string  `json:"name"`
	DiameterMM  float64 `json:"diameter_mm"`
	AreaMM2     float64 `json:"area_mm2"`
	FpkMPa      float64 `json:"fpk_mpa"`
	Fp01kMPa    float64 `json:"fp01k_mpa"`
	ModulusMPa  float64 `json:"modulus_mpa"`
	RelaxClass  int     `json:"relaxation_class"`
	Rho1000     float64 `json:"rho1000_percent"`
	StrainLimit float64 `json:"eps_uk"`
}

// MaxStressingMPa is the greatest stress while stressing, 5.10.2.1(1); where
// the force at the jack is measured to 5 % of its final value, 5.10.2.1(2)
// allows more.
func (w Wire) MaxStressingMPa(measured bool) float64 {
	if measured {
		return 0.95 * w.Fp01kMPa
	}
	return math.Min(0.8*w.FpkMPa, 0.9*w.Fp01kMPa)
}

// MaxAfterTransferMPa is the greatest stress just after transfer, 5.10.3(2);
// k7 and k8 are national choices, recommended 0.75 and 0.85.
func (w Wire) MaxAfterTransferMPa(k7, k8 float64) float64 {
	return math.Min(k7*w.FpkMPa, k8*w.Fp01kMPa)
}

// ElongationMM of a wire on the bed under a stress.
func (w Wire) ElongationMM(stressMPa, bedMM float64) float64 {
	return stressMPa * bedMM / w.ModulusMPa
}

// DrawInMPa is the stress that a wire on the bed loses when the wedges draw
// in.
func (w Wire) DrawInMPa(drawInMM, bedMM float64) float64 {
	return w.ModulusMPa * drawInMM / bedMM
}

// relaxation coefficients by class (3.28 to 3.30).
var relaxation = [4][2]float64{1: {5.39, 6.7}, 2: {0.66, 9.1}, 3: {1.98, 8}}

// RelaxationMPa is the absolute loss by relaxation after some hours at an
// initial stress (3.28 to 3.30).
func (w Wire) RelaxationMPa(initialMPa, hours float64) float64 {
	k := relaxation[w.RelaxClass]
	mu := initialMPa / w.FpkMPa
	return initialMPa * k[0] * w.Rho1000 * math.Exp(k[1]*mu) *
		math.Pow(hours/1000, 0.75*(1-mu)) * 1e-5
}

// Row of wires at one height of the profile.
type Row struct {
	HeightMM float64 `json:"height_mm"`
	Count    int     `json:"count"`
}

// Pattern is where the wires of a beam lie.
type Pattern struct {
	Wire Wire  `json:"wire"`
	Rows []Row `json:"rows"`
}

// AreaMM2 of all wires.
func (p Pattern) AreaMM2() float64 {
	n := 0
	for _, r := range p.Rows {
		n += r.Count
	}
	return float64(n) * p.Wire.AreaMM2
}

// CentroidMM is the height of the wires' centroid.
func (p Pattern) CentroidMM() float64 {
	n, m := 0.0, 0.0
	for _, r := range p.Rows {
		n += float64(r.Count)
		m += float64(r.Count) * r.HeightMM
	}
	return m / n
}

// Transformed holds the properties of a section whose wires count as concrete
// of equal stiffness.
type Transformed struct {
	AreaMM2, CentroidMM, InertiaMM4 float64
	// ForceN is the force that the wires had before transfer, EccentricityMM
	// its distance below the transformed centroid.
	ForceN, EccentricityMM float64
}

// TransformedSection adds (n-1) Ap at each row to the gross section.
func TransformedSection(s Section, p Pattern, ratio float64) Transformed {
	area, first, second := s.AreaMM2, s.AreaMM2*s.CentroidMM, s.InertiaMM4+s.AreaMM2*s.CentroidMM*s.CentroidMM
	for _, r := range p.Rows {
		a := (ratio - 1) * float64(r.Count) * p.Wire.AreaMM2
		area += a
		first += a * r.HeightMM
		second += a * r.HeightMM * r.HeightMM
	}
	t := Transformed{AreaMM2: area, CentroidMM: first / area}
	t.InertiaMM4 = second - area*t.CentroidMM*t.CentroidMM
	return t
}

// StressMPa at height y under an axial force and a sagging moment,
// compression positive.
func (t Transformed) StressMPa(forceN, momentNMM, yMM float64) float64 {
	return forceN/t.AreaMM2 + momentNMM*(yMM-t.CentroidMM)/t.InertiaMM4
}

// Transfer is what is left of the prestress just after the wires are cut, on
// the transformed section, each row for itself, without self weight.
type Transfer struct {
	Section Transformed
	// ReleaseMPa is the stress in all wires just before the cut.
	ReleaseMPa float64
	// RowMPa is the stress in each row after it, in the order of the pattern.
	RowMPa []float64
	// ForceN and MeanMPa after the cut (Pm0, sigma_pm0).
	ForceN, MeanMPa float64
	// BottomMPa and TopMPa in the concrete without self weight.
	BottomMPa, TopMPa float64
}

// TransferOf releases wires of stress releaseMPa into a section of modulus
// ecmMPa.
func TransferOf(s Section, p Pattern, releaseMPa, ecmMPa float64) Transfer {
	n := p.Wire.ModulusMPa / ecmMPa
	t := Transfer{Section: TransformedSection(s, p, n), ReleaseMPa: releaseMPa}
	t.Section.ForceN = releaseMPa * p.AreaMM2()
	t.Section.EccentricityMM = t.Section.CentroidMM - p.CentroidMM()
	t.RowMPa = make([]float64, 0, len(p.Rows))
	moment := -t.Section.ForceN * t.Section.EccentricityMM
	for _, r := range p.Rows {
		stress := releaseMPa - n*t.Section.StressMPa(t.Section.ForceN, moment, r.HeightMM)
		t.RowMPa = append(t.RowMPa, stress)
		t.ForceN += stress * float64(r.Count) * p.Wire.AreaMM2
	}
	t.MeanMPa = t.ForceN / p.AreaMM2()
	t.BottomMPa = t.Section.StressMPa(t.Section.ForceN, moment, 0)
	t.TopMPa = t.Section.StressMPa(t.Section.ForceN, moment, s.HeightMM)
	return t
}

// LongTerm holds the terms of equation 5.46, in MPa of the wires.
type LongTerm struct {
	ShrinkageMPa, RelaxationMPa, CreepMPa float64
	// Restraint is the divisor of 5.46.
	Restraint float64
	// LossMPa is the time-dependent loss at the wires' centroid.
	LossMPa float64
}

// LongTermInput names the arguments of equation 5.46.
type LongTermInput struct {
	ShrinkageStrain float64
	RelaxationMPa   float64
	Creep           float64
	// ConcreteMPa is the quasi-permanent concrete stress at the wires,
	// compression positive.
	ConcreteMPa                      float64
	WireModulusMPa, EcmMPa           float64
	WireAreaMM2, AreaMM2, InertiaMM4 float64
	EccentricityMM                   float64
}

// LongTermOf evaluates equation 5.46.
func LongTermOf(in LongTermInput) LongTerm {
	n := in.WireModulusMPa / in.EcmMPa
	r := LongTerm{
		ShrinkageMPa:  in.ShrinkageStrain * in.WireModulusMPa,
		RelaxationMPa: 0.8 * in.RelaxationMPa,
		CreepMPa:      n * in.Creep * in.ConcreteMPa,
		Restraint: 1 + n*in.WireAreaMM2/in.AreaMM2*
			(1+in.AreaMM2/in.InertiaMM4*in.EccentricityMM*in.EccentricityMM)*(1+0.8*in.Creep),
	}
	r.LossMPa = (r.ShrinkageMPa + r.RelaxationMPa + r.CreepMPa) / r.Restraint
	return r
}

// Bond says how the wires hold in the concrete (8.10.2).
type Bond struct {
	// EtaP1 and EtaP2: 2.7 and 1.4 for indented wire, 3.2 and 1.2 for strand.
	EtaP1, EtaP2 float64
	// Eta1: 1 in good bond conditions, 0.7 otherwise.
	Eta1 float64
	// Alpha1: 1 for gradual, 1.25 for sudden release.
	Alpha1 float64
	// Alpha2: 0.25 for round wire, 0.19 for strand.
	Alpha2 float64
}

// TransmissionStressMPa is fbpt (8.15).
func (b Bond) TransmissionStressMPa(fctdMPa float64) float64 { return b.EtaP1 * b.Eta1 * fctdMPa }

// AnchorageStressMPa is fbpd (8.20).
func (b Bond) AnchorageStressMPa(fctdMPa float64) float64 { return b.EtaP2 * b.Eta1 * fctdMPa }

// Transmission holds the lengths over which prestress builds up.
type Transmission struct {
	// LengthMM is lpt (8.16), ShortMM 0.8 lpt (8.17), LongMM 1.2 lpt (8.18).
	LengthMM, ShortMM, LongMM float64
}

// TransmissionOf evaluates 8.16 to 8.18.
func (b Bond) TransmissionOf(diameterMM, stressMPa, fbptMPa float64) Transmission {
	l := b.Alpha1 * b.Alpha2 * diameterMM * stressMPa / fbptMPa
	return Transmission{LengthMM: l, ShortMM: 0.8 * l, LongMM: 1.2 * l}
}

// DispersionMM is ldisp (8.19).
func DispersionMM(transmissionMM, depthMM float64) float64 {
	return math.Hypot(transmissionMM, depthMM)
}

// AnchorageMM is lbpd (8.21).
func (b Bond) AnchorageMM(longMM, diameterMM, wireMPa, remainingMPa, fbpdMPa float64) float64 {
	return longMM + b.Alpha2*diameterMM*(wireMPa-remainingMPa)/fbpdMPa
}

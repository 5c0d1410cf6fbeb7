// Package lashing counts the lashings that hold the piles of a load, by
// EN 12195-1:2010. The counts are advice: a competent person decides how a load
// is secured, under the law of the road that it is driven on.
//
// Only top-over lashing is counted (EN 12195-1:2010 5.2), by sliding forward, to
// the sides and to the rear, and by tilting to the sides. Piles of beams on
// bearers and blocks on pallets are taken as not blocked by anything: what a
// headboard takes makes fewer lashings do.
package lashing

import (
	"fmt"
	"math"
)

// Gravity in m/s2, as the standard counts.
const gravity = 9.81

// Rules are the yard's lashings and what they hold against. Zero values are
// not allowed but for Edge; see Default.
type Rules struct {
	// Friction between the load and what it stands on, Annex B of the standard.
	Friction float64
	// TensionDaN is what one lashing is stretched to, the STF on its tag, and
	// AngleDeg is how steeply it runs down from the load's edge.
	TensionDaN float64
	AngleDeg   float64
	// Forward, Sideways, Rearward and Tilting are accelerations in parts of
	// gravity, SafetyForward and Safety the factors of the standard.
	Forward, Sideways, Rearward, Tilting float64
	SafetyForward, Safety                float64
	// Least lashings of a pile that nothing blocks (common practice).
	Least int
}

// Default is road transport by EN 12195-1:2010 with smooth concrete on sawn
// wood, dry or wet, and ratchets of 500 daN (values from memory).
func Default() Rules {
	return Rules{
		Friction: 0.55, TensionDaN: 500, AngleDeg: 85,
		Forward: 0.8, Sideways: 0.5, Rearward: 0.5, Tilting: 0.5, SafetyForward: 1.25, Safety: 1.1, Least: 2,
	}
}

// Pile is what is lashed as one.
type Pile struct {
	MassKg float64
	// WidthMM and HeightMM are of the pile as it stands on the deck.
	WidthMM, HeightMM float64
}

// Advice is how many lashings a pile takes, and which direction asks for them.
type Advice struct {
	Lashings int
	// Forward, Sideways, Rearward and Tilting are what each direction asks for,
	// before it is rounded up; 0 when friction or the pile's width does it alone.
	Forward, Sideways, Rearward, Tilting float64
	Governing                            string
}

// topOver is how many top-over lashings hold a mass against sliding (formula 10
// of the standard): n >= (c - mu) m g f / (2 mu sin(a) F).
func (r Rules) topOver(massKg, acceleration, safety float64) float64 {
	short := (acceleration - r.Friction) * massKg * gravity * safety
	holds := 2 * r.Friction * math.Sin(r.AngleDeg*math.Pi/180) * r.TensionDaN * 10
	return math.Max(0, short/holds)
}

// tilting is how many hold a pile that could fall to its side: it stands by
// itself while half its width is at least the acceleration times the height of
// its middle (formula 14 for one row).
func (r Rules) tilting(p Pile) float64 {
	half, middle := p.WidthMM/2, p.HeightMM/2
	moment := p.MassKg * gravity * (r.Tilting*middle - half) * r.Safety
	// The strap pulls down on both edges; the one that lifts has the whole width
	// as its lever.
	return math.Max(0, moment/(p.WidthMM*math.Sin(r.AngleDeg*math.Pi/180)*r.TensionDaN*10))
}

// For counts the lashings of a pile.
func (r Rules) For(p Pile) Advice {
	a := Advice{
		Forward: r.topOver(p.MassKg, r.Forward, r.SafetyForward), Sideways: r.topOver(p.MassKg, r.Sideways, r.Safety),
		Rearward: r.topOver(p.MassKg, r.Rearward, r.Safety), Tilting: r.tilting(p),
	}
	a.Lashings, a.Governing = r.Least, "the least for a pile that nothing blocks"
	for _, d := range []struct {
		name string
		need float64
	}{{"sliding forward", a.Forward}, {"sliding to the side", a.Sideways}, {"sliding to the rear", a.Rearward}, {"tilting", a.Tilting}} {
		if n := int(math.Ceil(d.need - 1e-9)); n > a.Lashings {
			a.Lashings, a.Governing = n, d.name
		}
	}
	return a
}

// BlockingDaN is the force forward that a headboard or a wedge has to take when
// so many lashings hold a pile.
func (r Rules) BlockingDaN(massKg float64, lashings int) float64 {
	held := float64(lashings) * 2 * r.Friction * math.Sin(r.AngleDeg*math.Pi/180) * r.TensionDaN / r.SafetyForward
	return math.Max(0, (r.Forward-r.Friction)*massKg*gravity/10-held)
}

// Check says what is wrong with rules; empty when nothing is.
func (r Rules) Check() string {
	for _, v := range []struct {
		name      string
		value     float64
		low, high float64
	}{
		{"friction", r.Friction, 0.05, 1}, {"tension_dan", r.TensionDaN, 50, 5000}, {"angle_deg", r.AngleDeg, 30, 90},
		{"forward", r.Forward, 0.1, 1.5}, {"sideways", r.Sideways, 0.1, 1.5}, {"rearward", r.Rearward, 0.1, 1.5}, {"tilting", r.Tilting, 0.1, 1.5},
		{"safety_forward", r.SafetyForward, 1, 3}, {"safety", r.Safety, 1, 3},
	} {
		if !(v.value >= v.low && v.value <= v.high) {
			return fmt.Sprintf("%s is %g; allowed: %g to %g", v.name, v.value, v.low, v.high)
		}
	}
	if r.Least < 0 || r.Least > 20 {
		return fmt.Sprintf("least is %d; allowed: 0 to 20", r.Least)
	}
	return ""
}

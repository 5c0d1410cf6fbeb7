package show

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
)

func strength(s layouteventv1.Strength) string { return word(s.String(), "STRENGTH_") }

// Plans prints laying plans without their rooms.
func Plans(w io.Writer, plans []*layoutv1.PlanSummary) {
	if len(plans) == 0 {
		note(w, "No laying plans.")
		return
	}
	t := newTable("job", "floor", "rev#", "state", "strength", "rooms#", "beams#", "beams kg#", "blocks#", "blocks kg#", "name")
	for _, p := range plans {
		t.add(p.GetJobId(), p.GetFloor(), p.GetRevision(), word(p.GetState().String(), "PLAN_STATE_"), strength(p.GetStrength()), p.GetRoomCount(),
			p.GetBeamCount(), wholeKg(p.GetBeamMassG()), p.GetBlockCount(), wholeKg(p.GetBlockMassG()), p.GetJobName())
	}
	t.write(w)
}

// Floor prints one laying plan, room by room in laying order, with the mark
// and length of every beam.
func Floor(w io.Writer, s *layoutv1.PlanSummary, p *layouteventv1.LayingPlan, zone *time.Location) {
	fmt.Fprintf(w, "LAYING PLAN: job %s %s, floor %s, revision %d, %s, strength %s\n", s.GetJobId(), s.GetJobName(), s.GetFloor(), s.GetRevision(),
		word(s.GetState().String(), "PLAN_STATE_"), strength(s.GetStrength()))
	if s.GetEngineer() != "" {
		paragraph(w, "", "", fmt.Sprintf("Approved by %s on %s: %s", s.GetEngineer(), moment(s.GetApprovedAt(), zone), s.GetReason()))
	}
	fmt.Fprintf(w, "%s, %s of %s m, %s kg; %s, %s kg; from %s.\n", count(s.GetRoomCount(), "room"), count(s.GetBeamCount(), "beam"),
		metres(s.GetBeamLengthMm()), wholeKg(s.GetBeamMassG()), count(s.GetBlockCount(), "block"), wholeKg(s.GetBlockMassG()), s.GetSourceFile())
	DesignCautions(w)
	for _, room := range p.GetRooms() {
		fmt.Fprintln(w)
		printRoom(w, room)
	}
}

func printRoom(w io.Writer, r *layouteventv1.RoomPlan) {
	fmt.Fprintf(w, "ROOM %s %s, laid as number %d\n", r.GetRoom(), r.GetRoomName(), r.GetLayingOrder())
	fmt.Fprintf(w, "  Clear span %d mm along %s, %d mm wide, bearing %d mm, pitch %d mm", r.GetClearSpanMm(), r.GetSpanDirection(),
		r.GetWidthMm(), r.GetBearingMm(), r.GetPitchMm())
	if r.GetFillerWidthMm() > 0 {
		fmt.Fprintf(w, ", closing bay %d mm", r.GetFillerWidthMm())
	}
	fmt.Fprintf(w, ".\n  %s %s, %d of them cut; loads: imposed %s kN/m2, finishes %s kN/m2.\n", count(r.GetBlockCount(), "block"), r.GetBlockKind(),
		r.GetCutBlockCount(), kilonewtons(r.GetImposedLoadNPerM2()), kilonewtons(r.GetFinishesLoadNPerM2()))
	t := newTable("row#", "from wall mm#", "length mm#", "mass kg#", "beam", "marks")
	t.indent = "  "
	for i := 0; i < len(r.GetBeams()); {
		first := r.GetBeams()[i]
		var marks, offsets []string
		for ; i < len(r.GetBeams()) && r.GetBeams()[i].GetRow() == first.GetRow(); i++ {
			marks = append(marks, r.GetBeams()[i].GetMark())
			offsets = append(offsets, fmt.Sprint(r.GetBeams()[i].GetOffsetMm()))
		}
		p := first.GetProduct()
		t.add(first.GetRow(), strings.Join(offsets, "+"), p.GetLengthMm(), kg(first.GetMassG()), p.GetProfile()+"/"+p.GetWirePattern(), strings.Join(marks, " "))
	}
	t.write(w)
}

func kilonewtons(n int32) string { return strconv.FormatFloat(float64(n)/1000, 'f', -1, 64) }

// Catalogue prints what a yard makes.
func Catalogue(w io.Writer, c *layoutv1.GetCatalogueResponse) {
	t := newTable("profile", "height mm#", "width mm#", "mass kg/m#", "wire patterns")
	for _, p := range c.GetProfiles() {
		t.add(p.GetName(), p.GetHeightMm(), p.GetWidthMm(), kg(p.GetMassGPerM()), strings.Join(p.GetWirePatterns(), ", "))
	}
	t.write(w)
	fmt.Fprintln(w)
	t = newTable("block", "length mm#", "pitch mm#", "mass kg#", "on a pallet#", "pallet mm (long x wide x high)", "empty pallet kg#")
	for _, b := range c.GetBlocks() {
		t.add(b.GetName(), b.GetLengthMm(), b.GetPitchMm(), kg(b.GetMassG()), b.GetBlocksPerPallet(),
			fmt.Sprintf("%d x %d x %d", b.GetPalletLengthMm(), b.GetPalletWidthMm(), b.GetPalletHeightMm()), kg(b.GetPalletTareG()))
	}
	t.write(w)
	fmt.Fprintf(w, "\nBeam lengths go up in steps of %d mm to %d mm; bearings are %d mm or more.\n", c.GetLengthStepMm(), c.GetMaxBeamLengthMm(), c.GetMinBearingMm())
}

// Floors prints the floors that dispatch can plan with.
func Floors(w io.Writer, floors []*dispatchv1.Floor) {
	if len(floors) == 0 {
		note(w, "No approved floors have arrived yet.")
		return
	}
	t := newTable("job", "floor", "rev#", "rooms#", "beams#", "blocks#", "mass kg#")
	for _, f := range floors {
		t.add(f.GetJobId(), f.GetFloor(), f.GetRevision(), f.GetRoomCount(), f.GetBeamCount(), f.GetBlockCount(), wholeKg(f.GetMassG()))
	}
	t.write(w)
}

// Trucks prints the fleet.
func Trucks(w io.Writer, trucks []*dispatcheventv1.Truck) {
	if len(trucks) == 0 {
		note(w, "No trucks.")
		return
	}
	t := newTable("truck", "name", "deck mm", "payload kg#", "front kg", "rear kg", "gross kg#", "length mm#", "crane", "hours h:mm")
	for _, k := range trucks {
		crane := "no"
		if k.GetHasCrane() {
			crane = "yes"
		}
		t.add(k.GetTruckId(), k.GetName(), fmt.Sprintf("%d x %d", k.GetDeckLengthMm(), k.GetDeckWidthMm()), k.GetPayloadKg(),
			fmt.Sprintf("%d of %d", k.GetTareFrontKg(), k.GetMaxFrontKg()), fmt.Sprintf("%d of %d", k.GetTareRearKg(), k.GetMaxRearKg()),
			k.GetMaxGrossKg(), k.GetOverallLengthMm(), crane, window(k.GetHours().GetOpensMinute(), k.GetHours().GetClosesMinute()))
	}
	t.write(w)
	fmt.Fprintln(w, "\nAxles: empty mass of allowed mass.")
}

func window(opens, closes int32) string { return Clock(opens) + "-" + Clock(closes) }

// Sites prints the building sites.
func Sites(w io.Writer, sites []*dispatcheventv1.Site) {
	if len(sites) == 0 {
		note(w, "No sites.")
		return
	}
	t := newTable("site", "name", "max gross kg#", "max length mm#", "open h:mm", "unload min", "lifts", "contact")
	for _, s := range sites {
		lifts := "no"
		if s.GetHasLifting() {
			lifts = "yes"
		}
		t.add(s.GetSiteId(), s.GetName(), limit(s.GetMaxGrossKg()), limit(s.GetMaxVehicleLengthMm()),
			window(s.GetOpens().GetOpensMinute(), s.GetOpens().GetClosesMinute()),
			fmt.Sprintf("%d + %d a pile", s.GetUnloadFixedMinutes(), s.GetUnloadMinutesPerPile()), lifts, dash(s.GetContact()))
	}
	t.write(w)
}

func limit(n int32) string {
	if n == 0 {
		return "no limit"
	}
	return fmt.Sprint(n)
}

// CallOffs prints the call-offs of a day.
func CallOffs(w io.Writer, list []*dispatcheventv1.CallOff, confirmed []string) {
	if len(list) == 0 {
		note(w, "No call-offs for this day.")
		return
	}
	done := map[string]bool{}
	for _, id := range confirmed {
		done[id] = true
	}
	t := newTable("call-off", "site", "job", "floor", "rooms", "unload h:mm", "confirmed")
	for _, c := range list {
		rooms, yes := "all", "no"
		if len(c.GetRooms()) > 0 {
			rooms = strings.Join(c.GetRooms(), ", ")
		}
		if done[c.GetCallOffId()] {
			yes = "yes"
		}
		t.add(c.GetCallOffId(), c.GetSiteId(), c.GetJobId(), c.GetFloor(), rooms, window(c.GetWindow().GetOpensMinute(), c.GetWindow().GetClosesMinute()), yes)
	}
	t.write(w)
}

// DispatchRules prints the rules of loading and driving.
func DispatchRules(w io.Writer, r *dispatcheventv1.YardRules) {
	t := newTable("rule of loading and driving", "value#", "unit")
	t.add("time zone", r.GetTimeZone(), "")
	t.add("yard, latitude", fmt.Sprintf("%.4f", r.GetPlace().GetLatitudeDeg()), "degrees")
	t.add("yard, longitude", fmt.Sprintf("%.4f", r.GetPlace().GetLongitudeDeg()), "degrees")
	t.add("road over straight line", r.GetRoadFactorPercent(), "%")
	t.add("speed", r.GetSpeedKmPerH(), "km/h")
	t.add("loading a truck", r.GetLoadingMinutes(), "min")
	t.add("from planning to loading, at least", r.GetLeadMinutes(), "min")
	t.add("tiers in a pile, at most", r.GetMaxTiers(), "")
	t.add("height of a pile, at most", r.GetMaxPileHeightMm(), "mm")
	t.add("bearers under a tier", r.GetBearerHeightMm(), "mm")
	t.add("bearer from the end of a beam", r.GetBearerInsetMm(), "mm")
	t.add("beam beyond its bearers, at most", r.GetMaxOverhangMm(), "mm")
	t.add("gap between piles", r.GetPileGapMm(), "mm")
	t.add("lanes across the deck, at most", r.GetMaxLanes(), "")
	t.add("over the tail, at most", r.GetMaxTailOverhangMm(), "mm")
	t.write(w)
}

package show

import (
	"fmt"
	"io"
	"strings"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

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

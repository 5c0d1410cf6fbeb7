// Package papers prints what a run is worked from: the load sheet, the pick
// list, the driver's run sheet and a delivery note for every drop. It knows
// neither the ledger nor the clock.
package papers

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/deckdraw"
	"spanyard.example/services/dispatch/internal/lashing"
)

// Run is a run with all that is printed beside it.
type Run struct {
	daybook.Run
	Yard, Day, PlanID string
	// Standing says how far the run has come: "planned", "confirmed" and so on.
	Standing string
	Hits     []daybook.Hit
	Truck    daybook.Truck
	Rules    daybook.Rules
	// Sites by id.
	Sites map[string]daybook.Site
	// Links are what the codes on the delivery notes open, by drop. A drop
	// without one gets no code.
	Links map[int]string
	// At is when the papers are printed, in the yard's own zone.
	At time.Time
}

// The cautions that belong to what is done with each paper.
var (
	liftingCautions = []string{
		"Heavy concrete and vehicles can kill. Nobody stands under a lift or between a pile and the truck.",
		"Beams are lifted and carried near both ends, right way up, on bearers one above the other, never on one in the middle.",
	}
	roadCautions = []string{
		"Masses and axle loads are computed: the load is weighed, secured and driven under local road law. Who drives, decides.",
	}
	layingCautions = []string{
		"A beam that is cracked, bent or not marked is not laid: put it aside and call the yard.",
		"A floor is not loaded before it is finished as the plan says.",
	}
)

// LoadSheet prints how the truck is loaded: the deck drawn, the piles from top
// to bottom, the order of loading.
func (r Run) LoadSheet() ([]byte, error) {
	p := r.begin("LOAD SHEET " + r.ID)
	r.warn(p)
	p.paragraph(fmt.Sprintf("Load from %s, leave %s. %.0f kg of %d kg payload.", minute(r.LoadingMinute), minute(r.LeaveMinute), kg(r.MassG), r.Truck.PayloadKG), true)
	p.paragraph(r.aside(), false)
	p.drawing(deckdraw.Draw(deckdraw.Input{Run: r.Run, Truck: r.Truck, Rules: r.Rules, WidthMM: contentMM}))
	p.box("CAUTION", append(slices.Clone(liftingCautions), roadCautions...))
	p.heading("Piles, each from top to bottom")
	t := p.table(column{"pile", 12, true}, column{"tier", 10, true}, column{"drop", 11, true}, column{"beams", 13, true}, column{"length mm", 20, true}, column{"what", contentMM - 66, false})
	for _, pile := range r.Piles {
		t.row(true, fmt.Sprint(pile.Number), "", fmt.Sprint(pile.DropNumber), "", fmt.Sprint(pile.LengthMM),
			fmt.Sprintf("lane %d, %d to %d mm from the front, %d mm high, %.0f kg", pile.Lane, pile.FromMM, pile.FromMM+pile.LengthMM, pile.HeightMM, kg(pile.MassG)))
		for i, tier := range slices.Backward(pile.Tiers) {
			for _, part := range alike(tier) {
				t.row(false, "", fmt.Sprint(i+1), "", count(part), lengthMM(part[0]), r.names(part))
			}
		}
	}
	r.lashings(p)
	p.heading("Order of loading")
	p.paragraph("Bearers first, then "+strings.Join(r.pilesInLoadingOrder(), ", then ")+". What is laid first lies on top.", false)
	p.signatures("loaded by", "secured and checked by", "time")
	return p.bytes()
}

// lashings prints how many hold each pile, as advice.
func (r Run) lashings(p *page) {
	rules := r.Rules.Lashings()
	p.heading("Lashings, top-over, by EN 12195-1: advice to the competent person who secures the load")
	p.paragraph(fmt.Sprintf("Friction %.2f, pre-tension %.0f daN at %.0f degrees; nothing counted as blocked.", rules.Friction, rules.TensionDaN, rules.AngleDeg), false)
	t := p.table(column{"pile", 14, true}, column{"mass kg", 22, true}, column{"lashings", 22, true}, column{"because of", contentMM - 58, false})
	for _, pile := range r.Piles {
		a := rules.For(lashing.Pile{MassKg: kg(pile.MassG), WidthMM: float64(pile.WidthMM), HeightMM: float64(pile.HeightMM)})
		t.row(false, fmt.Sprint(pile.Number), fmt.Sprintf("%.0f", kg(pile.MassG)), fmt.Sprint(a.Lashings), a.Governing)
	}
}

// PickList prints what is taken from which stack, in loading order.
func (r Run) PickList() ([]byte, error) {
	p := r.begin("PICK LIST " + r.ID)
	r.warn(p)
	p.paragraph(fmt.Sprintf("Have it beside the truck by %s. In this order: what is laid first goes on last.", minute(r.LoadingMinute)), true)
	p.box("CAUTION", liftingCautions)
	p.heading("By stack")
	t := p.table(column{"stack", 40, false}, column{"batches", contentMM - 85, false}, column{"pieces", 20, true}, column{"mass kg", 25, true})
	for _, s := range r.stacks() {
		t.row(false, s.stack, strings.Join(s.batches, ", "), fmt.Sprint(s.pieces), fmt.Sprintf("%.0f", kg(s.massG)))
	}
	if len(r.Moves) > 0 {
		p.heading("Moved aside for the picks")
		t = p.table(column{"before no.", 22, true}, column{"piece", 50, false}, column{"from stack", 45, false}, column{"to stack", contentMM - 117, false})
		for _, m := range r.Moves {
			to := m.ToID
			if to == m.FromID {
				to = "aside, and back"
			}
			t.row(false, fmt.Sprint(m.BeforePick), m.PieceID, m.FromID, to)
			t.tick()
		}
	}
	p.heading("In loading order")
	t = p.table(column{"no.", 10, true}, column{"stack", 22, false}, column{"tier", 10, true}, column{"piece", 42, false}, column{"mark", 28, false},
		column{"length mm", 20, true}, column{"mass kg", 17, true}, column{"pile/tier", 18, true}, column{"", contentMM - 167, false})
	for _, pick := range r.Picks {
		tier, length := "-", "-"
		if pick.StackTier > 0 {
			tier = fmt.Sprint(pick.StackTier)
		}
		mark := pick.Mark
		if pick.Beam.LengthMM > 0 {
			length = fmt.Sprint(pick.Beam.LengthMM)
		} else {
			mark = fmt.Sprintf("%d blocks %s", pick.BlockCount, pick.BlockKind)
		}
		t.row(false, fmt.Sprint(pick.Number), pick.StackID, tier, r.short(pick.PieceID), mark, length,
			fmt.Sprintf("%.1f", kg(pick.MassG)), fmt.Sprintf("%d/%d", pick.PileNumber, pick.PileTier), "")
		t.tick()
	}
	p.signatures("picked by", "time")
	return p.bytes()
}

// RunSheet prints what the driver needs: where to, when, what comes off where,
// what the truck weighs in between.
func (r Run) RunSheet() ([]byte, error) {
	p := r.begin("RUN SHEET " + r.ID)
	r.warn(p)
	p.paragraph(fmt.Sprintf("Leave %s, back %s, about %.1f km in all. %.0f kg of %d kg payload.",
		minute(r.LeaveMinute), minute(r.BackMinute), float64(r.DistanceM)/1000, kg(r.MassG), r.Truck.PayloadKG), true)
	p.box("CAUTION", append(slices.Clone(roadCautions), liftingCautions...))
	for _, d := range r.Drops {
		site := r.Sites[d.SiteID]
		p.heading(fmt.Sprintf("Drop %d: %s, arrive %s", d.Number, r.siteName(d.SiteID), minute(d.ArriveMinute)))
		p.paragraph(fmt.Sprintf("Unload from %s, leave %s. Position %.5f, %.5f.", minute(d.UnloadMinute), minute(d.LeaveMinute), site.Place.LatitudeDeg, site.Place.LongitudeDeg), false)
		for _, line := range access(site) {
			p.paragraph(line, false)
		}
		if site.Contact != "" {
			p.paragraph("Ask for "+site.Contact+".", false)
		}
		t := p.table(column{"pile", 14, true}, column{"lane", 14, true}, column{"pieces", 18, true}, column{"mass kg", 22, true}, column{"what", contentMM - 68, false})
		for _, pile := range r.pilesOf(d.Number) {
			t.row(false, fmt.Sprint(pile.Number), fmt.Sprint(pile.Lane), fmt.Sprint(pieces(pile)), fmt.Sprintf("%.0f", kg(pile.MassG)), summary(pile))
		}
	}
	p.heading("Axle loads")
	t := p.table(column{"", 40, false}, column{"front kg", 26, true}, column{"limit kg", 26, true}, column{"rear kg", 26, true}, column{"limit kg", 26, true}, column{"gross kg", contentMM - 144, true})
	for _, a := range r.AxleLoads {
		when := "leaving the yard"
		if a.AfterDrop > 0 {
			when = fmt.Sprintf("after drop %d", a.AfterDrop)
		}
		t.row(false, when, fmt.Sprint(a.FrontKG), fmt.Sprint(r.Truck.MaxFrontKG), fmt.Sprint(a.RearKG), fmt.Sprint(r.Truck.MaxRearKG), fmt.Sprint(a.FrontKG+a.RearKG))
	}
	p.signatures("driver", "left the yard at", "back at")
	return p.bytes()
}

// DeliveryNote prints what comes off at a drop, mark by mark, for the site to
// sign.
func (r Run) DeliveryNote(drop int) ([]byte, error) {
	at := slices.IndexFunc(r.Drops, func(d daybook.Drop) bool { return d.Number == drop })
	if at < 0 {
		return nil, fmt.Errorf("run %s has no drop %d", r.ID, drop)
	}
	d := r.Drops[at]
	p := r.begin(fmt.Sprintf("DELIVERY NOTE %s, drop %d", r.ID, drop))
	if link := r.Links[drop]; link != "" {
		const sizeMM = 38
		top := p.doc.GetY()
		if err := p.code(link, top, sizeMM); err != nil {
			return nil, err
		}
		p.doc.SetFont("page", "", textPt-2)
		p.doc.SetXY(210-marginMM-sizeMM, top+sizeMM-2)
		p.doc.CellFormat(sizeMM, 4, "opens this delivery on a phone", "", 0, "C", false, 0, "")
		p.doc.SetXY(marginMM, top)
		p.doc.SetRightMargin(marginMM + sizeMM + 4)
		defer p.doc.SetRightMargin(marginMM)
		r.noteHead(p, d, contentMM-sizeMM-4)
		p.doc.SetXY(marginMM, max(p.doc.GetY(), top+sizeMM+3))
		p.doc.SetRightMargin(marginMM)
	} else {
		r.noteHead(p, d, contentMM)
	}
	r.warn(p)
	p.box("CAUTION", append(slices.Clone(liftingCautions), layingCautions...))
	r.noteRooms(p, drop)
	p.signatures("received by", "damaged or missing, which", "time")
	return p.bytes()
}

// noteHead says where and when, in the width that is left beside a code.
func (r Run) noteHead(p *page, d daybook.Drop, widthMM float64) {
	p.doc.SetFont("page", "", textPt)
	lines := []string{
		"To " + r.siteName(d.SiteID),
		fmt.Sprintf("On %s, about %s", r.Day, minute(d.ArriveMinute)),
		"For call-off " + strings.Join(d.CallOffIDs, ", "),
	}
	if c := r.Sites[d.SiteID].Contact; c != "" {
		lines = append(lines, "Ask for "+c)
	}
	var beams, blocks int
	var mass int64
	for _, pile := range r.pilesOf(d.Number) {
		mass += pile.MassG
		for _, item := range items(pile) {
			blocks += item.BlockCount
			if !item.IsPallet() {
				beams++
			}
		}
	}
	lines = append(lines, fmt.Sprintf("%d beams, %d blocks, %.0f kg", beams, blocks, kg(mass)))
	for _, line := range lines {
		p.doc.MultiCell(widthMM, lineMM, line, "", "L", false)
	}
}

// noteRooms lists what comes off, room by room in laying order.
func (r Run) noteRooms(p *page, drop int) {
	var all []daybook.Item
	for _, pile := range r.pilesOf(drop) {
		all = append(all, items(pile)...)
	}
	slices.SortStableFunc(all, func(a, b daybook.Item) int { return a.LayingNumber - b.LayingNumber })
	p.heading("In the order of laying")
	t := p.table(column{"order", 14, true}, column{"job, floor, room", 46, false}, column{"mark", 32, false}, column{"length mm", 22, true}, column{"beam", 30, false},
		column{"piece", 30, false}, column{"", contentMM - 174, false})
	for _, item := range all {
		room := fmt.Sprintf("%s %s-%s", item.FloorKey.JobID, item.FloorKey.Floor, item.Room)
		if item.IsPallet() {
			t.row(false, fmt.Sprint(item.LayingNumber), room, fmt.Sprintf("%d blocks", item.BlockCount), "-", item.BlockKind, "pallet "+r.short(item.PieceID), "")
		} else {
			t.row(false, fmt.Sprint(item.LayingNumber), room, item.Mark, fmt.Sprint(item.Beam.LengthMM), item.Beam.Profile+"/"+item.Beam.WirePattern, item.PieceID, "")
		}
		t.tick()
	}
}

// begin starts a paper of the run.
func (r Run) begin(title string) *page {
	p := newPage(title, fmt.Sprintf("%s, yard %s", title, r.Yard), r.At)
	p.paragraph(fmt.Sprintf("Yard %s, %s. Truck %s %s, trip %d. The run is %s.", r.Yard, r.Day, r.TruckID, r.Truck.Name, r.Trip, r.Standing), false)
	return p
}

// warn names what must not be used of the run.
func (r Run) warn(p *page) {
	if len(r.Hits) == 0 {
		return
	}
	lines := make([]string, 0, len(r.Hits))
	for _, h := range r.Hits {
		lines = append(lines, strings.TrimSpace(fmt.Sprintf("%s %s: %s", h.PieceID, h.Mark, h.Reason)))
	}
	p.box("STOPPED: these pieces must not leave or be laid", lines)
}

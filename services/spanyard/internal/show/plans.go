package show

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

func strength(s layouteventv1.Strength) string { return word(s.String(), "STRENGTH_") }

// Plans prints laying plans without their rooms.
func Plans(w io.Writer, plans []*layoutv1.PlanSummary) {
	if len(plans) == 0 {
		note(w, "No laying plans.")
		return
	}
	t := newTable("job", "floor", "rev#", "state", "strength", "rooms#", "open#", "beams#", "beams kg#", "blocks#", "blocks kg#", "name")
	for _, p := range plans {
		t.add(p.GetJobId(), p.GetFloor(), p.GetRevision(), word(p.GetState().String(), "PLAN_STATE_"), strength(p.GetStrength()), p.GetRoomCount(),
			p.GetOpenPointCount(), p.GetBeamCount(), wholeKg(p.GetBeamMassG()), p.GetBlockCount(), wholeKg(p.GetBlockMassG()), p.GetJobName())
	}
	t.write(w)
}

// Drawn prints what a drawing gave.
func Drawn(w io.Writer, a *layoutv1.ImportDrawingResponse) {
	if a.GetWidthM() > 0 {
		fmt.Fprintf(w, "Read with %g mm to a drawing unit: the rooms measure %.2f m by %.2f m together.\n", a.GetUnitMm(), a.GetWidthM(), a.GetHeightM())
	}
	Plans(w, []*layoutv1.PlanSummary{a.GetPlan()})
	OpenPoints(w, a.GetOpenPoints())
}

// OpenPoints prints what stands in the way of an approval.
func OpenPoints(w io.Writer, points []*layoutv1.OpenPoint) {
	if len(points) == 0 {
		return
	}
	fmt.Fprint(w, "\nOPEN: mend these, or leave them out by hand, before the plan is approved\n")
	for _, o := range points {
		what := "room " + o.GetRoom()
		if o.GetRoom() == "" {
			what = fmt.Sprintf("problem %d", o.GetProblem())
		}
		paragraph(w, "  "+what+"  ", "      ", o.GetWhat()+" "+o.GetHelp())
	}
}

// Floor prints one laying plan, room by room in laying order, with the mark
// and length of every beam.
func Floor(w io.Writer, a *layoutv1.GetLayingPlanResponse, zone *time.Location) {
	s, p := a.GetSummary(), a.GetPlan()
	fmt.Fprintf(w, "LAYING PLAN: job %s %s, floor %s, revision %d, %s, strength %s\n", s.GetJobId(), s.GetJobName(), s.GetFloor(), s.GetRevision(),
		word(s.GetState().String(), "PLAN_STATE_"), strength(s.GetStrength()))
	if s.GetEngineer() != "" {
		approved := fmt.Sprintf("Approved by %s on %s", s.GetEngineer(), moment(s.GetApprovedAt(), zone))
		if s.GetReason() != "" {
			approved += ": " + s.GetReason()
		}
		paragraph(w, "", "", approved)
	}
	fmt.Fprintf(w, "%s, %s of %s m, %s kg; %s, %s kg; from %s.\n", count(s.GetRoomCount(), "room"), count(s.GetBeamCount(), "beam"),
		metres(s.GetBeamLengthMm()), wholeKg(s.GetBeamMassG()), count(s.GetBlockCount(), "block"), wholeKg(s.GetBlockMassG()), s.GetSourceFile())
	DesignCautions(w)
	OpenPoints(w, a.GetOpenPoints())
	for _, room := range p.GetRooms() {
		fmt.Fprintln(w)
		Room(w, room)
	}
	leftOut(w, p.GetProblems())
}

func leftOut(w io.Writer, problems []*layouteventv1.PlanProblem) {
	for i, x := range problems {
		if x.GetLeftOutReason() != "" {
			paragraph(w, "\n", "  ", fmt.Sprintf("Left out of the drawing, problem %d: %s on layer %s %s. %s", i+1, x.GetEntity(), x.GetLayer(), x.GetProblem(), x.GetLeftOutReason()))
		}
	}
}

// Room prints one room of a laying plan.
func Room(w io.Writer, r *layouteventv1.RoomPlan) {
	fmt.Fprintf(w, "ROOM %s %s, laid as number %d\n", r.GetRoom(), r.GetRoomName(), r.GetLayingOrder())
	category := ""
	if r.GetCategory() != "" {
		category = " (category " + r.GetCategory() + ")"
	}
	loads := fmt.Sprintf("loads: imposed %s kN/m2%s, finishes %s kN/m2", kilonewtons(r.GetImposedLoadNPerM2()), category, kilonewtons(r.GetFinishesLoadNPerM2()))
	switch r.GetState() {
	case layouteventv1.RoomState_ROOM_STATE_LEFT_OUT:
		paragraph(w, "  ", "  ", "LEFT OUT: "+r.GetLeftOutReason())
		return
	case layouteventv1.RoomState_ROOM_STATE_REFUSED:
		paragraph(w, "  ", "  ", "NOT LAID: "+r.GetRefusal()+" "+r.GetRefusalHelp()+" ("+loads+")")
		return
	}
	direction := r.GetSpanDirection()
	if direction == "" {
		direction = strconv.FormatFloat(r.GetDirectionDegrees(), 'f', 1, 64) + " degrees"
	}
	fmt.Fprintf(w, "  Longest clear span %d mm along %s, %d mm wide, pitch %d mm", r.GetClearSpanMm(), direction, r.GetWidthMm(), r.GetPitchMm())
	if r.GetFillerWidthMm() > 0 {
		fmt.Fprintf(w, ", closing bay %d mm", r.GetFillerWidthMm())
	}
	fmt.Fprintf(w, ".\n  %s %s, %d of them cut; %s.\n", count(r.GetBlockCount(), "block"), r.GetBlockKind(), r.GetCutBlockCount(), loads)
	rows(w, r.GetBeams())
	for _, t := range r.GetTrimmers() {
		if t.GetMark() != "" {
			fmt.Fprintf(w, "  Trimmer %s %s, %.0f mm, %s kg, %.0f %% full: %s.\n", t.GetMark(), t.GetName(), t.GetLengthMm(), kg(t.GetMassG()), 100*t.GetFullness(), t.GetGoverning())
		}
	}
}

// rows prints a room's beams, a line for each row and length.
func rows(w io.Writer, beams []*layouteventv1.BeamPlan) {
	t := newTable("row#", "from wall mm#", "length mm#", "mass kg#", "beam", "full %#", "governed by", "marks")
	t.indent = "  "
	for i := 0; i < len(beams); {
		first := beams[i]
		var marks, offsets []string
		for ; i < len(beams) && beams[i].GetRow() == first.GetRow() && beams[i].GetProduct().GetLengthMm() == first.GetProduct().GetLengthMm(); i++ {
			marks = append(marks, beams[i].GetMark())
			if offset := fmt.Sprint(beams[i].GetOffsetMm()); len(offsets) == 0 || offsets[len(offsets)-1] != offset {
				offsets = append(offsets, offset)
			}
		}
		p := first.GetProduct()
		full := "-"
		if first.GetGoverning() != "" {
			full = strconv.FormatFloat(100*first.GetFullness(), 'f', 0, 64)
		}
		t.add(first.GetRow(), strings.Join(offsets, "+"), p.GetLengthMm(), kg(first.GetMassG()), p.GetProfile()+"/"+p.GetWirePattern(), full, dash(first.GetGoverning()), strings.Join(marks, " "))
	}
	t.write(w)
}

func kilonewtons(n int32) string { return strconv.FormatFloat(float64(n)/1000, 'f', -1, 64) }

// Comparison prints what differs between two revisions, and what the yard has
// for the marks that differ.
func Comparison(w io.Writer, c *layoutv1.CompareRevisionsResponse, found map[string][]*stockv1.Piece) {
	fmt.Fprintf(w, "%s as before, %d changed.", count(c.GetUnchangedBeamCount(), "beam"), len(c.GetChanges()))
	if len(c.GetRoomsAdded()) > 0 {
		fmt.Fprintf(w, " New rooms: %s.", strings.Join(c.GetRoomsAdded(), ", "))
	}
	if len(c.GetRoomsRemoved()) > 0 {
		fmt.Fprintf(w, " Rooms gone: %s.", strings.Join(c.GetRoomsRemoved(), ", "))
	}
	if c.GetLayingOrderChanged() {
		fmt.Fprint(w, " The laying order is another.")
	}
	fmt.Fprintln(w)
	if len(c.GetChanges()) == 0 {
		return
	}
	fmt.Fprintln(w)
	t := newTable("mark", "change", "before", "after", "moved mm#", "the yard has for it")
	for _, x := range c.GetChanges() {
		t.add(x.GetMark(), word(x.GetKind().String(), "BEAM_CHANGE_KIND_"), productName(x.GetBefore()), productName(x.GetAfter()), x.GetMovedMm(), piecesOf(found[x.GetMark()]))
	}
	t.write(w)
}

func productName(p *commonv1.BeamProduct) string {
	if p == nil {
		return "-"
	}
	return fmt.Sprintf("%s/%s %d mm", p.GetProfile(), p.GetWirePattern(), p.GetLengthMm())
}

func piecesOf(pieces []*stockv1.Piece) string {
	if len(pieces) == 0 {
		return "nothing"
	}
	var all []string
	for _, p := range pieces {
		all = append(all, p.GetPieceId()+" "+pieceState(p.GetState()))
	}
	return strings.Join(all, ", ")
}

// Catalogue prints what a yard makes.
func Catalogue(w io.Writer, c *layoutv1.GetCatalogueResponse) {
	t := newTable("profile", "height mm#", "width mm#", "mass kg/m#", "wire patterns")
	for _, p := range c.GetProfiles() {
		t.add(p.GetName(), p.GetHeightMm(), p.GetWidthMm(), kg(p.GetMassGPerM()), strings.Join(p.GetWirePatterns(), ", "))
	}
	t.write(w)
	fmt.Fprintln(w)
	t = newTable("block", "on", "length mm#", "pitch mm#", "mass kg#", "on a pallet#", "pallet mm", "empty kg#")
	for _, b := range c.GetBlocks() {
		t.add(b.GetName(), strings.Join(b.GetProfiles(), ", "), b.GetLengthMm(), b.GetPitchMm(), kg(b.GetMassG()), b.GetBlocksPerPallet(),
			fmt.Sprintf("%d x %d x %d", b.GetPalletLengthMm(), b.GetPalletWidthMm(), b.GetPalletHeightMm()), kg(b.GetPalletTareG()))
	}
	t.write(w)
	basis(w, c.GetBasis())
	fmt.Fprintf(w, "\nBeam lengths go up in steps of %d mm to %d mm; bearings are %d mm or more.\n", c.GetLengthStepMm(), c.GetMaxBeamLengthMm(), c.GetMinBearingMm())
}

func basis(w io.Writer, b *layouteventv1.DesignBasis) {
	if b == nil {
		note(w, "\nThis catalogue is from before strength was computed: set it again with outlines, wires and concrete.")
		return
	}
	wire, concrete, casting := b.GetWire(), b.GetConcrete(), b.GetCasting()
	fmt.Fprintln(w)
	paragraph(w, "", "  ", fmt.Sprintf("Wire %s, %g mm, stressed to %g MPa; concrete fck %g MPa, cement %s, wires let go after %g days.", wire.GetName(),
		wire.GetDiameterMm(), casting.GetBedStressMpa(), concrete.GetFckMpa(), concrete.GetCementClass(), casting.GetTransferAgeDays()))
	fmt.Fprintf(w, "Bearing %g mm where a room asks for none; up to %d beams side by side.\n", b.GetRules().GetBearingMm(), b.GetRules().GetMostBeamsPerRow())
}

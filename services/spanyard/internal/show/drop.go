package show

import (
	"fmt"
	"io"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// Drop prints what a drop brings, as the crew of its site lays it: room by room
// from one wall across.
func Drop(w io.Writer, run string, number int32, d *dispatchv1.GetDropResponse) {
	site := d.GetSiteId()
	if d.GetSiteName() != "" {
		site = fmt.Sprintf("%s (%s)", d.GetSiteName(), d.GetSiteId())
	}
	fmt.Fprintf(w, "DROP %d OF RUN %s\n", number, run)
	paragraph(w, "", "  ", fmt.Sprintf("For %s on %s, by truck %s: %s. Leaves the yard at %s, arrives at %s, is unloaded from %s to %s.",
		site, longDay(d.GetDay()), truckOf(d), dropState(d), Clock(d.GetLeaveYardMinute()), Clock(d.GetArriveMinute()), Clock(d.GetUnloadMinute()), Clock(d.GetLeaveSiteMinute())))
	LayingCautions(w)
	for _, room := range d.GetRooms() {
		fmt.Fprintf(w, "\nROOM %s-%s OF JOB %s, IN LAYING ORDER\n", room.GetFloor(), room.GetRoom(), room.GetJobId())
		t := newTable("mark", "length mm#", "piece", "pile#", "tier#", "now")
		beams := 0
		for _, p := range room.GetPieces() {
			what, length := p.GetMark(), "-"
			if p.GetBeam() == nil {
				what = fmt.Sprintf("%d %s", p.GetBlockCount(), p.GetBlockKind())
			} else {
				beams++
				length = fmt.Sprint(p.GetBeam().GetLengthMm())
			}
			t.add(what, length, p.GetPieceId(), p.GetPileNumber(), p.GetPileTier(), DropPiece(p))
		}
		t.write(w)
		if planned := room.GetPlannedBeamCount(); beams > 0 && int32(beams) < planned {
			fmt.Fprintf(w, "The room takes %s; the others come with another delivery.\n", count(planned, "beam"))
		}
	}
}

func truckOf(d *dispatchv1.GetDropResponse) string {
	if d.GetTruckName() == "" {
		return d.GetTruckId()
	}
	return d.GetTruckId() + " " + d.GetTruckName()
}

func dropState(d *dispatchv1.GetDropResponse) string {
	switch {
	case d.GetCancelled():
		return "called off"
	case d.GetDelivered():
		return "set down"
	case d.GetDeparted():
		return "the truck has left the yard"
	default:
		return "the truck has not left the yard"
	}
}

// DropPiece says how a piece of a drop stands.
func DropPiece(p *dispatchv1.DropPiece) string {
	remark := ""
	if text := p.GetReport().GetRemark(); text != "" {
		remark = ": " + text
	}
	switch {
	case p.GetStoppedReason() != "":
		return "NOT TO BE USED: " + p.GetStoppedReason()
	case p.GetReport().GetKind() == dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_BROKEN:
		return "BROKEN, not to be laid" + remark
	case p.GetReport().GetKind() == dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_MISSING:
		return "DID NOT COME" + remark
	case p.GetBeam() == nil:
		return "pallet"
	case p.GetLaid():
		return "laid"
	default:
		return "to be laid"
	}
}

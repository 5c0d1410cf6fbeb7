package pages

import (
	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
)

// dropView is a drop as the foreman of its site needs it: what is next comes
// first.
type dropView struct {
	*dispatchv1.GetDropResponse
	RunID  string
	Number int32
	// Open says that beams can be ticked off: the truck has left the yard.
	Open         bool
	Rooms        []dropRoom
	Floors       []*dispatchv1.DropRoom
	Next         *dropPiece
	Then         []*dropPiece
	Laid, Beams  int
	Blocks       int32
	MassG        int64
	Told         []*dropPiece
	Stopped      []*dropPiece
	Name, Remark string
}

// dropRoom is what comes for one room.
type dropRoom struct {
	*dispatchv1.DropRoom
	Pieces      []*dropPiece
	Laid, Beams int
	Blocks      int32
	// Part says that the room needs more beams than this drop brings.
	Part bool
}

// dropPiece is a beam with its bar, or a pallet.
type dropPiece struct {
	*dispatchv1.DropPiece
	Room *dispatchv1.DropRoom
	// State in a word: laid, next, to_lay, broken, missing, stopped, pallet.
	State string
	// Width of its bar in thousandths of the longest of the drop.
	Width int32
}

// most beams that are named behind the next one.
const thenNamed = 3

// askDrop asks dispatch for the drop of a link.
func askDrop(r *shell.Request, d auth.Drop) (*dispatchv1.GetDropResponse, error) {
	return r.Shell().Dispatch.GetDrop(r.Ctx(), &dispatchv1.GetDropRequest{
		Yard: r.Shell().Yard, RunId: d.RunID, DropNumber: d.Number, AtLeast: r.AtLeast(),
	})
}

func drop(r *shell.Request) error {
	d, err := dropOf(r)
	if err != nil {
		return err
	}
	answer, err := askDrop(r, d)
	if err != nil {
		return err
	}
	v := &dropView{
		GetDropResponse: answer, RunID: d.RunID, Number: d.Number, Open: answer.GetDeparted() && !answer.GetCancelled(),
		Name: r.R.PostFormValue("received_by"), Remark: r.R.PostFormValue("remark"),
	}
	v.read()
	return r.Show("drop", v)
}

// read sorts out what the drop brings.
func (v *dropView) read() {
	longest := int32(1)
	for _, room := range v.GetRooms() {
		for _, p := range room.GetPieces() {
			longest = max(longest, p.GetBeam().GetLengthMm())
		}
	}
	floors := map[[2]string]bool{}
	for _, room := range v.GetRooms() {
		if key := [2]string{room.GetJobId(), room.GetFloor()}; !floors[key] && room.GetRevision() > 0 {
			floors[key] = true
			v.Floors = append(v.Floors, room)
		}
		out := dropRoom{DropRoom: room}
		for _, p := range room.GetPieces() {
			piece := &dropPiece{DropPiece: p, Room: room, State: pieceState(p), Width: 1000 * p.GetBeam().GetLengthMm() / longest}
			out.Pieces = append(out.Pieces, piece)
			out.Blocks += p.GetBlockCount()
			v.MassG += p.GetMassG()
			v.sort(&out, piece)
		}
		out.Part = out.Beams > 0 && int32(out.Beams) < room.GetPlannedBeamCount()
		v.Laid, v.Beams, v.Blocks = v.Laid+out.Laid, v.Beams+out.Beams, v.Blocks+out.Blocks
		v.Rooms = append(v.Rooms, out)
	}
}

// sort puts a piece where it is asked for.
func (v *dropView) sort(room *dropRoom, p *dropPiece) {
	if p.GetBeam() != nil {
		room.Beams++
	}
	switch p.State {
	case "laid":
		room.Laid++
	case "to_lay":
		if v.Next == nil {
			v.Next = p
			p.State = "next"
		} else if len(v.Then) < thenNamed {
			v.Then = append(v.Then, p)
		}
	case "stopped":
		v.Stopped = append(v.Stopped, p)
	}
	if p.GetReport() != nil {
		v.Told = append(v.Told, p)
	}
}

func pieceState(p *dispatchv1.DropPiece) string {
	switch {
	case p.GetStoppedReason() != "":
		return "stopped"
	case p.GetReport().GetKind() == dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_BROKEN:
		return "broken"
	case p.GetReport().GetKind() == dispatcheventv1.PieceReportKind_PIECE_REPORT_KIND_MISSING:
		return "missing"
	case p.GetBeam() == nil:
		return "pallet"
	case p.GetLaid():
		return "laid"
	default:
		return "to_lay"
	}
}

package pages

import (
	"strconv"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
)

// floorCompareView is what differs between two revisions of a floor.
type floorCompareView struct {
	*layoutv1.CompareRevisionsResponse
	// Floor is the newest revision.
	Floor     floorRow
	From, To  int32
	Revisions []floorRow
	Rooms     []changedRoom
	// Unseen rooms are changed and not drawn.
	Unseen int
	// Counts of changes by kind.
	Counts map[string]int
}

// changedRoom is a room whose beams differ.
type changedRoom struct {
	Room, Name    string
	Before, After *picture
	Changes       []changedBeam
}

// changedBeam is a beam that differs, and what the yard has for its mark.
type changedBeam struct {
	*layoutv1.BeamChange
	Kind, Was, Is string
	Pieces        []*stockv1.Piece
}

// mostPictures of a comparison, before and after; the others are told in the
// table.
const mostPictures = 12

// mostMarks that stock is asked for at once.
const mostMarks = 5000

func compareFloor(r *shell.Request) error {
	v := floorCompareView{Counts: map[string]int{}}
	var err error
	if v.Revisions, err = revisionsOf(r); err != nil {
		return err
	}
	newest, err := planOf(r, 0)
	if err != nil {
		return err
	}
	v.Floor = floorRowOf(newest.GetSummary())
	v.To = revisionIn(r.Form("to"), v.Floor.GetRevision())
	v.From = revisionIn(r.Form("from"), v.To-1)
	if v.From < 1 || v.From == v.To {
		return r.Show("floorcompare", v)
	}
	v.CompareRevisionsResponse, err = r.Shell().Layout.CompareRevisions(r.Ctx(), &layoutv1.CompareRevisionsRequest{
		Yard: r.Shell().Yard, JobId: v.Floor.GetJobId(), Floor: v.Floor.GetFloor(), FromRevision: v.From, ToRevision: v.To,
	})
	if err != nil {
		return err
	}
	if err := v.changes(r); err != nil {
		return err
	}
	if err := v.draw(r); err != nil {
		return err
	}
	return r.Show("floorcompare", v)
}

func revisionIn(text string, otherwise int32) int32 {
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil || n < 1 {
		return otherwise
	}
	return int32(n)
}

var changeKinds = map[layoutv1.BeamChangeKind]string{
	layoutv1.BeamChangeKind_BEAM_CHANGE_KIND_ADDED: "added", layoutv1.BeamChangeKind_BEAM_CHANGE_KIND_REMOVED: "removed",
	layoutv1.BeamChangeKind_BEAM_CHANGE_KIND_REMADE: "remade", layoutv1.BeamChangeKind_BEAM_CHANGE_KIND_MOVED: "moved",
}

// changes by room, with what the yard has for the marks.
func (v *floorCompareView) changes(r *shell.Request) error {
	found, err := piecesFor(r, v.Floor.GetJobId(), v.GetChanges())
	if err != nil {
		return err
	}
	at := map[string]int{}
	for _, c := range v.GetChanges() {
		if _, ok := at[c.GetRoom()]; !ok {
			at[c.GetRoom()] = len(v.Rooms)
			v.Rooms = append(v.Rooms, changedRoom{Room: c.GetRoom()})
		}
		kind := changeKinds[c.GetKind()]
		v.Counts[kind]++
		room := &v.Rooms[at[c.GetRoom()]]
		room.Changes = append(room.Changes, changedBeam{c, kind, beamName(c.GetBefore()), beamName(c.GetAfter()), found[c.GetMark()]})
	}
	return nil
}

func beamName(p *commonv1.BeamProduct) string {
	if p == nil {
		return ""
	}
	return p.GetProfile() + "/" + p.GetWirePattern() + ", " + inMetres(float64(p.GetLengthMm())) + " m"
}

// piecesFor the marks of changed beams. Before anything was counted in, the
// yard has none.
func piecesFor(r *shell.Request, job string, changes []*layoutv1.BeamChange) (map[string][]*stockv1.Piece, error) {
	found := map[string][]*stockv1.Piece{}
	req := &stockv1.FindMarksRequest{Yard: r.Shell().Yard, JobId: job}
	for _, c := range changes[:min(len(changes), mostMarks)] {
		req.Marks = append(req.Marks, c.GetMark())
	}
	if len(req.GetMarks()) == 0 {
		return found, nil
	}
	answer, err := r.Shell().Stock.FindMarks(r.Ctx(), req)
	if missing(err) {
		return found, nil
	}
	if err != nil {
		return nil, err
	}
	for _, m := range answer.GetMarks() {
		found[m.GetMark()] = m.GetPieces()
	}
	return found, nil
}

// draw the changed rooms, before and after.
func (v *floorCompareView) draw(r *shell.Request) error {
	if len(v.Rooms) == 0 {
		return nil
	}
	before, err := planOf(r, v.From)
	if err != nil {
		return err
	}
	after, err := planOf(r, v.To)
	if err != nil {
		return err
	}
	was, is := byRoom(before), byRoom(after)
	for i := range v.Rooms {
		room := &v.Rooms[i]
		room.Name = is[room.Room].GetRoomName()
		if room.Name == "" {
			room.Name = was[room.Room].GetRoomName()
		}
		if i >= mostPictures {
			v.Unseen++
			continue
		}
		changed := map[string]bool{}
		for _, c := range room.Changes {
			changed[c.GetMark()] = true
		}
		if p := was[room.Room]; p != nil {
			room.Before = roomPicture(p, changed)
		}
		if p := is[room.Room]; p != nil {
			room.After = roomPicture(p, changed)
		}
	}
	return nil
}

func byRoom(answer *layoutv1.GetLayingPlanResponse) map[string]*layouteventv1.RoomPlan {
	rooms := map[string]*layouteventv1.RoomPlan{}
	for _, p := range answer.GetPlan().GetRooms() {
		rooms[p.GetRoom()] = p
	}
	return rooms
}

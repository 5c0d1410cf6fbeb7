package pages

import (
	"net/url"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
)

func corners(xy ...float64) []*layouteventv1.PlanPoint {
	var points []*layouteventv1.PlanPoint
	for i := 0; i+1 < len(xy); i += 2 {
		points = append(points, &layouteventv1.PlanPoint{XMm: xy[i], YMm: xy[i+1]})
	}
	return points
}

// aRoom in the form of an L, far from the drawing's origin.
func aRoom() *layouteventv1.RoomPlan {
	return &layouteventv1.RoomPlan{
		Room: "03", RoomName: "Hall", Category: "A", ImposedLoadNPerM2: 1500, FinishesLoadNPerM2: 1200, PitchMm: 520,
		Outline: corners(100_000, 50_000, 106_000, 50_000, 106_000, 52_000, 102_000, 52_000, 102_000, 56_000, 100_000, 56_000),
		Holes:   []*layouteventv1.PlanHole{{Corners: corners(100_500, 50_500, 101_500, 50_500, 101_500, 51_500, 100_500, 51_500)}},
		Wishes:  &layouteventv1.RoomWishes{DirectionDegrees: proto.Float64(90), BearingMm: 100}, OpenSides: []int32{2},
		Kit:        &layouteventv1.PlanKit{WidthMm: 120},
		Partitions: []*layouteventv1.PlanPartition{{From: corners(100_000, 51_000)[0], To: corners(102_000, 51_000)[0], KnPerM: 3.5}},
		Beams: []*layouteventv1.BeamPlan{
			{Mark: "1-03-01", Row: 1, PlaceInRow: 1, Product: &commonv1.BeamProduct{Profile: "T150", WirePattern: "p4", LengthMm: 6200}, Fullness: 0.501, Governing: "bending", Corners: corners(100_400, 49_900, 100_400, 56_100, 100_280, 56_100, 100_280, 49_900)},
			{Mark: "1-03-02", Row: 1, PlaceInRow: 2, Product: &commonv1.BeamProduct{Profile: "T150", WirePattern: "p4", LengthMm: 6200}, Fullness: 0.52, Governing: "shear", Corners: corners(100_520, 49_900, 100_520, 56_100, 100_400, 56_100, 100_400, 49_900)},
		},
		State: layouteventv1.RoomState_ROOM_STATE_LAID,
	}
}

// What a form was made with and comes back with is no change; what differs is
// one, and partitions are measured from the room's corner.
func TestRoomFormNamesWhatDiffers(t *testing.T) {
	say := func(key string, _ ...any) string { return key }
	p := aRoom()
	asked := askedOf(p)
	was, err := url.ParseQuery(pack(asked))
	if err != nil {
		t.Fatal(err)
	}
	if _, mask, err := briefFrom(say, asked, was, p); err != nil || len(mask.GetPaths()) > 0 {
		t.Errorf("the same form changes %v, %v", mask.GetPaths(), err)
	}
	if asked["partitions"] != "0,1000,2000,1000,3.5" || asked["open_sides"] != "2" || asked["wishes.direction_degrees"] != "90" {
		t.Errorf("the form has %v", asked)
	}
	asked["partitions"] += ";500,0,500,2000,4"
	asked["wishes.direction_degrees"] = ""
	b, mask, err := briefFrom(say, asked, was, p)
	if err != nil || strings.Join(mask.GetPaths(), " ") != "partitions wishes.direction_degrees" {
		t.Errorf("changed: %v, %v", mask.GetPaths(), err)
	}
	if w := b.GetPartitions(); len(w) != 2 || w[1].GetFrom().GetXMm() != 100_500 || w[1].GetTo().GetYMm() != 52_000 || w[1].GetKnPerM() != 4 {
		t.Errorf("partitions %v", w)
	}
	if b.GetWishes().DirectionDegrees != nil {
		t.Error("a direction that is left open is none")
	}
	asked["partitions"] = "1,2,x,4,5"
	if _, _, err := briefFrom(say, asked, was, p); err == nil {
		t.Error("a partition without numbers is one")
	}
}

func TestRoomPictureNeverLeavesItsFrame(t *testing.T) {
	p := roomPicture(aRoom(), map[string]bool{"1-03-02": true})
	p.numberSides(aRoom())
	s := p.Rooms[0]
	if len(s.Beams) != 2 || s.Beams[0].Text != "1-03-01/02  6.20 m" || s.Beams[1].Text != "" || s.Beams[0].Changed || !s.Beams[1].Changed {
		t.Errorf("beams %+v", s.Beams)
	}
	if s.Beams[0].Degrees != -90 {
		t.Errorf("a mark along y is turned by %v", s.Beams[0].Degrees)
	}
	for _, at := range []place{s.At, s.Beams[0].At, s.Sides[0].At, {s.Walls[0].X1, s.Walls[0].Y1}} {
		if at.X < 0 || at.Y < 0 || at.X > p.W || at.Y > p.H {
			t.Errorf("%v lies outside of %v by %v", at, p.W, p.H)
		}
	}
	if d := depthIn(aRoom().GetOutline(), s.At.X+p.left, p.top-s.At.Y); d <= 0 {
		t.Errorf("the name of an L lies %v outside of it", -d)
	}
	if got := areaOf(aRoom()) / 1e6; got != 19 {
		t.Errorf("the area is %v", got)
	}
	for _, r := range []*layouteventv1.RoomPlan{{}, {Outline: corners(1, 1)}} {
		if roomPicture(r, nil) != nil || floorPicture([]*layouteventv1.RoomPlan{r}, "") != nil {
			t.Error("a room without an outline has a picture")
		}
	}
}

// Hundreds of entities that are wrong in the same way are one line.
func TestOpenPointsAreGrouped(t *testing.T) {
	answer := &layoutv1.GetLayingPlanResponse{Plan: &layouteventv1.LayingPlan{}, OpenPoints: []*layoutv1.OpenPoint{{Room: "07", What: "Too wide."}}}
	for i := range 500 {
		p := &layouteventv1.PlanProblem{Entity: "LINE", Layer: "DOORS", Problem: "does not close"}
		switch {
		case i%100 == 0:
			p.Layer = "WALLS"
		case i%2 == 0:
			p.LeftOutReason = "furniture"
		}
		answer.Plan.Problems = append(answer.Plan.Problems, p)
		if p.GetLeftOutReason() == "" {
			answer.OpenPoints = append(answer.OpenPoints, &layoutv1.OpenPoint{Problem: int32(i + 1)})
		}
	}
	var v floorView
	v.openPoints(answer)
	if len(v.Open) != 1 || len(v.Problems) != 2 || len(v.LeftOut) != 1 {
		t.Fatalf("%d rooms, %d groups, %d left out", len(v.Open), len(v.Problems), len(v.LeftOut))
	}
	if g := v.Problems[1]; g.Layer != "WALLS" || g.Count != 5 || g.Numbers != "1,101,201,301,401" {
		t.Errorf("the group %+v", g)
	}
	if g := v.Problems[0]; g.Count != 250 || len(g.Entities) != mostEntities {
		t.Errorf("the group has %d, names %d", g.Count, len(g.Entities))
	}
}

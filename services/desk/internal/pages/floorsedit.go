package pages

import (
	"net/url"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/fault"
)

// A room's form is a value for each field of its brief, under the field's name.
// What differs from what the form was made with is changed, and nothing else:
// so two people who change different things of a room do not undo each other.
// Partitions are measured from the room's lower left corner, which is what a
// person with a rule on the drawing does.

// wallNumbers of a partition: from, to, load.
const wallNumbers = 5

// askedOf a room: the fields of its form.
func askedOf(p *layouteventv1.RoomPlan) map[string]string {
	w := p.GetWishes()
	direction := ""
	if w != nil && w.DirectionDegrees != nil {
		direction = figureOf(w.GetDirectionDegrees())
	}
	low, _ := boundsOf(p.GetOutline())
	var walls, sides []string
	for _, x := range p.GetPartitions() {
		walls = append(walls, strings.Join([]string{
			figureOf(x.GetFrom().GetXMm() - low.X), figureOf(x.GetFrom().GetYMm() - low.Y), figureOf(x.GetTo().GetXMm() - low.X), figureOf(x.GetTo().GetYMm() - low.Y), figureOf(x.GetKnPerM()),
		}, ","))
	}
	for _, side := range p.GetOpenSides() {
		sides = append(sides, strconv.Itoa(int(side)))
	}
	return map[string]string{
		"room_name": p.GetRoomName(), "category": p.GetCategory(),
		"imposed_kn_per_m2": kilonewtons(p.GetImposedLoadNPerM2()), "finishes_kn_per_m2": kilonewtons(p.GetFinishesLoadNPerM2()),
		"partitions": strings.Join(walls, ";"), "open_sides": strings.Join(sides, ","),
		"wishes.direction_degrees": direction, "wishes.profile": w.GetProfile(), "wishes.wire_pattern": w.GetWirePattern(), "wishes.block_kind": w.GetBlockKind(),
		"wishes.beams_per_row": figureOf(float64(w.GetBeamsPerRow())), "wishes.bearing_mm": figureOf(w.GetBearingMm()),
	}
}

// sentOf a room's form: the same fields as a person filled them in.
func sentOf(r *shell.Request) map[string]string {
	sent := map[string]string{}
	for _, field := range []string{"room_name", "category", "imposed_kn_per_m2", "finishes_kn_per_m2", "wishes.profile", "wishes.wire_pattern", "wishes.block_kind", "wishes.beams_per_row", "wishes.bearing_mm"} {
		sent[field] = r.Form(field)
	}
	sent["wishes.direction_degrees"] = r.Form("direction")
	if r.Form("direction") == "other" {
		sent["wishes.direction_degrees"] = r.Form("degrees")
	}
	sides := slices.Clone(r.R.PostForm["open_side"])
	sent["open_sides"] = strings.Join(sides, ",")
	var walls []string
	for n := 1; r.R.PostForm.Has("wall_" + strconv.Itoa(n) + "_x1"); n++ {
		var numbers []string
		for _, end := range []string{"x1", "y1", "x2", "y2", "load"} {
			numbers = append(numbers, strings.ReplaceAll(r.Form("wall_"+strconv.Itoa(n)+"_"+end), ",", "."))
		}
		if strings.Join(numbers, "") != "" {
			walls = append(walls, strings.Join(numbers, ","))
		}
	}
	sent["partitions"] = strings.Join(walls, ";")
	return sent
}

// pack writes the fields of a form into one.
func pack(fields map[string]string) string {
	q := url.Values{}
	for field, value := range fields {
		q.Set(field, value)
	}
	return q.Encode()
}

func splitWalls(text string) [][]string {
	var walls [][]string
	for _, wall := range strings.Split(text, ";") {
		if wall != "" {
			walls = append(walls, strings.Split(wall, ","))
		}
	}
	return walls
}

// briefFrom what was sent; mask names what differs from what was.
func briefFrom(say func(string, ...any) string, sent map[string]string, was url.Values, p *layouteventv1.RoomPlan) (*layoutv1.RoomBrief, *fieldmaskpb.FieldMask, error) {
	mask := &fieldmaskpb.FieldMask{}
	for field, value := range sent {
		if was.Get(field) != value {
			mask.Paths = append(mask.Paths, field)
		}
	}
	slices.Sort(mask.GetPaths())
	f := numbers{say: say, bad: fault.New(fault.Invalid, "FIELD_INVALID", "%s", say("room.not_changed", p.GetRoom()))}
	b := &layoutv1.RoomBrief{
		RoomName: sent["room_name"], Category: sent["category"],
		ImposedKnPerM2: f.number("room.imposed", sent["imposed_kn_per_m2"]), FinishesKnPerM2: f.number("room.finishes", sent["finishes_kn_per_m2"]),
		Wishes: &layouteventv1.RoomWishes{
			Profile: sent["wishes.profile"], WirePattern: sent["wishes.wire_pattern"], BlockKind: sent["wishes.block_kind"],
			BeamsPerRow: int32(f.number("room.per_row", sent["wishes.beams_per_row"])), BearingMm: f.number("room.bearing", sent["wishes.bearing_mm"]),
		},
	}
	if text := sent["wishes.direction_degrees"]; text != "" {
		b.Wishes.DirectionDegrees = proto.Float64(f.number("room.direction", text))
	}
	for text := range strings.SplitSeq(sent["open_sides"], ",") {
		if text != "" {
			b.OpenSides = append(b.OpenSides, int32(f.number("room.sides", text)))
		}
	}
	low, _ := boundsOf(p.GetOutline())
	for i, wall := range splitWalls(sent["partitions"]) {
		var n [wallNumbers]float64
		for k := range n {
			if k >= len(wall) || wall[k] == "" {
				f.bad.At(say("room.wall", i+1), "", say("room.wall_incomplete"), say("room.wall_allowed"))
				break
			}
			n[k] = f.number("room.walls", wall[k])
		}
		b.Partitions = append(b.Partitions, &layouteventv1.PlanPartition{
			From: &layouteventv1.PlanPoint{XMm: n[0] + low.X, YMm: n[1] + low.Y}, To: &layouteventv1.PlanPoint{XMm: n[2] + low.X, YMm: n[3] + low.Y}, KnPerM: n[4],
		})
	}
	return b, mask, f.err()
}

// changeRoom lays a room anew with what a person asks of it. A room that was
// left out is taken in again.
func changeRoom(r *shell.Request) error {
	sent := sentOf(r)
	if err := relay(r, sent); err != nil {
		r.Problem = err
		return showRoom(r, 0, sent)
	}
	return nil
}

func relay(r *shell.Request, sent map[string]string) error {
	say := r.Shell().Words.Say
	revision, err := revisionOf(r)
	if err != nil {
		return err
	}
	before, err := planOf(r, 0)
	if err != nil {
		return err
	}
	plan, at, err := roomIn(r, before)
	if err != nil {
		return err
	}
	was, err := url.ParseQuery(r.Form("was"))
	if err != nil {
		return fault.New(fault.Invalid, "FORM_UNREADABLE", "%s", say("problem.form")).Because(err)
	}
	old := plan.GetRooms()[at]
	brief, mask, err := briefFrom(say, sent, was, old)
	if err != nil {
		return err
	}
	if len(mask.GetPaths()) == 0 && roomState(old) == "laid" {
		return fault.New(fault.Invalid, "NOTHING_CHANGED", "%s", say("room.nothing_changed", old.GetRoom()))
	}
	answer, err := r.Shell().Layout.EditRoom(r.Ctx(), &layoutv1.EditRoomRequest{
		Yard: r.Shell().Yard, RequestId: requestID(r), JobId: plan.GetJobId(), Floor: plan.GetFloor(), Revision: revision, Room: old.GetRoom(), Brief: brief, UpdateMask: mask,
	})
	if err != nil {
		return err
	}
	path := floorPath(plan.GetJobId(), plan.GetFloor()) + "/room/" + url.PathEscape(old.GetRoom())
	now := answer.GetRoom()
	if roomState(now) == "refused" {
		return r.Go(path, "room.said.refused", now.GetRoom(), answer.GetPlan().GetRevision())
	}
	return r.Go(path, "room.said.laid", now.GetRoom(), answer.GetPlan().GetRevision(), standing(r, now), standing(r, old))
}

// standing of a room in a sentence: its beams and the fullest of them.
func standing(r *shell.Request, p *layouteventv1.RoomPlan) string {
	row := roomRowOf(r, p)
	if len(p.GetBeams()) == 0 {
		return r.Shell().Words.Say("room.no_beams")
	}
	return r.Shell().Words.Say("room.standing", row.Products, row.Direction, row.Full)
}

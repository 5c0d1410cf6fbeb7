package office_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/codec"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
)

// exact compares all of a value, also what is not exported of a refusal.
var exact = cmp.AllowUnexported(arrange.Refusal{})

// said is all that a state says.
type said struct {
	Catalogue office.Catalogue
	Floors    map[office.FloorKey][]office.Record
}

func sayings(s office.State) said {
	d := said{Floors: map[office.FloorKey][]office.Record{}}
	d.Catalogue, _ = s.Catalogue()
	s.Floors(office.FloorKey{}, func(key office.FloorKey, records []office.Record) bool {
		d.Floors[key] = records
		return true
	})
	return d
}

// TestHistories drives the office through histories of good and bad commands
// and checks what must hold after each.
func TestHistories(t *testing.T) {
	carriedOut := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		s := office.New()
		type moment struct {
			state office.State
			text  string
		}
		var history []moment
		for range rapid.IntRange(1, 15).Draw(t, "commands") {
			c := drawCommand(t, s)
			before := fmt.Sprintf("%+v", sayings(s))
			history = append(history, moment{s, before})
			events, err := office.Decide(s, c)
			again, _ := office.Decide(s, c)
			if d := cmp.Diff(events, again, exact); d != "" {
				t.Fatalf("Decide gave two answers:\n%s", d)
			}
			if (err == nil) == (len(events) == 0) {
				t.Fatalf("%T: %d events, %v", c, len(events), err)
			}
			if err != nil && (fault.KindOf(err) == fault.Internal || fault.ReasonOf(err) == "") {
				t.Fatalf("%T: %v", c, err)
			}
			next := s
			for _, e := range events {
				next = evolved(t, next, e)
			}
			if err == nil {
				carriedOut[fmt.Sprintf("%T", c)]++
				checkOthersStay(t, s, next, c)
				checkApproval(t, s, c)
			}
			s = next
			checkState(t, s)
		}
		checkSnapshot(t, s)
		for i, m := range history {
			if fmt.Sprintf("%+v", sayings(m.state)) != m.text {
				t.Fatalf("state %d has changed since", i)
			}
		}
	})
	if testing.Short() {
		return // too few histories for every command to come up
	}
	for _, c := range []office.Command{office.SetCatalogue{}, office.DraftPlans{}, office.DraftDrawing{}, office.EditRoom{}, office.ReorderRooms{}, office.LeaveOut{}, office.Approve{}} {
		if carriedOut[fmt.Sprintf("%T", c)] == 0 {
			t.Errorf("no %T was ever carried out: %v", c, carriedOut)
		}
	}
}

// evolved applies an event, and makes sure that one that was written down and
// read again does the same.
func evolved(t *rapid.T, s office.State, e office.Event) office.State {
	kind, data, err := codec.Encode(e)
	if err != nil {
		t.Fatal(err)
	}
	back, err := codec.Decode(kind, data)
	if err != nil {
		t.Fatal(err)
	}
	next := office.Evolve(s, e)
	if d := cmp.Diff(sayings(next), sayings(office.Evolve(s, back)), exact); d != "" {
		t.Fatalf("%s is another event when it is read again (-made +read):\n%s", kind, d)
	}
	return next
}

func checkSnapshot(t *rapid.T, s office.State) {
	data, err := codec.Snapshot(s)
	if err != nil {
		t.Fatal(err)
	}
	back, err := codec.Restore(data)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(sayings(s), sayings(back), exact); d != "" {
		t.Fatalf("the snapshot (-state +restored):\n%s", d)
	}
}

// drawCommand draws a command that is good more often than not.
func drawCommand(t *rapid.T, s office.State) office.Command {
	if _, ok := s.Catalogue(); !ok && rapid.IntRange(0, 9).Draw(t, "begin") > 0 {
		return office.SetCatalogue{Catalogue: officetest.Catalogue()}
	}
	job := rapid.SampledFrom([]string{"J1", "J1", "J2"}).Draw(t, "job")
	floor := rapid.SampledFrom([]string{"0", "0", "1"}).Draw(t, "floor")
	records := s.Revisions(office.FloorKey{Job: job, Floor: floor})
	revision := len(records) + rapid.SampledFrom([]int{0, 0, 0, 0, 0, 0, -1, 1}).Draw(t, "revision")
	var rooms []string
	problems := 0
	if len(records) > 0 {
		p := records[len(records)-1].Plan
		problems = len(p.Problems)
		for _, r := range p.Rooms {
			rooms = append(rooms, r.Room.ID)
		}
	}
	room := rapid.SampledFrom(append([]string{"no"}, append(rooms, rooms...)...)).Draw(t, "room")
	switch rapid.IntRange(0, 10).Draw(t, "kind") {
	case 0:
		c := officetest.Catalogue()
		c.LengthStepMM = rapid.SampledFrom([]int{0, 10, 50, 100}).Draw(t, "step")
		return office.SetCatalogue{Catalogue: c}
	case 1:
		return drawSchedule(t, job, floor)
	case 2, 3:
		return drawDrawing(t, job, floor)
	case 4, 5:
		return drawEdit(t, office.EditRoom{Job: job, Floor: floor, Revision: revision, Room: room})
	case 6:
		if rapid.IntRange(0, 5).Draw(t, "short") == 0 {
			rooms = append(rooms, room)
		}
		return office.ReorderRooms{Job: job, Floor: floor, Revision: revision, Rooms: rapid.Permutation(rooms).Draw(t, "order")}
	case 7, 8:
		c := office.LeaveOut{Job: job, Floor: floor, Revision: revision, AllOpen: rapid.Bool().Draw(t, "all"), Reason: rapid.SampledFrom([]string{"by others", "by others", " "}).Draw(t, "why")}
		if !c.AllOpen {
			c.Rooms = []string{room}
			c.Problems = rapid.SliceOfN(rapid.IntRange(0, problems), 0, 2).Draw(t, "problems")
		}
		return c
	default:
		c := approve(job, floor, revision)
		c.Engineer = rapid.SampledFrom([]string{"Odalys Brenk", "Odalys Brenk", " "}).Draw(t, "engineer")
		return c
	}
}

func drawSchedule(t *rapid.T, job, floor string) office.Command {
	c := office.DraftPlans{SourceFile: "rooms.csv"}
	for i := range rapid.IntRange(0, 4).Draw(t, "rows") {
		r := row(i+2, job, floor, fmt.Sprintf("%02d", i), i+1)
		r.Room.WidthMM = rapid.IntRange(180, 5000).Draw(t, "width")
		r.Room.ClearSpanMM = rapid.IntRange(250, 6000).Draw(t, "span")
		r.Room.BeamsPerRow = rapid.IntRange(0, 3).Draw(t, "beams per row")
		r.Room.Profile, r.Room.WirePattern, r.Room.Block, r.Room.BearingMM = "", "", "", 0
		c.Rows = append(c.Rows, r)
	}
	return c
}

// drawDrawing draws rooms side by side, 300 mm apart.
func drawDrawing(t *rapid.T, job, floor string) office.Command {
	c := office.DraftDrawing{SourceFile: "mill.dxf", Job: job, JobName: "House at the mill", Floor: floor}
	x := 0.0
	for i := range rapid.IntRange(0, 4).Draw(t, "rooms") {
		w, h := float64(100*rapid.IntRange(8, 60).Draw(t, "w")), float64(100*rapid.IntRange(8, 60).Draw(t, "h"))
		r := officetest.Box(fmt.Sprintf("%02d", i+1), i+1, x, 0, w, h)
		x += w + 300
		switch rapid.IntRange(0, 4).Draw(t, "shape") {
		case 0: // an L
			r.Shape.Outline = []geometry.Point{r.Shape.Outline[0], r.Shape.Outline[1], {X: x - 300, Y: h / 2}, {X: x - 300 - w/2, Y: h / 2}, {X: x - 300 - w/2, Y: h}, r.Shape.Outline[3]}
		case 1: // an opening
			at := func(dx, dy float64) geometry.Point { return geometry.Point{X: x - 300 - w/2 + dx, Y: h/2 + dy} }
			r.Shape.Holes = [][]geometry.Point{{at(-200, -150), at(200, -150), at(200, 150), at(-200, 150)}}
			r.HoleSupports = []bool{rapid.Bool().Draw(t, "shaft")}
		case 2: // a partition, a side that carries nothing
			r.Partitions = []arrange.Partition{{From: geometry.Point{X: x - 300 - w, Y: h / 3}, To: geometry.Point{X: x - 300, Y: h / 3}, NPerMM: rapid.Float64Range(0.1, 6).Draw(t, "load")}}
			r.OpenSides = map[int]bool{rapid.IntRange(0, 3).Draw(t, "side"): rapid.Bool().Draw(t, "open")}
		}
		r.Loads.ImposedKNPerM2 = rapid.Float64Range(0, 6).Draw(t, "imposed")
		c.Rooms = append(c.Rooms, r)
	}
	for i := range rapid.IntRange(0, 2).Draw(t, "problems") {
		c.Problems = append(c.Problems, office.Problem{Entity: fmt.Sprintf("LINE %d", i), Layer: "ROOMS", What: "does not close"})
	}
	return c
}

func drawEdit(t *rapid.T, c office.EditRoom) office.Command {
	brief := officetest.Box("", 0, 0, 0, 3000, 2400)
	brief.Loads.ImposedKNPerM2 = rapid.Float64Range(0, 6).Draw(t, "imposed")
	brief.Profile = rapid.SampledFrom([]string{"", "T150", "T190", "T9"}).Draw(t, "profile")
	brief.PerRow = rapid.IntRange(0, 3).Draw(t, "per row")
	brief.BearingMM = rapid.SampledFrom([]float64{0, 0, 90, 140}).Draw(t, "bearing")
	direction := rapid.SampledFrom([]float64{0, 90, 30}).Draw(t, "direction")
	brief.DirectionDegrees = rapid.SampledFrom([]*float64{nil, &direction}).Draw(t, "turned")
	c.Brief = brief
	c.Fields = rapid.SliceOfNDistinct(rapid.SampledFrom([]office.Field{
		office.FieldName, office.FieldImposed, office.FieldFinishes, office.FieldProfile, office.FieldPerRow, office.FieldBearing, office.FieldDirection,
		office.FieldHoles, office.FieldPartitions, office.FieldOpenSides, office.FieldCategory, "colour",
	}), 0, 3, rapid.ID).Draw(t, "fields")
	return c
}

func checkState(t *rapid.T, s office.State) {
	s.Floors(office.FloorKey{}, func(key office.FloorKey, records []office.Record) bool {
		approved := 0
		for i, r := range records {
			if r.Plan.Revision != i+1 || r.Plan.Key() != key {
				t.Fatalf("%v: revision %d lies at %d", key, r.Plan.Revision, i)
			}
			if r.Status == office.Approved {
				approved++
			}
			if signed := r.Engineer != "" && !r.ApprovedAt.IsZero(); signed != (r.Status != office.Draft) {
				t.Fatalf("%v revision %d: status %d, engineer %q", key, i+1, r.Status, r.Engineer)
			}
			checkPlan(t, r)
		}
		if approved > 1 {
			t.Fatalf("%v: %d revisions are approved", key, approved)
		}
		return true
	})
}

// checkPlan makes sure that a plan is whole: rooms in laying order, marks of
// their own, no rule of laying broken, totals that are the sums, and nothing
// open in what was approved.
func checkPlan(t *rapid.T, r office.Record) {
	p := r.Plan
	want := office.Totals{Rooms: len(p.Rooms), OpenPoints: len(p.OpenPoints())}
	marks := map[string]bool{}
	for i, room := range p.Rooms {
		if i > 0 && p.Rooms[i-1].Room.Order > room.Room.Order {
			t.Fatal("rooms are out of laying order")
		}
		if room.LeftOut != "" {
			want.LeftOut++
		} else {
			for _, v := range design.Violations(p.Catalogue.Engine(), room.RoomPlan) {
				t.Fatalf("room %s: %s", room.Room.ID, v)
			}
		}
		if (len(room.Beams) > 0) == (room.Refused != nil || room.LeftOut != "") {
			t.Fatalf("room %s has %d beams, refused %v, left out %q", room.Room.ID, len(room.Beams), room.Refused, room.LeftOut)
		}
		for _, b := range room.Beams {
			if marks[b.Mark] || b.Fullness > 1 || !strings.HasPrefix(b.Mark, p.Floor+"-"+room.Room.ID+"-") {
				t.Fatalf("beam %+v", b)
			}
			marks[b.Mark] = true
			want.Beams, want.BeamLengthMM, want.BeamMassG = want.Beams+1, want.BeamLengthMM+int64(b.LengthMM), want.BeamMassG+b.MassG
		}
		for _, bay := range room.Layout.Bays {
			n := bay.Whole + bay.Cut
			want.Blocks += n
			want.BlockMassG += int64(n) * map[string]int64{"K510": 13_800, "K530": 16_200}[room.Kit.Block]
		}
	}
	if r.Totals != want {
		t.Fatalf("totals %+v, want %+v", r.Totals, want)
	}
	if r.Status != office.Draft && (p.Strength != office.Checked || want.OpenPoints > 0 || want.Beams == 0) {
		t.Fatalf("approved with strength %v, %+v", p.Strength, want)
	}
	if (p.Strength == office.Checked) != (want.OpenPoints == 0) {
		t.Fatalf("strength %v, %d open points", p.Strength, want.OpenPoints)
	}
}

// checkOthersStay makes sure that a change of one room leaves the others as
// they were, and that a change of an approved plan leaves that plan.
func checkOthersStay(t *rapid.T, before, after office.State, c office.Command) {
	var key office.FloorKey
	var touched []string
	switch c := c.(type) {
	case office.EditRoom:
		key, touched = office.FloorKey{Job: c.Job, Floor: c.Floor}, []string{c.Room}
	case office.ReorderRooms:
		key = office.FloorKey{Job: c.Job, Floor: c.Floor}
	case office.LeaveOut:
		key, touched = office.FloorKey{Job: c.Job, Floor: c.Floor}, c.Rooms
		for _, o := range before.Revisions(key)[c.Revision-1].Plan.OpenPoints() {
			touched = append(touched, o.Room)
		}
	default:
		return
	}
	was, is := before.Revisions(key), after.Revisions(key)
	old, now := was[len(was)-1], is[len(is)-1]
	if (old.Status == office.Draft) != (len(is) == len(was)) || now.Status != office.Draft {
		t.Fatalf("%T of a plan of status %d: %d revisions became %d, the last of status %d", c, old.Status, len(was), len(is), now.Status)
	}
	if old.Status != office.Draft {
		if d := cmp.Diff(was, is[:len(was)], exact); d != "" {
			t.Fatalf("an approved plan was changed:\n%s", d)
		}
	}
	for _, r := range old.Plan.Rooms {
		at := slices.IndexFunc(now.Plan.Rooms, func(n office.Room) bool { return n.Room.ID == r.Room.ID })
		if at < 0 {
			t.Fatalf("room %s is gone", r.Room.ID)
		}
		if d := cmp.Diff(r.Beams, now.Plan.Rooms[at].Beams, exact); d != "" && !slices.Contains(touched, r.Room.ID) {
			t.Fatalf("%T changed room %s:\n%s", c, r.Room.ID, d)
		}
	}
	if reorder, ok := c.(office.ReorderRooms); ok {
		for i, id := range reorder.Rooms {
			if r := now.Plan.Rooms[i].Room; r.ID != id || r.Order != i+1 {
				t.Fatalf("room %s has place %d, want %s there", r.ID, i+1, id)
			}
		}
	}
}

// checkApproval makes sure that nothing was approved in which something was
// open.
func checkApproval(t *rapid.T, before office.State, c office.Command) {
	a, ok := c.(office.Approve)
	if !ok {
		return
	}
	records := before.Revisions(office.FloorKey{Job: a.Job, Floor: a.Floor})
	if open := records[a.Revision-1].Plan.OpenPoints(); len(open) > 0 || a.Revision != len(records) {
		t.Fatalf("revision %d of %d was approved with %v open", a.Revision, len(records), open)
	}
}

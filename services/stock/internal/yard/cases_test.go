package yard_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

// book carries out commands one after the other.
type book struct {
	*testing.T
	state yard.State
}

func openYard(t *testing.T, zone string) *book {
	b := &book{T: t, state: yard.New("alder")}
	b.do(yard.SetRules{Rules: yardtest.CommonRules(zone)})
	return b
}

func (b *book) do(c yard.Command) []yard.Event {
	b.Helper()
	events, err := yard.Decide(b.state, c)
	if err != nil {
		b.Fatalf("%T: %v", c, err)
	}
	b.state = yard.EvolveAll(b.state, events)
	return events
}

func (b *book) refused(c yard.Command, reason string) *fault.Error {
	b.Helper()
	_, err := yard.Decide(b.state, c)
	var f *fault.Error
	if !errors.As(err, &f) || f.Reason != reason {
		b.Fatalf("%T gives %v, want a refusal %s", c, err, reason)
	}
	return f
}

func day(s string) civil.Day {
	d, err := civil.ParseDay(s)
	if err != nil {
		panic(err)
	}
	return d
}

// noon in UTC of a day.
func noon(s string) time.Time { return day(s).At(12*60, time.UTC) }

func beams(id, madeOn string, count int) yard.ReceiveBatch {
	return yard.ReceiveBatch{
		BatchID: id, Kind: yard.Beams, MadeOn: day(madeOn), Profile: "T15", WirePattern: "W3",
		Concrete: yard.Concrete{FckCylinder: 40_000, FckCube: 50_000}, At: noon("2030-01-01"),
		Lines: []yard.BeamLine{{LengthMM: 4200, Count: count, MassGEach: 84_000, StackID: "S-" + id}},
	}
}

func blocks(id, madeOn string, count int) yard.ReceiveBatch {
	return yard.ReceiveBatch{
		BatchID: id, Kind: yard.Blocks, MadeOn: day(madeOn), Concrete: yard.Concrete{DeclaredBlock: 7_000}, At: noon("2030-01-01"),
		Lot: yard.Lot{BlockKind: "K20", Count: count, MassGEach: 17_500, StackID: "S-" + id},
	}
}

func passing(batch, id, testedOn string) yard.RecordTest {
	return yard.RecordTest{
		BatchID: batch, TestID: id, Laboratory: "Fennmoor Lab", TestedOn: day(testedOn), Specimen: yard.Cylinder,
		Strengths: []conformity.MilliMPa{44_000, 43_500}, By: "Ida Lorn", At: noon("2030-01-01"),
	}
}

func blockTest(batch, id, testedOn string) yard.RecordTest {
	c := passing(batch, id, testedOn)
	c.Specimen, c.Strengths = yard.Block, []conformity.MilliMPa{7_200}
	return c
}

// Ages are calendar days of the yard's own zone, worked by hand.
func TestCureCalendar(t *testing.T) {
	type moment struct {
		name    string
		zone    string
		kind    yard.Kind
		madeOn  string
		tooSoon string
		leaves  string
		age     int
	}
	for _, m := range []moment{
		{"beams after 14 days", "Etc/UTC", yard.Beams, "2027-03-01", "2027-03-14T23:59:59Z", "2027-03-15T00:00:00Z", 14},
		{"blocks after 28 days", "Etc/UTC", yard.Blocks, "2027-03-01", "2027-03-28T23:59:59Z", "2027-03-29T00:00:00Z", 28},
		// Central Europe goes to summer time on 2027-03-28 at 01:00 UTC: the day
		// has 23 hours, and still counts as one.
		{"across the clock change in spring", "Europe/Vienna", yard.Beams, "2027-03-20", "2027-04-02T21:59:59Z", "2027-04-02T22:00:00Z", 14},
		// And back on 2027-10-31: a day of 25 hours.
		{"across the clock change in autumn", "Europe/Vienna", yard.Blocks, "2027-10-10", "2027-11-06T22:59:59Z", "2027-11-06T23:00:00Z", 28},
		{"across the year's end", "Etc/UTC", yard.Beams, "2027-12-25", "2028-01-07T23:59:59Z", "2028-01-08T00:00:00Z", 14},
		{"across a leap day", "Etc/UTC", yard.Beams, "2028-02-20", "2028-03-04T23:59:59Z", "2028-03-05T00:00:00Z", 14},
		// Auckland is 13 hours ahead in March: its 15th begins on the 14th in UTC.
		{"where the day comes before UTC's", "Pacific/Auckland", yard.Beams, "2027-03-01", "2027-03-14T10:59:59Z", "2027-03-14T11:00:00Z", 14},
		// Honolulu is 10 hours behind.
		{"where the day comes after UTC's", "Pacific/Honolulu", yard.Beams, "2027-03-01", "2027-03-15T09:59:59Z", "2027-03-15T10:00:00Z", 14},
	} {
		t.Run(m.name, func(t *testing.T) {
			b := openYard(t, m.zone)
			if m.kind == yard.Beams {
				b.do(beams("B1", m.madeOn, 3))
				b.do(passing("B1", "T1", m.madeOn))
			} else {
				b.do(blocks("B1", m.madeOn, 50))
				b.do(blockTest("B1", "T1", m.madeOn))
			}
			at := func(s string) time.Time {
				moment, err := time.Parse(time.RFC3339, s)
				if err != nil {
					t.Fatal(err)
				}
				return moment
			}
			b.refused(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: at(m.tooSoon)}, "TOO_YOUNG")
			events := b.do(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: at(m.leaves)})
			if r := events[0].(yard.BatchReleased).Release; r.AgeDays != m.age || r.By != "Oda Brink" || len(r.TestIDs) != 1 {
				t.Errorf("released %+v", r)
			}
		})
	}
}

func TestReleaseNeedsTestsThatConform(t *testing.T) {
	b := openYard(t, "Etc/UTC")
	b.do(beams("B1", "2027-03-01", 3))
	old := noon("2027-04-01")
	f := b.refused(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: noon("2027-03-02")}, "TOO_YOUNG")
	if len(f.Places) != 2 {
		t.Errorf("everything against a release should be named at once: %v", f)
	}
	b.refused(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: old}, "NOT_TESTED")
	b.refused(yard.ReleaseBatch{BatchID: "B1", By: "  ", At: old}, "BAD_VALUES")
	b.refused(yard.ReleaseBatch{BatchID: "B9", By: "Oda Brink", At: old}, "BATCH_UNKNOWN")

	early := passing("B1", "T1", "2027-02-28")
	b.refused(early, "BAD_VALUES")
	future := passing("B1", "T1", "2030-01-02")
	b.refused(future, "BAD_VALUES")
	wrong := passing("B1", "T1", "2027-03-20")
	wrong.Specimen = yard.Block
	b.refused(wrong, "BAD_VALUES")

	b.do(passing("B1", "T1", "2027-03-20"))
	b.refused(passing("B1", "T1", "2027-03-20"), "TEST_EXISTS")
	b.do(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: old})
	b.refused(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: old}, "ALREADY_RELEASED")

	// A result that comes late and fails stops the batch in the same decision.
	failing := passing("B1", "T2", "2027-03-29")
	failing.Strengths = []conformity.MilliMPa{35_999}
	events := b.do(failing)
	if q, ok := events[1].(yard.BatchQuarantined); !ok || q.By != "Ida Lorn" || !strings.Contains(q.Reason, "T2") {
		t.Fatalf("a failed test led to %+v", events)
	}
	b.refused(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: old}, "BATCH_QUARANTINED")
	b.refused(yard.QuarantineBatch{BatchID: "B1", Reason: "seen", By: "Oda Brink", At: old}, "ALREADY_QUARANTINED")
	b.do(yard.LiftQuarantine{BatchID: "B1", By: "Oda Brink", Reason: "wrong sample"})
	b.refused(yard.LiftQuarantine{BatchID: "B1", By: "Oda Brink", Reason: "wrong sample"}, "NOT_QUARANTINED")
	b.refused(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: old}, "TEST_FAILED")
}

// released opens a yard with a batch of beams and one of blocks that may leave.
func released(t *testing.T, beamCount, blockCount int) *book {
	b := openYard(t, "Etc/UTC")
	b.do(beams("B1", "2027-03-01", beamCount))
	b.do(passing("B1", "T1", "2027-03-10"))
	b.do(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: noon("2027-04-01")})
	b.do(blocks("K1", "2027-03-01", blockCount))
	b.do(blockTest("K1", "T1", "2027-03-10"))
	b.do(yard.ReleaseBatch{BatchID: "K1", By: "Oda Brink", At: noon("2027-04-01")})
	return b
}

var forRun = yard.Allocation{RunID: "R1", SiteID: "Alderby"}

func TestRefusedReservationNamesEveryPiece(t *testing.T) {
	b := released(t, 4, 30)
	b.do(beams("B2", "2027-03-01", 2))
	b.do(yard.ReservePieces{ReservationID: "V1", Lines: []yard.ReserveLine{{PieceID: "B1-001", Allocation: forRun}}})
	f := b.refused(yard.ReservePieces{ReservationID: "V2", Lines: []yard.ReserveLine{
		{PieceID: "B1-001", Allocation: forRun},
		{PieceID: "B1-002", Allocation: forRun},
		{PieceID: "B1-002", Allocation: forRun},
		{PieceID: "B2-001", Allocation: forRun},
		{PieceID: "B7-001", Allocation: forRun},
		{BatchID: "K1", Blocks: 20, PalletID: "P1", Allocation: forRun},
		{BatchID: "K1", Blocks: 20, PalletID: "P2", Allocation: forRun},
		{BatchID: "K1", Blocks: 5, PalletID: "P1", Allocation: forRun},
	}}, "PIECES_GONE")
	want := []string{
		"B1-001: is promised for run R1 (reservation V1)",
		"B1-002: is asked for twice",
		"B2-001: batch B2 is not released",
		"B7-001: there is no such piece in this yard",
		"K1: has too few blocks for pallet P2: 10 of 20",
		"K1: pallet number P1 is taken; every pallet needs a new one",
	}
	var got []string
	for _, p := range f.Places {
		got = append(got, p.String())
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("the refusal names\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if len(b.state.Promised("V2")) != 0 {
		t.Error("a refused reservation changed the yard")
	}
}

func TestPalletsDissolve(t *testing.T) {
	b := released(t, 1, 30)
	reserve := func(pallet string) {
		b.do(yard.ReservePieces{ReservationID: "V1", Lines: []yard.ReserveLine{{BatchID: "K1", Blocks: 30, PalletID: pallet, Allocation: forRun}}})
	}
	reserve("P1")
	b.do(yard.DropReservation{ReservationID: "V1", Reason: "site not ready"})
	b.refused(yard.ReservePieces{ReservationID: "V1", Lines: []yard.ReserveLine{
		{BatchID: "K1", Blocks: 1, PalletID: "P1", Allocation: forRun}}}, "PIECES_GONE")
	reserve("P2")
	b.do(yard.PickPieces{RunID: "R1", PieceIDs: []string{"P2"}})
	// Nothing of K1 lies on its stack any more: another batch may use it.
	other := blocks("K2", "2027-03-01", 5)
	other.Lot.StackID = "S-K1"
	b.do(other)
	b.refused(yard.ReturnPieces{StackID: "S-K1", Reason: "too many", PieceIDs: []string{"P2"}}, "CANNOT_RETURN")
	b.do(yard.ReturnPieces{StackID: "S-9", Reason: "too many", PieceIDs: []string{"P2"}})
	batch, _ := b.state.Batch("K1")
	if batch.Counts != (yard.Counts{Made: 30, InYard: 30}) || batch.Lot.StackID != "S-9" || len(batch.PalletIDs()) != 0 {
		t.Errorf("after the return the batch is %+v", batch)
	}
}

func TestStepsHaveLimits(t *testing.T) {
	b := released(t, 1, 30)
	var ids []string
	for i := range yard.MaxPiecesPerStep + 1 {
		ids = append(ids, fmt.Sprintf("B1-%03d", i))
	}
	f := b.refused(yard.PickPieces{RunID: "R1", PieceIDs: ids}, "BAD_VALUES")
	if !strings.Contains(f.Error(), "at most 1000 pieces") {
		t.Errorf("the limit is not named: %v", f)
	}
	b.refused(yard.PickPieces{RunID: "R1", PieceIDs: []string{"B1-001", "B1-001"}}, "BAD_VALUES")
	b.refused(beams("B2", "2027-03-01", yard.MaxBeamsPerBatch+1), "BAD_VALUES")
}

// delivered returns a yard whose beams B1-001 and B1-002 stand at a site.
func delivered(t *testing.T) *book {
	b := released(t, 3, 30)
	two := []string{"B1-001", "B1-002"}
	var lines []yard.ReserveLine
	for i, id := range two {
		a := forRun
		a.Mark = fmt.Sprintf("1-01-%02d", i+1)
		lines = append(lines, yard.ReserveLine{PieceID: id, Allocation: a})
	}
	b.do(yard.ReservePieces{ReservationID: "V1", Lines: lines})
	b.refused(yard.PickPieces{RunID: "R2", PieceIDs: two}, "CANNOT_PICK")
	b.do(yard.PickPieces{RunID: "R1", PieceIDs: two})
	b.do(yard.LoadPieces{RunID: "R1", TruckID: "L1", PieceIDs: two})
	b.refused(yard.DeliverPieces{RunID: "R1", SiteID: "Quarn", PieceIDs: two}, "CANNOT_DELIVER")
	b.do(yard.DeliverPieces{RunID: "R1", SiteID: "Alderby", PieceIDs: two, At: noon("2027-04-02")})
	return b
}

func TestRepeatedDeliveryChangesNothing(t *testing.T) {
	b := delivered(t)
	report := yard.DeliverPieces{RunID: "R1", SiteID: "Alderby", PieceIDs: []string{"B1-001", "B1-003", "X-001"}}
	events, left, err := yard.DeliverWhatCan(b.state, report)
	if err != nil || len(events) != 0 || len(left) != 2 {
		t.Errorf("a repeated report led to %v, %v, %v", events, left, err)
	}
	// Nor when the piece broke meanwhile.
	b.do(yard.ScrapPieces{Reason: "broken", PieceIDs: []string{"B1-001"}})
	if events, left, err = yard.DeliverWhatCan(b.state, report); err != nil || len(events) != 0 || len(left) != 3 {
		t.Errorf("after it broke the report led to %v, %v, %v", events, left, err)
	}
}

// A beam that breaks at its site, or comes back from it broken, is written off
// in one step, all or none, and says where it had been.
func TestDeliveredPieceIsScrappedInOneStep(t *testing.T) {
	b := delivered(t)
	f := b.refused(yard.ScrapPieces{Reason: "broken", PieceIDs: []string{"B1-001", "X-001"}}, "CANNOT_SCRAP")
	if len(f.Places) != 1 || f.Places[0].Where != "X-001" {
		t.Errorf("the refusal is %v", f)
	}
	want := forRun
	want.Mark, want.ReservationID = "1-01-01", "V1"
	events := b.do(yard.ScrapPieces{Reason: "cracked across", PieceIDs: []string{"B1-001", "B1-003"}})
	first, second := events[0].(yard.PieceScrapped), events[1].(yard.PieceScrapped)
	if first.DeliveredTo == nil || *first.DeliveredTo != want || second.DeliveredTo != nil || len(events) != 2 {
		t.Errorf("it led to %+v and %+v", first.DeliveredTo, second.DeliveredTo)
	}
	batch, _ := b.state.Batch("B1")
	if batch.Counts != (yard.Counts{Made: 3, Delivered: 1, Scrapped: 2}) {
		t.Errorf("the counts are %+v", batch.Counts)
	}
	piece, _ := b.state.Piece("B1-001")
	if _, _, taken := piece.Mark(); taken || !piece.BrokeAfterDelivery() {
		t.Errorf("the beam is %+v", piece)
	}
	f = b.refused(yard.ScrapPieces{Reason: "broken", PieceIDs: []string{"B1-001"}}, "CANNOT_SCRAP")
	if !strings.Contains(f.Error(), "is scrapped already") {
		t.Errorf("the second time it says %v", f)
	}
	b.refused(yard.ReturnPieces{StackID: "S-B1", Reason: "broken", PieceIDs: []string{"B1-001"}}, "CANNOT_RETURN")
	// Its run is over: no other beam can take its place there.
	b.do(beams("B2", "2027-03-01", 1))
	b.do(passing("B2", "T2", "2027-03-20"))
	b.do(yard.ReleaseBatch{BatchID: "B2", By: "Oda Brink", At: noon("2027-04-01")})
	f = b.refused(yard.ExchangePieces{Exchanges: []yard.Exchange{{OldID: "B1-001", NewID: "B2-001"}}, By: "Oda Brink", Reason: "broken"}, "CANNOT_EXCHANGE")
	if !strings.Contains(f.Error(), "broke after it was delivered by run R1") {
		t.Errorf("an exchange is refused with %v", f)
	}
	// What came back whole and broke later had come back.
	b.do(yard.ReturnPieces{StackID: "S-9", Reason: "one too many", PieceIDs: []string{"B1-002"}})
	events = b.do(yard.ScrapPieces{Reason: "broke while lifted", PieceIDs: []string{"B1-002"}})
	if e := events[0].(yard.PieceScrapped); e.DeliveredTo != nil {
		t.Errorf("it is said to have been at %+v", e.DeliveredTo)
	}
}

func TestReservationsAndHitsComeInParts(t *testing.T) {
	b := released(t, 1200, 30)
	var lines []yard.ReserveLine
	for i := range 1200 {
		lines = append(lines, yard.ReserveLine{PieceID: yard.BeamID("B1", i+1), Allocation: forRun})
	}
	events := b.do(yard.ReservePieces{ReservationID: "V1", Lines: lines})
	if len(events) != 3 || events[2].(yard.PiecesReserved).Part != 3 || events[0].(yard.PiecesReserved).Parts != 3 {
		t.Errorf("1200 pieces were promised in %d events", len(events))
	}
	hits := 0
	for _, e := range b.do(yard.QuarantineBatch{BatchID: "B1", Reason: "cracks", By: "Oda Brink", At: noon("2027-04-02")}) {
		hits += len(e.(yard.BatchQuarantined).Hits)
	}
	if hits != 1200 {
		t.Errorf("%d hits of 1200", hits)
	}
}

func TestRulesComeFirst(t *testing.T) {
	b := &book{T: t, state: yard.New("alder")}
	b.refused(beams("B1", "2027-03-01", 1), "YARD_NOT_OPEN")
	for _, zone := range []string{"", "Local", "Nowhere/Atall"} {
		b.refused(yard.SetRules{Rules: yardtest.CommonRules(zone)}, "BAD_VALUES")
	}
	b.do(yard.SetRules{Rules: yardtest.CommonRules("Etc/UTC")})
	if events := b.do(yard.SetRules{Rules: yardtest.CommonRules("Etc/UTC")}); len(events) != 0 {
		t.Errorf("rules that were in force already led to %v", events)
	}
	tomorrow := beams("B1", "2027-03-02", 1)
	tomorrow.At = noon("2027-03-01")
	b.refused(tomorrow, "BAD_VALUES")
	b.do(beams("B1", "2027-03-01", 1))
	b.refused(beams("B1", "2027-03-01", 1), "BATCH_EXISTS")
	taken := beams("B2", "2027-03-01", 1)
	taken.Lines[0].StackID = "S-B1"
	b.refused(taken, "STACK_TAKEN")
}

func BenchmarkDecideReserve400Of5000(b *testing.B) {
	bk := &book{T: &testing.T{}, state: yard.New("alder")}
	bk.do(yard.SetRules{Rules: yardtest.CommonRules("Etc/UTC")})
	var lines []yard.ReserveLine
	for i := range 10 {
		id := fmt.Sprintf("B%d", i)
		bk.do(beams(id, "2027-03-01", 500))
		bk.do(passing(id, "T1", "2027-03-10"))
		bk.do(yard.ReleaseBatch{BatchID: id, By: "Oda Brink", At: noon("2027-04-01")})
		for n := range 40 {
			lines = append(lines, yard.ReserveLine{PieceID: yard.BeamID(id, 500-n), Allocation: forRun})
		}
	}
	b.ResetTimer()
	for b.Loop() {
		if _, err := yard.Decide(bk.state, yard.ReservePieces{ReservationID: "V1", Lines: lines}); err != nil {
			b.Fatal(err)
		}
	}
}

// A quarantine that is lifted is over for those it hit only when the batch is
// released anew: that event names them once more.
func TestANewReleaseClearsHits(t *testing.T) {
	b := openYard(t, "Etc/UTC")
	b.do(beams("B1", "2027-03-01", 3))
	b.do(passing("B1", "T1", "2027-03-08"))
	release := yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: noon("2027-03-20")}
	if first := b.do(release)[0].(yard.BatchReleased); len(first.Cleared) != 0 {
		t.Fatalf("the first release clears %v", first.Cleared)
	}
	b.do(yard.ReservePieces{ReservationID: "V1", Lines: []yard.ReserveLine{
		{PieceID: "B1-003", Allocation: yard.Allocation{RunID: "R1", SiteID: "Quarn"}},
		{PieceID: "B1-002", Allocation: yard.Allocation{RunID: "R2", SiteID: "Alderby"}},
	}})
	b.do(yard.PickPieces{RunID: "R1", PieceIDs: []string{"B1-003"}})
	hits := b.do(yard.QuarantineBatch{BatchID: "B1", Reason: "cracks seen", By: "Oda Brink", At: noon("2027-03-21")})[0].(yard.BatchQuarantined).Hits
	b.do(yard.LiftQuarantine{BatchID: "B1", Reason: "only paint", By: "Oda Brink"})
	b.refused(yard.LoadPieces{RunID: "R1", TruckID: "T", PieceIDs: []string{"B1-003"}}, "CANNOT_LOAD")
	cleared := b.do(release)[0].(yard.BatchReleased).Cleared
	if len(cleared) != 2 || !slices.Equal(cleared, hits) || cleared[0].Allocation.RunID != "R2" || cleared[1].State != yard.Picked {
		t.Errorf("hit were %v, cleared are %v", hits, cleared)
	}
	b.do(yard.LoadPieces{RunID: "R1", TruckID: "T", PieceIDs: []string{"B1-003"}})
}

// Results of one age and specimen are one sample, however they come in.
func TestResultsOfOneAgeAreJudgedTogether(t *testing.T) {
	b := openYard(t, "Etc/UTC")
	b.do(beams("B1", "2027-03-01", 3))
	result := func(id, on string, specimen yard.Specimen, mpa ...conformity.MilliMPa) yard.RecordTest {
		c := passing("B1", id, on)
		c.Specimen, c.Strengths = specimen, mpa
		return c
	}
	// EN 206 Annex B Table B.1 for C40/50: one result at least 36; of two to four
	// the mean at least 41.
	b.do(result("T1", "2027-03-15", yard.Cylinder, 40_000))
	other := b.do(result("T2", "2027-03-15", yard.Cube, 50_000))[0].(yard.TestRecorded).Test
	if !other.Verdict.Conforms || other.Verdict.Results != 1 || len(other.JudgedWith) != 0 {
		t.Fatalf("a cube was judged together with a cylinder: %+v", other)
	}
	b.do(result("T3", "2027-03-16", yard.Cylinder, 40_000))
	events := b.do(result("T4", "2027-03-15", yard.Cylinder, 41_000))
	four := events[0].(yard.TestRecorded).Test
	if four.Verdict.Conforms || four.Verdict.Results != 2 || four.Verdict.Mean != 40_500 || !slices.Equal(four.JudgedWith, []string{"T1"}) {
		t.Fatalf("the second cylinder of an age was judged %+v", four)
	}
	if q, ok := events[1].(yard.BatchQuarantined); !ok || !strings.Contains(q.Reason, "mean 40.5 MPa is below the required 41.0 MPa") {
		t.Fatalf("two results that do not conform led to %+v", events)
	}
	b.do(yard.LiftQuarantine{BatchID: "B1", By: "Oda Brink", Reason: "a report was missing"})
	release := yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: noon("2027-04-01")}
	f := b.refused(release, "TEST_FAILED")
	if len(f.Places) != 1 || f.Places[0].Value != "T1, T4" {
		t.Errorf("the refusal names %v", f.Places)
	}
	// The rest of the sample: 40, 41, 43 come to a mean of 41.333.
	b.do(result("T5", "2027-03-15", yard.Cylinder, 43_000))
	batch, _ := b.state.Batch("B1")
	if all := batch.Judgements(); len(all) != 3 || all[0].AgeDays != 14 || all[0].Verdict.Mean != 41_333 || !all[0].Verdict.Conforms {
		t.Errorf("the results come to %+v", all)
	}
	b.do(release)
}

// Every batch's results are a sample of its concrete's production.
func TestProductionControlOfTheYard(t *testing.T) {
	b := openYard(t, "Etc/UTC")
	for i := range 40 {
		id := fmt.Sprintf("B%02d", i)
		c := beams(id, (day("2027-01-04") + civil.Day(3*i)).String(), 1)
		b.do(c)
		test := passing(id, "T1", (c.MadeOn + 14).String())
		test.Strengths = []conformity.MilliMPa{48_000, 44_000 + conformity.MilliMPa(1_000*(i%5))}
		b.do(test)
	}
	b.do(blocks("K1", "2027-03-01", 10))
	b.do(blockTest("K1", "T1", "2027-03-10"))
	all := b.state.Productions()
	if len(all) != 1 {
		t.Fatalf("the yard makes %d concretes: %+v", len(all), all)
	}
	p := all[0].Production
	if all[0].AgeDays != 14 || all[0].Specimen != yard.Cylinder || p.Results != 40 || !p.Continuous || !p.Verdict.Conforms || p.Sigma < 700 || p.Sigma > 730 {
		t.Errorf("its control is %+v", all[0])
	}
}

// Whoever takes a piece from under others is told what he has to lift.
func TestBuriedPiecesSayWhatWasLiftedAside(t *testing.T) {
	b := released(t, 10, 10) // four beams in a tier: 9 and 10 on top of 5 to 8
	events := b.do(yard.MovePieces{StackID: "S-9", PieceIDs: []string{"B1-010", "B1-006", "B1-002"}})
	var got []string
	for _, e := range events {
		got = append(got, strings.Join(e.(yard.PieceMoved).Aside, " "))
	}
	// 9 is aside for 6 already; with 10 and 6 gone, 5, 7, 8 and 9 fill the tier
	// above 2, and 9 is aside.
	if want := []string{"", "B1-009", "B1-008 B1-007 B1-005"}; !slices.Equal(got, want) {
		t.Errorf("lifted aside were %q, want %q", got, want)
	}
	if st, _ := b.state.Stack("S-B1"); !slices.Equal(st.Pieces, []string{"B1-001", "B1-003", "B1-004", "B1-005", "B1-007", "B1-008", "B1-009"}) {
		t.Errorf("what is left lies as %v", st.Pieces)
	}
	b.do(yard.ReservePieces{ReservationID: "V1", Lines: []yard.ReserveLine{{PieceID: "B1-001", Allocation: forRun}, {BatchID: "K1", Blocks: 5, PalletID: "P1", Allocation: forRun}}})
	picked := b.do(yard.PickPieces{RunID: "R1", PieceIDs: []string{"B1-001", "P1"}})
	if aside := picked[0].(yard.PiecePicked).Aside; !slices.Equal(aside, []string{"B1-009", "B1-008", "B1-007"}) || len(picked[1].(yard.PiecePicked).Aside) != 0 {
		t.Errorf("picking from below lifted %v", picked)
	}
}

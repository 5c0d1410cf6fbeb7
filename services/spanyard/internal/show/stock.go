package show

import (
	"fmt"
	"io"
	"strings"
	"time"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

func batchState(s stockv1.BatchState) string { return word(s.String(), "BATCH_STATE_") }

func pieceState(s stockeventv1.PieceState) string { return word(s.String(), "PIECE_STATE_") }

func batchOf(b *stockv1.Batch) string {
	if b.GetKind() == stockeventv1.BatchKind_BATCH_KIND_BLOCKS {
		return "blocks " + b.GetBlockKind()
	}
	return "beams " + b.GetProfile() + "/" + b.GetWirePattern()
}

// Batches prints batches with their counts.
func Batches(w io.Writer, list []*stockv1.Batch) {
	if len(list) == 0 {
		note(w, "No batches in this yard.")
		return
	}
	// Last the column that may be broken: the page is narrow.
	t := newTable("batch", "state", "made on", "old from", "in yard#", "reserved#", "on way#", "at site#", "scrapped#", "of")
	for _, b := range list {
		c := b.GetCounts()
		t.add(b.GetBatchId(), batchState(b.GetState()), b.GetMadeOn(), b.GetOldEnoughOn(), c.GetInYard(),
			c.GetReserved(), c.GetPicked()+c.GetLoaded(), c.GetDelivered(), c.GetScrapped(), fmt.Sprintf("%d %s", c.GetMade(), batchOf(b)))
	}
	t.write(w)
}

// Batch prints one batch with its tests and where its pieces are.
func Batch(w io.Writer, b *stockv1.Batch, pieces []*stockv1.Piece, zone *time.Location) {
	fmt.Fprintf(w, "BATCH %s: %s, %s\n", b.GetBatchId(), batchOf(b), batchState(b.GetState()))
	fmt.Fprintf(w, "Made on %s, old enough from %s; from %s.\n", b.GetMadeOn(), b.GetOldEnoughOn(), dash(b.GetSource()))
	fmt.Fprintln(w, requiredStrength(b))
	if b.GetQuarantineReason() != "" {
		paragraph(w, "", "", "QUARANTINED, nothing of it may leave: "+b.GetQuarantineReason())
	}
	if r := b.GetRelease(); r != nil {
		paragraph(w, "", "", Release(r, zone))
	}
	results(w, b)
	c := b.GetCounts()
	fmt.Fprintf(w, "Made %d: in yard %d, reserved %d, picked %d, loaded %d, delivered %d, scrapped %d.\n", c.GetMade(), c.GetInYard(),
		c.GetReserved(), c.GetPicked(), c.GetLoaded(), c.GetDelivered(), c.GetScrapped())
	if len(pieces) > 0 {
		fmt.Fprintln(w)
		Pieces(w, pieces)
	}
}

func requiredStrength(b *stockv1.Batch) string {
	c := b.GetConcrete()
	if b.GetKind() == stockeventv1.BatchKind_BATCH_KIND_BLOCKS {
		return fmt.Sprintf("Declared mean compressive strength %s MPa.", mpa(c.GetDeclaredBlockMpa()))
	}
	return fmt.Sprintf("Characteristic strength %s MPa by cylinders, %s MPa by cubes.", mpa(c.GetFckCylinderMpa()), mpa(c.GetFckCubeMpa()))
}

// Production prints the production control of each concrete.
func Production(w io.Writer, list []*stockv1.ConcreteControl) {
	if len(list) == 0 {
		note(w, "No concrete of this yard has results yet.")
	}
	for _, c := range list {
		phase := "initial"
		if c.GetContinuous() {
			phase = "continuous"
		}
		fmt.Fprintf(w, "CONCRETE %s/%s MPa, %s at %s: %s, %s production\n", mpa(c.GetFckCylinderMpa()), mpa(c.GetFckCubeMpa()),
			specimens(c.GetSpecimen()), count(c.GetAgeDays(), "day"), count(c.GetSampleCount(), "sample"), phase)
		paragraph(w, "  ", "  ", Verdict(c.GetVerdict()))
		if c.GetSince() != "" {
			fmt.Fprintf(w, "  It does not conform since %s.\n", c.GetSince())
		}
		if c.GetContinuous() {
			paragraph(w, "  ", "  ", fmt.Sprintf("Sigma %.2f MPa from samples of %s to %s; the last 15 spread by %.2f MPa, which keeps it between %.2f and %.2f MPa. Worked out anew: %d.",
				c.GetSigmaMpa(), c.GetSigmaFrom(), c.GetSigmaTo(), c.GetLastSigmaMpa(), c.GetBandLowMpa(), c.GetBandHighMpa(), c.GetRenewedCount()))
		}
	}
}

// Release says who let a batch leave.
func Release(r *stockeventv1.BatchReleased, zone *time.Location) string {
	return fmt.Sprintf("Batch %s was released on %s (%s) by %s, %d days old; tests: %s.", r.GetBatchId(), r.GetReleasedOn(),
		moment(r.GetReleasedAt(), zone), r.GetReleasedBy(), r.GetAgeDays(), strings.Join(r.GetTestIds(), ", "))
}

// Test says what a laboratory found.
func Test(t *stockeventv1.TestRecorded) string {
	return fmt.Sprintf("Test %s by %s on %s, %s: %s MPa.", t.GetTestId(), t.GetLaboratory(), t.GetTestedOn(),
		specimens(t.GetSpecimen()), strengths(t.GetStrengthsMpa()))
}

// judgement says what the results of one age and specimen come to.
func judgement(j *stockv1.Judgement) string {
	return fmt.Sprintf("%s at %s: %s", strings.ToUpper(specimens(j.GetSpecimen())[:1])+specimens(j.GetSpecimen())[1:],
		count(j.GetAgeDays(), "day"), Verdict(j.GetVerdict())) + retested(j)
}

func retested(j *stockv1.Judgement) string {
	if j.GetSuperseded() {
		return " A retest that conforms took its place."
	}
	return ""
}

func specimens(s stockeventv1.SpecimenKind) string { return word(s.String(), "SPECIMEN_KIND_") + "s" }

func strengths(list []float64) string {
	var values []string
	for _, v := range list {
		values = append(values, mpa(v))
	}
	return strings.Join(values, ", ")
}

// Verdict says whether results conform, with the numbers it rests on.
func Verdict(v *stockeventv1.Verdict) string { return v.GetSentence() }

// Quarantine prints a quarantine and whom it hits.
func Quarantine(w io.Writer, q *stockeventv1.BatchQuarantined) {
	paragraph(w, "", "  ", fmt.Sprintf("Batch %s is quarantined by %s: %s", q.GetBatchId(), q.GetQuarantinedBy(), q.GetReason()))
	if len(q.GetHits()) == 0 {
		fmt.Fprintln(w, "None of its pieces is promised or has left the yard.")
		return
	}
	fmt.Fprintf(w, "It hits %s that somebody counts on:\n", count(len(q.GetHits()), "piece"))
	hits(w, q.GetHits())
}

// Cleared prints the pieces that a quarantine had hit and that are good again.
func Cleared(w io.Writer, r *stockeventv1.BatchReleased) {
	if len(r.GetCleared()) == 0 {
		return
	}
	fmt.Fprintf(w, "The quarantine before had hit %s, now good again:\n", count(len(r.GetCleared()), "piece"))
	hits(w, r.GetCleared())
}

func hits(w io.Writer, list []*stockeventv1.QuarantineHit) {
	t := newTable("piece", "is", "run", "site", "job", "call-off", "mark")
	for _, h := range list {
		a := h.GetAllocation()
		t.add(h.GetPieceId(), pieceState(h.GetState()), dash(a.GetRunId()), dash(a.GetSiteId()), dash(a.GetJobId()), dash(a.GetCallOffId()), dash(a.GetMark()))
	}
	t.write(w)
}

// Pieces prints beams and pallets with where they are.
func Pieces(w io.Writer, list []*stockv1.Piece) {
	t := newTable("piece", "of", "length mm#", "mass kg#", "state", "stack", "tier#", "run", "site", "mark")
	for _, p := range list {
		of, length := p.GetProfile()+"/"+p.GetWirePattern(), fmt.Sprint(p.GetLengthMm())
		if p.GetBlockKind() != "" {
			of, length = fmt.Sprintf("%d %s", p.GetBlockCount(), p.GetBlockKind()), "-"
		}
		tier := "-"
		if p.GetTier() > 0 {
			tier = fmt.Sprint(p.GetTier())
		}
		a := p.GetAllocation()
		t.add(p.GetPieceId(), of, length, kg(p.GetMassG()), pieceState(p.GetState()), dash(p.GetStackId()), tier,
			dash(a.GetRunId()), dash(a.GetSiteId()), dash(a.GetMark()))
	}
	t.write(w)
}

// Marks prints where the beams of marks are.
func Marks(w io.Writer, found *stockv1.FindMarksResponse) {
	t := newTable("mark", "piece", "length mm#", "is", "stack", "run", "truck", "site", "cast")
	casts := map[string]string{}
	for _, b := range found.GetBatches() {
		casts[b.GetBatchId()] = b.GetSource()
	}
	for _, m := range found.GetMarks() {
		for _, p := range m.GetPieces() {
			a := p.GetAllocation()
			t.add(m.GetMark(), p.GetPieceId(), p.GetLengthMm(), pieceState(p.GetState()), dash(p.GetStackId()),
				dash(a.GetRunId()), dash(p.GetTruckId()), dash(a.GetSiteId()), dash(casts[p.GetBatchId()]))
		}
		if len(m.GetPieces()) == 0 {
			t.add(m.GetMark(), "-", "-", "nothing yet", "-", "-", "-", "-", "-")
		}
	}
	t.write(w)
}

// Aside says which pieces had to be lifted aside.
func Aside(w io.Writer, ids []string) {
	if len(ids) > 0 {
		paragraph(w, "", "  ", "Buried: lifted aside for them and put back, top first: "+strings.Join(ids, ", ")+".")
	}
}

// Free prints what may leave and is nobody's.
func Free(w io.Writer, beams []*stockv1.Piece, blocks []*stockv1.FreeBlocks) {
	if len(beams) == 0 && len(blocks) == 0 {
		note(w, "Nothing of this kind is free.")
		return
	}
	if len(beams) > 0 {
		t := newTable("beam", "profile", "wires", "length mm#", "mass kg#", "stack", "tier#", "above#", "made on", "released on", "kept for")
		for _, p := range beams {
			t.add(p.GetPieceId(), p.GetProfile(), p.GetWirePattern(), p.GetLengthMm(), kg(p.GetMassG()), p.GetStackId(), p.GetTier(),
				p.GetPiecesAbove(), p.GetMadeOn(), p.GetReleasedOn(), dash(p.GetKeptForJobId()))
		}
		t.write(w)
	}
	freeBlocks(w, blocks)
}

func freeBlocks(w io.Writer, blocks []*stockv1.FreeBlocks) {
	if len(blocks) == 0 {
		return
	}
	t := newTable("blocks", "batch", "free#", "mass each kg#", "stack", "made on", "released on")
	for _, b := range blocks {
		t.add(b.GetBlockKind(), b.GetBatchId(), b.GetBlockCount(), kg(b.GetMassGEach()), b.GetStackId(), b.GetMadeOn(), dash(b.GetReleasedOn()))
	}
	t.write(w)
}

// Summary prints the counts of a yard's stock for a day.
func Summary(w io.Writer, s *stockv1.SummariseStockResponse) {
	fmt.Fprintf(w, "STOCK FOR %s\n", strings.ToUpper(longDay(s.GetDay())))
	fmt.Fprintln(w, "\"By then\" will be old enough on that day and is free if tested and released.")
	fmt.Fprintln(w, "\"Free\" counts beams that are kept for a job too: 'spanyard stock available' tells them apart.")
	fmt.Fprintln(w, "\"Held\" is quarantined, or cures with results that do not conform.")
	if len(s.GetBeams())+len(s.GetBlocks()) == 0 {
		note(w, "The yard is empty.")
		return
	}
	t := newTable("of", "wires", "length mm#", "free#", "by then#", "reserved#", "held#")
	for _, b := range s.GetBeams() {
		t.add("beams "+b.GetProfile(), b.GetWirePattern(), b.GetLengthMm(), b.GetFree(), b.GetProvisional(), b.GetReserved(), b.GetQuarantined())
	}
	for _, b := range s.GetBlocks() {
		t.add("blocks "+b.GetBlockKind(), "-", "-", b.GetFree(), b.GetProvisional(), b.GetReserved(), b.GetQuarantined())
	}
	t.write(w)
}

// StockRules prints the rules that stock goes by.
func StockRules(w io.Writer, yard string, r *stockeventv1.YardRulesSet) {
	fmt.Fprintf(w, "STOCK RULES OF YARD %s\n", yard)
	fmt.Fprintf(w, "Days are counted in the time zone %s.\n", r.GetTimeZone())
	fmt.Fprintf(w, "Beams leave no younger than %s from casting, blocks no younger than %s from making.\n",
		count(r.GetBeamMinAgeDays(), "day"), count(r.GetBlockMinAgeDays(), "day"))
	fmt.Fprintf(w, "In a stack, %s side by side in one tier.\n", count(r.GetBeamsPerStackTier(), "beam"))
	stacking(w, r.GetStacks())
	sampling(w, r.GetSampling())
}

// stacking prints how pieces are stacked.
func stacking(w io.Writer, s *stockeventv1.StackRules) {
	if s.GetMaxTiers() > 0 {
		fmt.Fprintf(w, "A stack has at most %s.\n", count(s.GetMaxTiers(), "tier"))
	}
	if s.GetMaxOverhangMm() > 0 {
		fmt.Fprintf(w, "Bearers lie %d mm from the ends; beams of a stack differ by at most %d mm, and by two fifths of the longest.\n", s.GetBearerInsetMm(), 2*s.GetMaxOverhangMm())
	}
	if len(s.GetPlaces()) == 0 {
		fmt.Fprintln(w, "Stacks may stand anywhere: no places are listed, so no advice on putting away can be given.")
		return
	}
	t := newTable("stack place", "longest mm#", "tiers#", "for")
	for _, p := range s.GetPlaces() {
		what, tiers := "beams", s.GetMaxTiers()
		if p.GetForBlocks() {
			what = "blocks"
		}
		if p.GetMaxTiers() > 0 {
			tiers = p.GetMaxTiers()
		}
		t.add(p.GetStackId(), orAny(p.GetLongestMm()), orAny(tiers), what)
	}
	t.write(w)
}

func orAny(n int32) string {
	if n == 0 {
		return "any"
	}
	return fmt.Sprint(n)
}

// Stack prints a stack from top to bottom.
func Stack(w io.Writer, s *stockv1.GetStackResponse) {
	fmt.Fprintf(w, "STACK %s, batch %s: %s, top first\n", s.GetStackId(), dash(s.GetBatchId()), count(len(s.GetPieces()), "piece"))
	if len(s.GetPieces()) > 0 {
		Pieces(w, s.GetPieces())
	}
	freeBlocks(w, s.GetBlocks())
}

// History prints a piece and all that happened to it.
func History(w io.Writer, h *stockv1.GetPieceHistoryResponse, zone *time.Location) {
	p := h.GetPiece()
	fmt.Fprintf(w, "PIECE %s of batch %s (%s): %s\n", p.GetPieceId(), p.GetBatchId(), batchState(p.GetBatchState()), pieceState(p.GetState()))
	Pieces(w, []*stockv1.Piece{p})
	// Back to where it came from: cast, wires, tests.
	fmt.Fprintf(w, "Made on %s as %s; from %s.\n", h.GetBatch().GetMadeOn(), batchOf(h.GetBatch()), dash(h.GetBatch().GetSource()))
	results(w, h.GetBatch())
	if p.GetTruckId() != "" {
		fmt.Fprintf(w, "Left on truck %s.\n", p.GetTruckId())
	}
	if p.GetDeliveredAt().IsValid() {
		fmt.Fprintf(w, "Delivered %s, received by %s.\n", moment(p.GetDeliveredAt(), zone), dash(p.GetReceivedBy()))
	}
	fmt.Fprintln(w)
	t := newTable("when", "who", "what")
	for _, e := range h.GetEntries() {
		t.add(moment(e.GetHappenedAt(), zone), e.GetActor(), e.GetSentence())
	}
	t.write(w)
}

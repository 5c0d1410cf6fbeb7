package papers_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"spanyard.example/services/stock/internal/papers"
	"spanyard.example/services/stock/internal/recall"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

// hit is a quarantined batch with a third of it at a site.
func hit(t testing.TB, pieces int) papers.Recall {
	t.Helper()
	s := yard.Evolve(yard.New("alder"), yard.RulesSet{Rules: yardtest.Rules})
	e := yard.BatchReceived{BatchID: "B1", Kind: yard.Beams, Source: "cast C-0412 of line 3", Profile: "T15", WirePattern: "W3"}
	for i := range pieces {
		e.Beams = append(e.Beams, yard.Beam{ID: yard.BeamID("B1", i+1), LengthMM: 4200, MassG: 84_000, StackID: "S1"})
	}
	s = yard.Evolve(s, e)
	for i := 0; i < pieces; i += 3 {
		id := e.Beams[i].ID
		s = yard.EvolveAll(s, []yard.Event{
			yard.PiecesReserved{ReservationID: "V", Pieces: []yard.ReservedPiece{{PieceID: id, Allocation: yard.Allocation{RunID: "R1", SiteID: "QF", JobID: "J1", Mark: fmt.Sprintf("1-01-%02d", i)}}}},
			yard.PiecePicked{PieceID: id, RunID: "R1"}, yard.PieceLoaded{PieceID: id, RunID: "R1", TruckID: "T1"},
			yard.PieceDelivered{PieceID: id, RunID: "R1", SiteID: "QF", At: yardtest.Start},
		})
	}
	s = yard.Evolve(s, yard.BatchQuarantined{BatchID: "B1", Reason: "weak cylinders", By: "Oda Brink"})
	r, ok := recall.Of(s, "B1")
	if !ok {
		t.Fatal("the batch is not found")
	}
	return papers.Recall{Recall: r, Yard: "alder", At: yardtest.Start, Contacts: map[string]papers.Contact{"QF": {Name: "Quillfeather Lane 3", Call: "Bram Oddsock, 555 0101"}}}
}

func TestWorkbookHasEveryPiece(t *testing.T) {
	content, err := hit(t, 9).XLSX()
	if err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(bytes.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := book.GetRows("pieces")
	if err != nil || len(rows) != 10 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	want := "at site QF, from run R1|Bram Oddsock, 555 0101, Quillfeather Lane 3|B1-001|4200||84|||J1|1-01-00||2027-03-01 09:00"
	if got := strings.Join(rows[1], "|"); got != want {
		t.Errorf("the first piece is %s, want %s", got, want)
	}
	places, err := book.GetRows("places")
	if err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprint(places)
	for _, part := range []string{"from cast C-0412 of line 3", "Quarantined by Oda Brink: weak cylinders", "CAUTION", "[at site QF, from run R1 Bram Oddsock, 555 0101, Quillfeather Lane 3 3 252]", "[in stack S1 the yard 6 504]"} {
		if !strings.Contains(text, part) {
			t.Errorf("the places lack %q: %s", part, text)
		}
	}
}

func TestPDFIsSoundAndRepeatable(t *testing.T) {
	r := hit(t, 200)
	first, err := r.PDF()
	if err != nil {
		t.Fatal(err)
	}
	again, err := r.PDF()
	if err != nil || !bytes.Equal(first, again) {
		t.Errorf("the same recall prints otherwise, %v", err)
	}
	if !bytes.HasPrefix(first, []byte("%PDF-")) || bytes.Count(first, []byte("/Type /Page\n")) < 3 {
		t.Errorf("200 pieces print on %d pages", bytes.Count(first, []byte("/Type /Page\n")))
	}
}

// 10,000 pieces are found and printed both ways within the second that a recall
// may take; the limit here leaves room for a busy machine.
func TestTenThousandPieces(t *testing.T) {
	began := time.Now()
	r := hit(t, 5_000)
	r.Places = append(r.Places, r.Places...)
	found := time.Since(began)
	began = time.Now()
	if _, err := r.XLSX(); err != nil {
		t.Fatal(err)
	}
	table := time.Since(began)
	began = time.Now()
	if _, err := r.PDF(); err != nil {
		t.Fatal(err)
	}
	t.Logf("made and found in %v, table in %v, page in %v", found, table, time.Since(began))
}

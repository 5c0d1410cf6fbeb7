package browser

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// drawing of two rooms, and of furniture that is no room,
// as a DXF file in millimetres.
func drawing(t *testing.T) string {
	t.Helper()
	var d strings.Builder
	pair := func(code int, value any) { fmt.Fprintf(&d, "%d\n%v\n", code, value) }
	ring := func(layer string, x, y, w, h int) {
		pair(0, "LWPOLYLINE")
		pair(8, layer)
		pair(90, 4)
		pair(70, 1)
		for _, c := range [][2]int{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}} {
			pair(10, c[0])
			pair(20, c[1])
		}
	}
	pair(0, "SECTION")
	pair(2, "HEADER")
	pair(9, "$INSUNITS")
	pair(70, 4)
	pair(0, "ENDSEC")
	pair(0, "SECTION")
	pair(2, "ENTITIES")
	ring("ROOMS", 0, 0, 4000, 5200)
	ring("ROOMS", 4200, 0, 3400, 5200)
	ring("FURNITURE", 500, 500, 1800, 900)
	pair(0, "ENDSEC")
	pair(0, "EOF")
	path := filepath.Join(t.TempDir(), "thimble-row.dxf")
	if err := os.WriteFile(path, []byte(d.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// The drawing office brings a drawing, says which layer has the rooms, gives a
// room another load and a partition, sees the plan follow, and approves.
func TestOfficeBringsADrawing(t *testing.T) {
	d := underWay(t)
	p := sit(t, d.yard, desktop, drawingOffice)
	p.open("/floors")
	p.follow("Bring a floor")
	p.do("choose the drawing", chromedp.SetUploadFiles(chromedp.JSPath(`document.getElementById("drawing-file")`), []string{drawing(t)}))
	p.sees("Say which layers have the rooms", "FURNITURE", "7.60 m by 5.20 m")
	p.do("say where the rooms are", chromedp.Click(chromedp.JSPath(`document.querySelector("[aria-label='ROOMS: Rooms']")`)))
	p.keep("floors-layers")
	p.check("floors-layers")
	p.fill("Id of the job", "J900")
	p.fill("Name of the job", "Thimble Row")
	p.fill("Floor", "1")
	p.follow("Bring the drawing")
	p.sees("Revision 1 is drawn up", "Rooms: 2. Open points: 0.", "Approve revision 1")
	p.keep("floor-drawn")

	p.open("/floors/J900/1/room/02")
	p.fill("Imposed load, kN/m²", "3")
	p.fill("1: from x", "1700")
	p.fill("1: from y", "600")
	p.fill("1: to x", "1700")
	p.fill("1: to y", "4600")
	p.fill("1: kN/m", "2.5")
	p.follow("Lay it like this")
	p.sees("Room 02 is laid anew in revision 1", "imposed 3, finishes 1.2 kN/m²", "2.5 kN/m")
	p.keep("room-changed")
	p.check("room-changed")

	p.open("/floors/J900/1")
	p.fill("Licensed engineer who answers for it", "Isolde Thornwhistle")
	p.follow("Approve revision 1")
	p.sees("Revision 1 is approved; Isolde Thornwhistle answers for it.")
	p.open("/floors/J900/1/room/01")
	p.fill("Finishes, kN/m²", "1.5")
	p.follow("Lay it like this")
	p.sees("Room 01 is laid anew in revision 2")
	p.open("/floors/J900/1/compare")
	p.sees("What changed on J900, floor 1", "beams are as before")
	p.check("floor-compared")
}

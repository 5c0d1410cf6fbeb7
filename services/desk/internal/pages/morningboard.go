package pages

import (
	"fmt"
	"slices"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
)

// The board: a line for each truck, time from left to right, a bar for each run.
// Measures are of the drawing, which is scaled to the page.
const (
	boardWidth  = 1200
	boardLeft   = 130
	lineHeight  = 58
	barHeight   = 42
	boardTop    = 26
	boardBottom = 8
	// scriptMinutes is the step to which a bar that is drawn along goes.
	scriptMinutes = 10
)

// board is the drawing.
type board struct {
	Width, Height, Left, Top int
	Lines                    []boardLine
	Hours                    []boardHour
	// FromMinute and PerHour let a script turn a place into a time.
	FromMinute, PerHour, Step int
}

// boardLine is a truck.
type boardLine struct {
	TruckID, Name string
	Y, TextY      int
	Bars          []bar
}

type boardHour struct {
	X    int
	Text string
}

// bar is a run: loading, the road, and each stop.
type bar struct {
	RunID, Short, State, Sites string
	X, Y, Width, Height        int
	LoadWidth, TextX, TextY    int
	Stops                      []barStop
	Locked, Here               bool
	Loads, Back                int32
}

type barStop struct{ X, Y, Width, Height int }

// draw draws the runs by truck over time.
func draw(rows []runRow, trucks []*eventv1.Truck) board {
	from, to := 24*60, 0
	for i := range rows {
		from, to = min(from, int(rows[i].GetLoadingMinute())), max(to, int(rows[i].GetBackMinute()))
	}
	if from > to {
		from, to = 5*60, 17*60
	}
	from, to = from/60*60, (to+59)/60*60
	b := board{Width: boardWidth, Left: boardLeft, Top: boardTop, FromMinute: from, Step: scriptMinutes}
	b.PerHour = (boardWidth - boardLeft) * 60 / max(60, to-from)
	x := func(minute int32) int { return boardLeft + (int(minute)-from)*b.PerHour/60 }
	for m := from; m <= to; m += 60 {
		b.Hours = append(b.Hours, boardHour{x(int32(m)), fmt.Sprintf("%d:00", m/60)})
	}
	line := map[string]int{}
	for _, t := range trucks {
		line[t.GetTruckId()] = len(b.Lines)
		y := boardTop + len(b.Lines)*lineHeight
		b.Lines = append(b.Lines, boardLine{TruckID: t.GetTruckId(), Name: t.GetName(), Y: y, TextY: y + lineHeight/2})
	}
	for i := range rows {
		r := &rows[i]
		at, known := line[r.GetTruckId()]
		if known && r.State != "cancelled" {
			b.Lines[at].Bars = append(b.Lines[at].Bars, drawBar(r, b.Lines[at].Y+(lineHeight-barHeight)/2, x))
		}
	}
	b.Height = boardTop + len(b.Lines)*lineHeight + boardBottom
	return b
}

func drawBar(r *runRow, y int, x func(int32) int) bar {
	out := bar{
		RunID: r.GetRunId(), Short: r.Short, State: r.State, Locked: r.GetLocked(), Here: r.Here, Loads: r.GetLoadingMinute(), Back: r.GetBackMinute(),
		X: x(r.GetLoadingMinute()), Y: y, Height: barHeight,
	}
	out.Width = max(8, x(r.GetBackMinute())-out.X)
	out.LoadWidth = max(2, x(r.GetLeaveMinute())-out.X)
	out.TextX, out.TextY = out.X+6, y+16
	var sites []string
	for _, d := range r.GetDrops() {
		sites = append(sites, d.GetSiteId())
		at := x(d.GetUnloadMinute())
		out.Stops = append(out.Stops, barStop{at, y + barHeight - 12, max(3, x(d.GetLeaveMinute())-at), 12})
	}
	slices.Sort(sites)
	for i, id := range slices.Compact(sites) {
		if i > 0 {
			out.Sites += ", "
		}
		out.Sites += id
	}
	return out
}

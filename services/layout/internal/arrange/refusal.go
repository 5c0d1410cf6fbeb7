package arrange

import (
	"fmt"
	"math"

	"spanyard.example/services/layout/internal/geometry"
)

// Refusal says why a room cannot be laid and what would make it possible.
type Refusal struct {
	Reason string
	// Help names what would make it possible.
	Help string

	code string
	// clearMM is the span that is too long, reachMM the longest that the beams
	// carry; search compares refusals by them.
	clearMM, reachMM float64
	// help is worked out for the refusal that is shown only.
	help func() string
}

// Refuse returns a refusal.
func Refuse(code, reason, help string) *Refusal {
	return &Refusal{Reason: reason, Help: help, code: code}
}

func (r *Refusal) Error() string { return r.Reason + " " + r.Help }

// Code groups refusals: span, support, opening, trimmer, bearing, narrow,
// wish, outline.
func (r *Refusal) Code() string { return r.code }

// closer prefers what can be helped more easily: anything before a span that
// is too long, and of those the one that is too long by least.
func (r *Refusal) closer(o *Refusal) bool {
	if (r.code == "span") != (o.code == "span") {
		return o.code == "span"
	}
	return r.code == "span" && r.clearMM-r.reachMM < o.clearMM-o.reachMM
}

func (s *sweep) narrow() *Refusal {
	return Refuse("narrow", fmt.Sprintf("No part of the room is wide enough for a beam of %.0f mm clear span.", s.rules.ShortestMM),
		"Make it good on site, or leave it out if it is no room.")
}

func beamsOf(perRow int, profile string) string {
	if perRow == 1 {
		return "single beams of profile " + profile
	}
	return fmt.Sprintf("%d beams of profile %s side by side", perRow, profile)
}

// tooWeak refuses the longest part of a row that no beams of the kit carry.
func (s *sweep) tooWeak(r row, part geometry.Interval, worst Outcome, loaded bool) *Refusal {
	_, most := s.perRow()
	kit, clear := s.kit, part.Length()
	reach := s.checks.Longest(s.layout.Kit, most, s.room.BearingMM)
	out := &Refusal{code: "span", clearMM: clear, reachMM: math.Min(reach.ClearMM, clear)}
	beams := beamsOf(most, kit.Profile)
	if reach.ClearMM < s.rules.ShortestMM {
		out.Reason = fmt.Sprintf("%s carry no span under these loads (%s).", upper(beams), reach.Governing)
		out.Help = "Use a deeper profile or lighter loads."
		return out
	}
	out.Reason = fmt.Sprintf("A clear span of %.0f mm is too long for %s, wire pattern %s: they reach %.0f mm (%s).",
		clear, beams, reach.Pattern, reach.ClearMM, reach.Governing)
	if loaded && reach.ClearMM >= clear {
		out.code = "load"
		out.Reason = fmt.Sprintf("What stands or hangs on a row of %.0f mm clear span is too heavy for %s (%s, %.0f %% full).", clear, beams, worst.Governing, 100*worst.Fullness)
		out.Help = fmt.Sprintf("Support the floor under it, or lighten it: without it they reach %.0f mm.", reach.ClearMM)
		return out
	}
	out.help = s.supportAt(r, part, reach.ClearMM)
	return out
}

func upper(text string) string {
	if text == "" {
		return ""
	}
	if text[0] >= 'a' && text[0] <= 'z' {
		return string(text[0]-'a'+'A') + text[1:]
	}
	return text
}

// supportAt names the support that would shorten a row's part enough: a wall
// or beam across it that parts it into equal spans.
func (s *sweep) supportAt(r row, part geometry.Interval, reach float64) func() string {
	frame, shape := s.frame, s.shape
	middle := (r.low + r.high) / 2
	return func() string {
		const wallMM = 200
		fields := math.Ceil((part.Length() + wallMM) / (reach + wallMM))
		x := part.From + part.Length()/fields
		at := geometry.Point{X: x, Y: middle}
		low, high := geometry.Point{X: x, Y: middle - shape.Below(at)}, geometry.Point{X: x, Y: middle + shape.Above(at)}
		text := "Use a deeper profile that reaches it, or a support"
		if fields > 2 {
			text = fmt.Sprintf("Use a deeper profile that reaches it, or %.0f supports at equal distances, the first", fields-1)
		}
		if math.IsInf(low.Y, 0) || math.IsInf(high.Y, 0) {
			return text + fmt.Sprintf(" %.0f mm from the wall.", x-part.From)
		}
		a, b := frame.Out(low), frame.Out(high)
		return text + fmt.Sprintf(" across the beams from (%.0f, %.0f) to (%.0f, %.0f) mm, so that no clear span is longer than %.0f mm.",
			a.X, a.Y, b.X, b.Y, math.Floor(reach/10)*10)
	}
}

package design

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"spanyard.example/services/layout/internal/arrange"
	"spanyard.example/services/layout/internal/geometry"
)

// mostBearingMM is the longest bearing that may be wished for.
const mostBearingMM = 500

// wish is one thing that a room asks for and that the search would otherwise
// choose.
type wish struct {
	// what is wished for, as it stands in a sentence.
	what string
	drop func(*Room)
}

func (r Room) wishes() []wish {
	var all []wish
	add := func(wished bool, drop func(*Room), format string, args ...any) {
		if wished {
			all = append(all, wish{fmt.Sprintf(format, args...), drop})
		}
	}
	add(r.PerRow != 0, func(r *Room) { r.PerRow = 0 }, "for %s", sideBySide(r.PerRow))
	add(r.Pattern != "", func(r *Room) { r.Pattern = "" }, "for wire pattern %s", r.Pattern)
	add(r.Block != "", func(r *Room) { r.Block = "" }, "for block %s", r.Block)
	add(r.Profile != "", func(r *Room) { r.Profile = "" }, "for profile %s", r.Profile)
	add(r.BearingMM != 0, func(r *Room) { r.BearingMM = 0 }, "for a bearing of %g mm", r.BearingMM)
	if r.DirectionDegrees != nil {
		add(true, func(r *Room) { r.DirectionDegrees = nil }, "for beams at %g degrees", *r.DirectionDegrees)
	}
	return all
}

func sideBySide(perRow int) string {
	if perRow == 1 {
		return "single beams"
	}
	return fmt.Sprintf("%d beams side by side", perRow)
}

// known refuses wishes for what the yard does not have.
func (c Catalogue) known(r Room) *arrange.Refusal {
	refuse := func(help, format string, args ...any) *arrange.Refusal {
		return arrange.Refuse("wish", fmt.Sprintf("The room is wished with "+format+".", args...), help)
	}
	if r.PerRow < 0 || r.PerRow > c.Rules.MostPerRow {
		return refuse(fmt.Sprintf("Wish for 1 to %d, or leave it open.", c.Rules.MostPerRow), "%d beams side by side in each row", r.PerRow)
	}
	if least := c.Rules.BearingMM; r.BearingMM != 0 && !(r.BearingMM >= least && r.BearingMM <= mostBearingMM) {
		return refuse(fmt.Sprintf("Wish for %g to %d mm, or leave it open for the %g mm of the yard's rules.", least, mostBearingMM, least), "a bearing of %g mm", r.BearingMM)
	}
	if _, ok := c.profile(r.Profile); r.Profile != "" && !ok {
		var names []string
		for _, p := range c.Profiles {
			names = append(names, p.Name)
		}
		return refuse(have("profiles", names), "profile %q", r.Profile)
	}
	if len(c.kits(Room{Profile: r.Profile, Block: r.Block})) == 0 {
		return refuse(have("blocks", c.blockNames(r.Profile)), "block %q%s", r.Block, of(r.Profile))
	}
	if len(c.kits(r)) == 0 {
		var names []string
		for _, k := range c.kits(Room{Profile: r.Profile, Block: r.Block}) {
			for _, p := range k.Patterns {
				if name := k.Profile + " " + p.Name; !slices.Contains(names, name) {
					names = append(names, name)
				}
			}
		}
		return refuse(have("wire patterns", names), "wire pattern %q%s", r.Pattern, of(r.Profile))
	}
	return nil
}

func of(profile string) string {
	if profile == "" {
		return ""
	}
	return " of profile " + profile
}

func have(what string, names []string) string {
	if len(names) == 0 {
		return "The yard has no such " + what + ": leave it open, or change the catalogue."
	}
	return "The yard has the " + what + " " + strings.Join(names, ", ") + "."
}

func (c Catalogue) blockNames(profile string) []string {
	var names []string
	for _, k := range c.kits(Room{Profile: profile}) {
		names = append(names, k.Block)
	}
	return names
}

// withoutWishes looks for the wish that stands in the way of a refused room:
// the first one without which the room can be laid, else all of them.
func (d *Designer) withoutWishes(room Room, obstacles []geometry.Quad, refusal *arrange.Refusal) *arrange.Refusal {
	wishes := room.wishes()
	if len(wishes) == 0 {
		return refusal
	}
	all := room
	var whats []string
	for _, w := range wishes {
		w.drop(&all)
		whats = append(whats, w.what)
		less := room
		w.drop(&less)
		if kit, layout, err := d.search(less, obstacles); err == nil {
			return arrange.Refuse(refusal.Code(), refusal.Reason, fmt.Sprintf("Without the wish %s it can be laid: %s.", w.what, laidAs(kit, layout)))
		}
	}
	if kit, layout, err := d.search(all, obstacles); err == nil && len(wishes) > 1 {
		return arrange.Refuse(refusal.Code(), refusal.Reason, fmt.Sprintf("Without the wishes %s it can be laid: %s.", strings.Join(whats, ", "), laidAs(kit, layout)))
	}
	return refusal
}

// laidAs names what a layout is made of.
func laidAs(kit arrange.Kit, l arrange.Layout) string {
	pattern, perRow := 0, 0
	for _, b := range l.Beams {
		pattern, perRow = max(pattern, b.Pattern), max(perRow, b.PerRow)
	}
	rows := "single beams"
	if perRow > 1 {
		rows = fmt.Sprintf("up to %d beams side by side", perRow)
	}
	return fmt.Sprintf("profile %s, wire patterns up to %s, block %s, %s at %.0f degrees", kit.Profile, kit.Patterns[pattern].Name, kit.Block, rows, l.DirectionDegrees)
}

// search is the bare search for a room's layout.
func (d *Designer) search(room Room, obstacles []geometry.Quad) (arrange.Kit, arrange.Layout, *arrange.Refusal) {
	kits := d.catalogue.kits(room)
	layout, err := arrange.Search(d.arrangeRoom(room), kits, d.catalogue.rules(), d.checks(room, kits), obstacles)
	if err == nil {
		return kits[layout.Kit], layout, nil
	}
	var refusal *arrange.Refusal
	if !errors.As(err, &refusal) {
		refusal = arrange.Refuse("internal", err.Error(), "")
	}
	return arrange.Kit{}, arrange.Layout{}, refusal
}

package planning

import (
	"slices"

	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/morning"
)

// hinder takes off the hours of trucks and sites what hinders them.
func hinder(p *morning.Problem, hindrances []daybook.Hindrance) {
	for _, h := range hindrances {
		for i := range p.Trucks {
			if t := &p.Trucks[i]; t.ID == h.TruckID {
				t.Hours = without(t.Hours, h, 0)
			}
		}
		for i := range p.Sites {
			if s := &p.Sites[i]; s.ID == h.SiteID {
				// Unloading starts before the site closes.
				s.Opens = without(s.Opens, h, 1)
			}
		}
	}
	p.Trucks = slices.DeleteFunc(p.Trucks, func(t morning.Truck) bool {
		return t.Hours.OpensMinute >= t.Hours.ClosesMinute && slices.ContainsFunc(hindrances, func(h daybook.Hindrance) bool { return h.TruckID == t.ID })
	})
}

// without cuts a hindrance off hours at the end at which it lies; last is how
// long before it the hours end.
func without(hours morning.Window, h daybook.Hindrance, last int) morning.Window {
	until := h.UntilMinute
	if until == 0 {
		until = hours.ClosesMinute + 1
	}
	switch {
	case until <= hours.OpensMinute || h.FromMinute > hours.ClosesMinute:
	case h.FromMinute <= hours.OpensMinute:
		hours.OpensMinute = until
	default:
		hours.ClosesMinute = min(hours.ClosesMinute, h.FromMinute-last)
	}
	return hours
}

package daybook

import (
	"fmt"
	"slices"
)

// Leg is a way of which distance and time are known. An empty site is the yard.
type Leg struct {
	FromSiteID, ToSiteID string
	Metres, Minutes      int
}

// SetTravel replaces the table of known ways. Sites that the yard does not have
// yet are allowed: the table may come before them.
type SetTravel struct{ Legs []Leg }

func (c SetTravel) decide(s State) ([]Event, error) {
	if err := s.opened(); err != nil {
		return nil, err
	}
	f := newFindings("BAD_TRAVEL", "The table of ways cannot be used as it is; nothing was changed.")
	seen := map[[2]string]int{}
	for i, l := range c.Legs {
		where := fmt.Sprintf("row %d, %s to %s", i+1, placeName(l.FromSiteID), placeName(l.ToSiteID))
		f.number(where+", metres", l.Metres, 0, 2_000_000)
		f.number(where+", minutes", l.Minutes, 0, 1440)
		key := [2]string{l.FromSiteID, l.ToSiteID}
		if first, twice := seen[key]; twice {
			f.add(where, "", fmt.Sprintf("is in row %d as well", first+1), "each way once")
		}
		seen[key] = i
		if l.FromSiteID == l.ToSiteID {
			f.add(where, "", "leads nowhere", "two places")
		}
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	if slices.Equal(c.Legs, s.travel) {
		return nil, nil
	}
	return []Event{TravelSet(c)}, nil
}

func placeName(siteID string) string {
	if siteID == "" {
		return "the yard"
	}
	return siteID
}

package routing

import (
	"math"

	"spanyard.example/services/dispatch/internal/morning"
)

// earthRadiusM is the mean radius of the earth (IUGG), for distances as the
// crow flies on a sphere.
const earthRadiusM = 6371008.8

// roads holds distances and times between the yard (place 0) and the sites.
type roads struct {
	metres  [][]int
	minutes [][]int
}

func newRoads(r morning.Rules, sites []*morning.Site, travel []morning.Leg) roads {
	places := []morning.Place{r.Place}
	for _, s := range sites {
		places = append(places, s.Place)
	}
	ids := []string{""}
	for _, s := range sites {
		ids = append(ids, s.ID)
	}
	known := map[[2]string]morning.Leg{}
	for _, l := range travel {
		known[[2]string{l.FromID, l.ToID}] = l
	}
	out := roads{}
	for i, a := range places {
		var metres, minutes []int
		for j, b := range places {
			if l, ok := known[[2]string{ids[i], ids[j]}]; ok && i != j {
				metres, minutes = append(metres, l.Metres), append(minutes, l.Minutes)
				continue
			}
			m := int(math.Round(crowFliesM(a, b) * float64(r.RoadFactorPercent) / 100))
			metres = append(metres, m)
			minutes = append(minutes, drivingMinutes(m, r.SpeedKmPerH))
		}
		out.metres = append(out.metres, metres)
		out.minutes = append(out.minutes, minutes)
	}
	return out
}

// drivingMinutes is the time for a distance, in whole minutes, rounded up.
func drivingMinutes(metres, kmPerH int) int {
	perHour := max(1, kmPerH) * 1000
	return (metres*60 + perHour - 1) / perHour
}

// crowFliesM is the great-circle distance (haversine formula).
func crowFliesM(a, b morning.Place) float64 {
	const rad = math.Pi / 180
	lat1, lat2 := a.LatitudeDeg*rad, b.LatitudeDeg*rad
	sinLat := math.Sin((lat2 - lat1) / 2)
	sinLon := math.Sin((b.LongitudeDeg - a.LongitudeDeg) * rad / 2)
	h := sinLat*sinLat + math.Cos(lat1)*math.Cos(lat2)*sinLon*sinLon
	return 2 * earthRadiusM * math.Asin(math.Min(1, math.Sqrt(h)))
}

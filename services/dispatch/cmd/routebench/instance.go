package main

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"

	"spanyard.example/services/dispatch/internal/vrp"
)

// place is a line of an instance; the first is the depot.
type place struct{ x, y, demand, ready, due, service, release float64 }

// instance is a problem as its file says, in its own unit of time.
type instance struct {
	places   []place
	capacity float64
	vehicles int
	trips    bool
	fewest   bool
}

// distance from one place to another: of double precision, or, with several
// trips, cut to tenths and counted in them.
func (in instance) distance(a, b int) float64 {
	d := math.Hypot(in.places[a].x-in.places[b].x, in.places[a].y-in.places[b].y)
	if in.trips {
		return math.Floor(10 * d)
	}
	return d
}

func (in instance) problem() vrp.Problem {
	p := vrp.Problem{Close: in.places[0].due, Capacity: in.capacity, Vehicles: in.vehicles, Trips: in.trips, FewestVehicles: in.fewest}
	for a, from := range in.places {
		p.Customers = append(p.Customers, vrp.Customer{Demand: from.demand, Ready: from.ready, Due: from.due, Service: from.service, Release: from.release})
		row := make([]float64, len(in.places))
		for b := range row {
			row[b] = in.distance(a, b)
		}
		p.Distance = append(p.Distance, row)
	}
	return p
}

func readInstance(file string, t task) (instance, error) {
	f, err := os.Open(file)
	if err != nil {
		return instance{}, err
	}
	defer f.Close()
	var lines []string
	scan := bufio.NewScanner(f)
	for scan.Scan() {
		lines = append(lines, strings.TrimSpace(scan.Text()))
	}
	if err := scan.Err(); err != nil {
		return instance{}, err
	}
	if strings.HasSuffix(file, ".vrp") {
		return readTrips(lines, t)
	}
	return readWindows(lines)
}

// numbers of a line; nil when it is none of numbers.
func numbers(line string) []float64 {
	var out []float64
	for _, word := range strings.Fields(line) {
		v, err := strconv.ParseFloat(word, 64)
		if err != nil {
			return nil
		}
		out = append(out, v)
	}
	return out
}

// readWindows reads the format of Solomon's instances.
func readWindows(lines []string) (instance, error) {
	in := instance{fewest: true}
	for _, line := range lines {
		switch v := numbers(line); len(v) {
		case 2:
			in.vehicles, in.capacity = int(v[0]), v[1]
		case 7:
			in.places = append(in.places, place{x: v[1], y: v[2], demand: v[3], ready: v[4], due: v[5], service: v[6]})
		}
	}
	if in.vehicles == 0 || len(in.places) < 2 {
		return in, fmt.Errorf("no vehicles or no customers were read")
	}
	return in, nil
}

// readTrips reads the format with one section for each kind of number; times
// are counted in tenths.
func readTrips(lines []string, t task) (instance, error) {
	in := instance{trips: true}
	section, service := "", 0.0
	for _, line := range lines {
		key, value, header := strings.Cut(line, ":")
		v := numbers(line)
		switch {
		case header:
			n, _ := strconv.ParseFloat(strings.TrimSpace(value), 64)
			switch strings.TrimSpace(key) {
			case "DIMENSION":
				in.places = make([]place, int(n))
			case "VEHICLES":
				in.vehicles = int(n)
			case "CAPACITY":
				in.capacity = n
			case "SERVICE_TIME":
				service = 10 * n
			}
		case len(v) == 0:
			section = line
		case len(v) >= 2 && int(v[0]) <= len(in.places):
			p := &in.places[int(v[0])-1]
			switch section {
			case "NODE_COORD_SECTION":
				p.x, p.y = v[1], v[2]
			case "DEMAND_SECTION":
				p.demand = v[1]
			case "TIME_WINDOW_SECTION":
				p.ready, p.due = 10*v[1], 10*v[2]
			case "RELEASE_TIME_SECTION":
				p.release = 10 * v[1]
			}
		}
	}
	for i := 1; i < len(in.places); i++ {
		in.places[i].service = service
	}
	if m := vehiclesOf.FindStringSubmatch(t.objective); m != nil {
		in.vehicles, _ = strconv.Atoi(m[1])
	}
	if in.vehicles == 0 || len(in.places) < 2 {
		return in, fmt.Errorf("no vehicles or no customers were read")
	}
	return in, nil
}

// simulate drives the tours, stop by stop, and returns their distance. It
// shares nothing with the search.
func (in instance) simulate(tours []vrp.Tour, absent int) (float64, error) {
	const hair = 1e-6
	visited := make([]bool, len(in.places))
	count, total := 0, 0.0
	if len(tours) > in.vehicles {
		return 0, fmt.Errorf("%d vehicles of %d", len(tours), in.vehicles)
	}
	for n, tour := range tours {
		now := 0.0
		if len(tour) > 1 && !in.trips {
			return 0, fmt.Errorf("vehicle %d makes %d trips", n+1, len(tour))
		}
		for _, trip := range tour {
			load := 0.0
			for _, c := range trip {
				if c < 1 || c >= len(in.places) {
					return 0, fmt.Errorf("vehicle %d visits %d, who is no customer", n+1, c)
				}
				now = math.Max(now, in.places[c].release)
				load += in.places[c].demand
			}
			if load > in.capacity+hair {
				return 0, fmt.Errorf("vehicle %d carries %g of %g", n+1, load, in.capacity)
			}
			at := 0
			for _, c := range trip {
				if visited[c] {
					return 0, fmt.Errorf("vehicle %d visits %d, who was visited", n+1, c)
				}
				visited[c] = true
				count++
				total += in.distance(at, c)
				now = math.Max(now+in.distance(at, c), in.places[c].ready)
				if now > in.places[c].due+hair {
					return 0, fmt.Errorf("vehicle %d is at %d at %g, after %g", n+1, c, now, in.places[c].due)
				}
				now += in.places[c].service
				at = c
			}
			total += in.distance(at, 0)
			if now += in.distance(at, 0); now > in.places[0].due+hair {
				return 0, fmt.Errorf("vehicle %d is back at %g, after %g", n+1, now, in.places[0].due)
			}
		}
	}
	if count+absent != len(in.places)-1 {
		return 0, fmt.Errorf("%d customers are visited and %d absent of %d", count, absent, len(in.places)-1)
	}
	return total, nil
}

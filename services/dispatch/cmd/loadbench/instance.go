package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"

	"spanyard.example/services/dispatch/internal/lifo"
)

// The deck of the instances: pallets of 80 cm by 120 cm stand two abreast.
const (
	palletCM = 80
	abreast  = 2
	places   = 22
)

// known is a row of best_known.csv.
type known struct {
	instance, path string
	// axles says whether axle limits hold.
	axles bool
	// best is 0 when nothing is known.
	best   float64
	proved bool
}

// customers is how many there are, from the instance's name.
func (k known) customers() int {
	n, _ := strconv.Atoi(strings.Split(k.instance, "_")[1])
	return n
}

func (k known) class() string {
	if k.axles {
		return fmt.Sprintf("%d customers, axles", k.customers())
	}
	return fmt.Sprintf("%d customers, no axles", k.customers())
}

// readKnown reads the rows of the files whose pallets all have one size.
func readKnown(name string) ([]known, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	column := map[string]int{}
	var out []known
	for i, rec := range records {
		if i == 0 {
			for j, h := range rec {
				column[h] = j
			}
			continue
		}
		get := func(h string) string { return rec[column[h]] }
		if !strings.HasPrefix(get("family"), "pollaris") {
			continue
		}
		k := known{
			instance: get("instance"), path: get("path"), proved: get("proven_optimal") == "yes",
			axles: !strings.Contains(get("objective"), "NO axle"),
		}
		k.best, _ = strconv.ParseFloat(get("best_known"), 64)
		out = append(out, k)
	}
	return out, nil
}

// instance is a file of the set, in centimetres and kilograms.
type instance struct {
	maxMass, wheelbase, maxFront, maxRear, axleToCargo int
	depot                                              [2]float64
	customers                                          []customer
}

type customer struct {
	at [2]float64
	// pallets are masses, in the order of the file.
	pallets []int
}

func readInstance(name string) (instance, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return instance{}, err
	}
	var in instance
	masses := map[string]int{}
	section := ""
	for number, line := range strings.Split(string(text), "\n") {
		f := strings.Fields(line)
		switch {
		case len(f) == 0, f[0] == "i", f[0] == "Type":
			continue
		case len(f) == 1 || f[0] == "DEMANDS":
			section = f[0]
			continue
		}
		if err := in.line(section, f, masses); err != nil {
			return in, fmt.Errorf("%s, line %d: %w", name, number+1, err)
		}
	}
	if in.wheelbase <= 0 || in.maxMass <= 0 || len(in.customers) == 0 {
		return in, fmt.Errorf("%s: no vehicle or no customers", name)
	}
	return in, nil
}

var errShort = errors.New("too few columns")

func (in *instance) line(section string, f []string, masses map[string]int) error {
	whole := func(i int) int { n, _ := strconv.Atoi(f[i]); return n }
	switch section {
	case "VEHICLE":
		for key, to := range map[string]*int{
			"Mass_Capacity": &in.maxMass, "Wheelbase": &in.wheelbase, "Max_Mass_FrontAxle": &in.maxFront,
			"Max_Mass_RearAxle": &in.maxRear, "Distance_FrontAxle_CargoSpace": &in.axleToCargo,
		} {
			if f[0] == key {
				*to = whole(1)
			}
		}
	case "CUSTOMERS":
		if len(f) < 3 {
			return errShort
		}
		var at [2]float64
		for i := range at {
			x, err := strconv.ParseFloat(f[i+1], 64)
			if err != nil {
				return err
			}
			at[i] = x
		}
		if whole(0) == 0 {
			in.depot = at
			return nil
		}
		in.customers = append(in.customers, customer{at: at})
	case "ITEMS":
		if len(f) < 5 {
			return errShort
		}
		if whole(1) != palletCM {
			return fmt.Errorf("a pallet is %d cm long, not %d cm", whole(1), palletCM)
		}
		masses[f[0]] = whole(4)
	case "DEMANDS":
		i := whole(0)
		if i < 1 || i > len(in.customers) {
			return fmt.Errorf("there is no customer %d", i)
		}
		for k := 1; k+1 < len(f); k += 2 {
			for range whole(k + 1) {
				in.customers[i-1].pallets = append(in.customers[i-1].pallets, masses[f[k]])
			}
		}
	}
	return nil
}

// problem puts an instance into the planner's words.
func (in instance) problem(axles bool) lifo.Problem {
	at := [][2]float64{in.depot}
	p := lifo.Problem{Places: places, Abreast: abreast, MaxMass: in.maxMass}
	for _, c := range in.customers {
		at = append(at, c.at)
		p.Masses = append(p.Masses, c.pallets)
	}
	for _, a := range at {
		var row []float64
		for _, b := range at {
			row = append(row, math.Hypot(a[0]-b[0], a[1]-b[1]))
		}
		p.Distance = append(p.Distance, row)
	}
	if axles {
		p.Axles = &lifo.Axles{
			Wheelbase: in.wheelbase, MaxFront: in.maxFront, MaxRear: in.maxRear,
			First: in.axleToCargo + palletCM/2, Row: palletCM,
		}
	}
	return p
}

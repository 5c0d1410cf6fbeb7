// Command floorbench lays and checks every floor of a file of JSON outlines
// with an invented catalogue, and prints how many rooms were laid, how many
// refused and why, and how long it took on one core. It ends with an error
// when a laid room breaks an invariant.
package main

import (
	"encoding/json"
	"fmt"
	"os"
	"runtime"
	"slices"
	"time"

	"spanyard.example/services/layout/internal/design"
)

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "floorbench CATALOGUE.json FLOORS.jsonl: one floor a line, outlines in whole millimetres")
		os.Exit(2)
	}
	if err := run(os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, "floorbench:", err)
		os.Exit(1)
	}
}

func run(catalogueFile, floorsFile string) error {
	runtime.GOMAXPROCS(1)
	text, err := os.ReadFile(catalogueFile)
	if err != nil {
		return err
	}
	var catalogue design.Catalogue
	if err := json.Unmarshal(text, &catalogue); err != nil {
		return fmt.Errorf("%s: %w", catalogueFile, err)
	}
	file, err := os.Open(floorsFile)
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }()
	floors, err := design.ReadFloors(file, design.Loads{Category: "A", ImposedKNPerM2: 2, FinishesKNPerM2: 0.15})
	if err != nil {
		return fmt.Errorf("%s: %w", floorsFile, err)
	}
	designer, err := design.New(catalogue)
	if err != nil {
		return err
	}
	rooms, laid, beams, broken := 0, 0, 0, 0
	refused := map[string]int{}
	began := time.Now()
	var plans []design.Plan
	for _, f := range floors {
		plans = append(plans, designer.Lay(f))
	}
	took := time.Since(began)
	for _, p := range plans {
		for _, r := range p.Rooms {
			rooms++
			if r.Refused != nil {
				refused[r.Refused.Code()]++
				continue
			}
			laid++
			beams += len(r.Beams)
			for _, v := range append(design.Violations(catalogue, r), design.Uncovered(catalogue, r)...) {
				broken++
				fmt.Fprintf(os.Stderr, "floor %s room %s: %s\n", p.Floor.Job, r.Room.ID, v)
			}
		}
	}
	fmt.Printf("| floors | rooms | laid | beams | refused | invariants broken | s | s for 1,000 rooms |\n| - | - | - | - | - | - | - | - |\n")
	fmt.Printf("| %d | %d | %d | %d | %s | %d | %.2f | %.2f |\n", len(floors), rooms, laid, beams, reasons(refused), broken, took.Seconds(), took.Seconds()*1000/float64(max(rooms, 1)))
	if broken > 0 {
		return fmt.Errorf("%d invariants are broken", broken)
	}
	return nil
}

func reasons(refused map[string]int) string {
	var names []string
	for n := range refused {
		names = append(names, n)
	}
	slices.Sort(names)
	text := ""
	for _, n := range names {
		text += fmt.Sprintf("%s %d ", n, refused[n])
	}
	return text
}

// Package scenario reads a yard's whole set-up from a folder of files and
// brings it into a running program through its API, as the people of the yard
// would: catalogue, laying plans, rules, stock, tests, releases, trucks,
// sites, call-offs, and the plan of a morning.
//
// Every change carries a request id made from the content of the scenario, so
// a second run with the same files changes nothing and shows the same plan.
package scenario

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io/fs"
	"path"
	"time"

	"google.golang.org/protobuf/proto"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/yardfile"
)

// MainFile names all other files of a scenario.
const MainFile = "demo.yaml"

// maxFileBytes of a file of a scenario; the services take no more.
const maxFileBytes = 8 << 20

// Scenario is a yard's set-up, read and checked as far as files alone can be.
type Scenario struct {
	Main  Main
	Start time.Time

	catalogue  *layoutv1.SetCatalogueRequest
	stockRules *stockv1.SetYardRulesRequest
	rules      *dispatcheventv1.YardRules
	rooms      []table
	stockCount table
	trucks     *dispatchv1.SetTrucksRequest
	sites      *dispatchv1.SetSitesRequest
	callOffs   *dispatchv1.CallOffRoomsRequest
	// id stands for the content of all files.
	id string
}

// table is a file that a service reads itself.
type table struct {
	name    string
	content []byte
}

// Main is the content of the main file.
type Main struct {
	Yard string `yaml:"yard"`
	Name string `yaml:"name"`
	// Day of the morning to be planned.
	Day string `yaml:"day"`
	// Clock is when the program's clock starts, RFC 3339.
	Clock  string `yaml:"clock"`
	People People `yaml:"people"`

	Catalogue  string   `yaml:"catalogue"`
	Rules      string   `yaml:"rules"`
	Rooms      []string `yaml:"rooms"`
	StockCount string   `yaml:"stock_count"`
	Trucks     string   `yaml:"trucks"`
	Sites      string   `yaml:"sites"`
	CallOffs   string   `yaml:"call_offs"`

	Approvals []Approval `yaml:"approvals"`
	Tests     []Test     `yaml:"tests"`
	Releases  []Release  `yaml:"releases"`
}

// People who do what.
type People struct {
	DrawingOffice     string `yaml:"drawing_office"`
	Yard              string `yaml:"yard"`
	LaboratoryContact string `yaml:"laboratory_contact"`
	Dispatcher        string `yaml:"dispatcher"`
}

// Approval of laying plans by one engineer.
type Approval struct {
	Engineer string  `yaml:"engineer"`
	Reason   string  `yaml:"reason"`
	Floors   []Floor `yaml:"floors"`
}

// Floor of a job.
type Floor struct {
	Job   string `yaml:"job"`
	Floor string `yaml:"floor"`
}

// Test results of a batch.
type Test struct {
	Batch        string    `yaml:"batch"`
	Test         string    `yaml:"test"`
	Laboratory   string    `yaml:"laboratory"`
	TestedOn     string    `yaml:"tested_on"`
	Specimen     string    `yaml:"specimen"`
	StrengthsMpa []float64 `yaml:"strengths_mpa"`
}

// Release of a batch.
type Release struct {
	Batch      string `yaml:"batch"`
	ReleasedBy string `yaml:"released_by"`
}

// Read reads a scenario from a folder.
func Read(folder fs.FS) (*Scenario, error) {
	r := &folderReader{folder: folder, hash: sha256.New()}
	s := &Scenario{
		catalogue: &layoutv1.SetCatalogueRequest{}, trucks: &dispatchv1.SetTrucksRequest{},
		sites: &dispatchv1.SetSitesRequest{}, callOffs: &dispatchv1.CallOffRoomsRequest{},
	}
	content, err := r.read(MainFile)
	if err != nil {
		return nil, err
	}
	if err := yardfile.ReadStruct(MainFile, content, &s.Main); err != nil {
		return nil, err
	}
	if err := s.checkMain(); err != nil {
		return nil, err
	}
	for _, part := range []struct {
		name string
		into proto.Message
	}{{s.Main.Catalogue, s.catalogue}, {s.Main.Trucks, s.trucks}, {s.Main.Sites, s.sites}, {s.Main.CallOffs, s.callOffs}} {
		if err := r.message(part.name, part.into); err != nil {
			return nil, err
		}
	}
	if content, err = r.read(s.Main.Rules); err != nil {
		return nil, err
	}
	if s.stockRules, s.rules, err = yardfile.ReadYard(s.Main.Rules, content); err != nil {
		return nil, err
	}
	for _, name := range s.Main.Rooms {
		if content, err = r.read(name); err != nil {
			return nil, err
		}
		s.rooms = append(s.rooms, table{name, content})
	}
	if content, err = r.read(s.Main.StockCount); err != nil {
		return nil, err
	}
	s.stockCount = table{s.Main.StockCount, content}
	s.id = hex.EncodeToString(r.hash.Sum(nil))[:16]
	return s, nil
}

// checkMain finds what no service would.
func (s *Scenario) checkMain() error {
	m := s.Main
	f := fault.New(fault.Invalid, "BAD_FILE", "%s is not right; nothing was changed.", MainFile)
	for _, v := range []struct{ field, value string }{
		{"yard", m.Yard}, {"catalogue", m.Catalogue}, {"rules", m.Rules}, {"stock_count", m.StockCount}, {"trucks", m.Trucks}, {"sites", m.Sites},
		{"call_offs", m.CallOffs}, {"people.drawing_office", m.People.DrawingOffice}, {"people.yard", m.People.Yard},
		{"people.laboratory_contact", m.People.LaboratoryContact}, {"people.dispatcher", m.People.Dispatcher},
	} {
		if v.value == "" {
			f = f.At(MainFile+", "+v.field, "", "is missing", "")
		}
	}
	if _, err := civil.ParseDay(m.Day); err != nil {
		f = f.At(MainFile+", day", m.Day, "is no day", "YYYY-MM-DD")
	}
	start, err := time.Parse(time.RFC3339, m.Clock)
	if err != nil {
		f = f.At(MainFile+", clock", m.Clock, "is no time", "a time like 2027-03-16T15:30:00Z")
	}
	s.Start = start
	if len(f.Places) > 0 {
		return f
	}
	return nil
}

// folderReader reads files and keeps a hash over all that it has read.
type folderReader struct {
	folder fs.FS
	hash   hash.Hash
}

func (r *folderReader) read(name string) ([]byte, error) {
	if !fs.ValidPath(name) {
		return nil, fault.New(fault.Invalid, "FILE_OUTSIDE", "%q is no file inside the scenario's folder; name it without .. and without a leading /.", name)
	}
	info, err := fs.Stat(r.folder, name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fault.New(fault.NotFound, "FILE_NOT_FOUND", "The scenario has no file %s.", name)
	case err != nil:
		return nil, fault.New(fault.Refused, "FILE_UNREADABLE", "The scenario's file %s cannot be read.", name).Because(err)
	case info.Size() > maxFileBytes:
		return nil, fault.New(fault.Invalid, "FILE_TOO_LARGE", "The scenario's file %s is larger than %d MiB.", name, maxFileBytes>>20)
	}
	content, err := fs.ReadFile(r.folder, name)
	if err != nil {
		return nil, fault.New(fault.Refused, "FILE_UNREADABLE", "The scenario's file %s cannot be read.", name).Because(err)
	}
	fmt.Fprintf(r.hash, "%s %d\n", path.Clean(name), len(content))
	_, err = r.hash.Write(content)
	return content, err
}

func (r *folderReader) message(name string, into proto.Message) error {
	content, err := r.read(name)
	if err != nil {
		return err
	}
	return yardfile.Read(name, content, into, "yard", "request_id")
}

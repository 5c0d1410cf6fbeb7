package api

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"

	"google.golang.org/grpc"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/geometry"
	"spanyard.example/services/layout/internal/intake"
	"spanyard.example/services/layout/internal/outline"
	"spanyard.example/services/layout/internal/strength"
)

// Designs checks beams and lays floors from files; it keeps nothing.
type Designs struct {
	layoutv1.UnimplementedDesignServiceServer
}

// RegisterDesigns adds the design service to a gRPC server.
func RegisterDesigns(r grpc.ServiceRegistrar) { layoutv1.RegisterDesignServiceServer(r, &Designs{}) }

// strict reads JSON and refuses unknown names, so that a misspelt number is
// not silently left at nothing.
func strict(what string, data []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	err := d.Decode(into)
	if err == nil {
		if _, more := d.Token(); errors.Is(more, io.EOF) {
			return nil
		}
		err = errors.New("something follows the end of the JSON value")
	}
	problem, allowed := strings.TrimPrefix(err.Error(), "json: "), ""
	var wrong *json.UnmarshalTypeError
	var broken *json.SyntaxError
	switch {
	case errors.As(err, &wrong):
		problem, allowed = fmt.Sprintf("%s is a %s", wrong.Field, wrong.Value), kindNames[wrong.Type.Kind()]
	case errors.As(err, &broken):
		problem = fmt.Sprintf("line %d: %s", 1+bytes.Count(data[:min(int(broken.Offset), len(data))], []byte("\n")), problem)
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		problem = "ends before the JSON value does"
	}
	return fault.New(fault.Invalid, "JSON_INVALID", "The %s cannot be read.", strings.ReplaceAll(what, "_json", "'s JSON")).At(what, "", problem, allowed)
}

// kindNames says what a field of the JSON takes.
var kindNames = map[reflect.Kind]string{
	reflect.Float64: "a number", reflect.Int: "a whole number", reflect.Int64: "a whole number", reflect.String: "a text", reflect.Bool: "true or false",
	reflect.Slice: "a list", reflect.Struct: "an object with fields", reflect.Pointer: "an object with fields",
}

// CheckBeam checks one beam and returns every step.
func (s *Designs) CheckBeam(_ context.Context, req *layoutv1.CheckBeamRequest) (*layoutv1.CheckBeamResponse, error) {
	beam := strength.Beam{National: strength.Recommended}
	if err := strict("beam_json", req.GetBeamJson(), &beam); err != nil {
		return nil, err
	}
	report, err := strength.Check(beam)
	if err != nil {
		return nil, fault.New(fault.Invalid, "BEAM_INVALID", "The beam cannot be checked.").At("beam_json", "", err.Error(), "")
	}
	answer := &layoutv1.CheckBeamResponse{Report: reportProto(report)}
	answer.Documents, err = documents(req.GetDocuments(), sources{calculations: []strength.Report{report}, title: beam.Name})
	return answer, err
}

func reportProto(r strength.Report) *layoutv1.BeamReport {
	m := &layoutv1.BeamReport{Name: r.Beam.Name, Choices: r.Choices, Passes: r.Passes, Caution: r.Caution, Governing: verdictProto(r.Governing)}
	for _, s := range r.Steps {
		m.Steps = append(m.Steps, &layoutv1.CalculationStep{
			Part: s.Part, Symbol: s.Symbol, Meaning: s.What, Clause: s.Clause, Formula: s.Formula, Value: s.Value, Unit: s.Unit,
		})
	}
	for _, v := range r.Verdicts {
		m.Verdicts = append(m.Verdicts, verdictProto(v))
	}
	for _, s := range r.Stresses {
		m.Stresses = append(m.Stresses, &layoutv1.FibreStress{Stage: s.Stage, Fibre: s.Fibre, HeightMm: s.HeightMM, StressMpa: s.MPa})
	}
	if t := r.Topping; t != nil {
		m.Topping = &layoutv1.BeamTopping{ThicknessMm: t.ThicknessMM, UndersideMm: t.UndersideMM, EffectiveWidthMm: t.EffectiveWidthMM,
			FckMpa: t.FckMPa, CastAgeDays: t.CastAgeDays, Surface: string(t.Surface)}
	}
	return m
}

func verdictProto(v strength.Verdict) *layoutv1.CheckVerdict {
	return &layoutv1.CheckVerdict{
		Check: v.What, Clause: v.Clause, Demand: v.Demand, Capacity: v.Capacity, Unit: v.Unit, FullnessPercent: 100 * v.Fullness, Passes: v.Passes,
	}
}

func catalogueOf(data []byte) (design.Catalogue, error) {
	c := design.Catalogue{National: strength.Recommended}
	if err := strict("catalogue_json", data, &c); err != nil {
		return c, err
	}
	if err := c.Validate(); err != nil {
		return c, fault.New(fault.Invalid, "CATALOGUE_INVALID", "The catalogue cannot be used.").At("catalogue_json", "", err.Error(), "")
	}
	return c, nil
}

// TabulateSpans returns the longest spans of a catalogue's beams by load.
func (s *Designs) TabulateSpans(_ context.Context, req *layoutv1.TabulateSpansRequest) (*layoutv1.TabulateSpansResponse, error) {
	c, err := catalogueOf(req.GetCatalogueJson())
	if err != nil {
		return nil, err
	}
	made, err := documents(req.GetDocuments(), sources{catalogue: &c, title: "allowable"})
	return &layoutv1.TabulateSpansResponse{Documents: made}, err
}

// DesignFloor lays and checks the rooms of a drawing.
func (s *Designs) DesignFloor(_ context.Context, req *layoutv1.DesignFloorRequest) (*layoutv1.DesignFloorResponse, error) {
	c, err := catalogueOf(req.GetCatalogueJson())
	if err != nil {
		return nil, err
	}
	loads := design.Loads{Category: strength.Category(req.GetCategory()), ImposedKNPerM2: req.GetImposedKnPerM2(), FinishesKNPerM2: req.GetFinishesKnPerM2()}
	rooms, in, err := takeIn(req, loads)
	if err != nil {
		return nil, err
	}
	floor := design.Floor{Job: req.GetJobId(), JobName: req.GetJobName(), Floor: cmp.Or(req.GetFloor(), "1"), Rooms: rooms}
	answer := &layoutv1.DesignFloorResponse{WidthM: in.widthM, HeightM: in.heightM, UnitMm: in.unit, Layers: in.layers}
	for _, p := range in.problems {
		answer.Problems = append(answer.Problems, &layoutv1.DrawingProblem{Entity: p.Entity, Layer: p.Layer, Problem: p.What})
	}
	designer, err := design.New(c)
	if err != nil {
		return nil, err
	}
	plan := designer.Lay(floor)
	for _, r := range plan.Rooms {
		for _, v := range design.Violations(c, r) {
			return nil, fmt.Errorf("room %s of %s broke a rule of laying: %s", r.Room.ID, req.GetFileName(), v)
		}
		answer.Rooms = append(answer.Rooms, roomProto(answer, r))
	}
	title := strings.TrimSuffix(req.GetFileName(), "."+fileEnding(req.GetFileName()))
	answer.Documents, err = documents(req.GetDocuments(), sources{plan: &plan, catalogue: &c, calculations: plan.Calculations, title: title, sheet: req.GetSheet()})
	return answer, err
}

func fileEnding(name string) string {
	i := strings.LastIndexByte(name, '.')
	return name[i+1:]
}

// floorFile is a request that brings a floor in a file.
type floorFile interface {
	GetFileName() string
	GetFormat() layoutv1.FloorFormat
	GetContent() []byte
	GetRoomLayers() []string
	GetOpeningLayers() []string
	GetUnitMm() float64
	GetSmallestM2() float64
}

// taken is what a file gave beside its rooms.
type taken struct {
	problems              []outline.Problem
	widthM, heightM, unit float64
	layers                []*layoutv1.DrawingLayer
}

// takeIn reads the rooms of a file; those that say nothing of their loads get
// the given ones.
func takeIn(req floorFile, loads design.Loads) ([]design.Room, taken, error) {
	if req.GetFormat() == layoutv1.FloorFormat_FLOOR_FORMAT_OUTLINES {
		rooms, err := readOutlines(req.GetContent(), loads)
		t := taken{unit: 1}
		t.widthM, t.heightM = extent(rooms)
		return rooms, t, err
	}
	in, err := intake.FromDXF(req.GetFileName(), req.GetContent(), intake.Settings{
		RoomLayers: req.GetRoomLayers(), OpeningLayers: req.GetOpeningLayers(), UnitMM: req.GetUnitMm(), SmallestM2: req.GetSmallestM2(), Loads: loads,
	})
	if err != nil {
		return nil, taken{}, err
	}
	t := taken{problems: in.Problems, widthM: in.Size.WidthMM / 1000, heightM: in.Size.HeightMM / 1000, unit: in.UnitMM}
	for name, n := range in.Layers {
		t.layers = append(t.layers, &layoutv1.DrawingLayer{Name: name, PathCount: int32(n)})
	}
	sortLayers(t.layers)
	return in.Rooms, t, nil
}

// extent of rooms on their drawing, in metres.
func extent(rooms []design.Room) (widthM, heightM float64) {
	var corners []geometry.Point
	for _, r := range rooms {
		corners = append(corners, r.Shape.Outline...)
	}
	if len(corners) == 0 {
		return 0, 0
	}
	low, high := geometry.Polygon{Outline: corners}.Bounds()
	return (high.X - low.X) / 1000, (high.Y - low.Y) / 1000
}

func readOutlines(content []byte, loads design.Loads) ([]design.Room, error) {
	floors, err := design.ReadFloors(bytes.NewReader(content), loads)
	f := fault.New(fault.Invalid, "OUTLINES_INVALID", "The outlines cannot be read.")
	switch {
	case err != nil:
		return nil, f.At("content", "", err.Error(), "")
	case len(floors) != 1:
		return nil, f.At("content", "", fmt.Sprintf("holds %d floors", len(floors)), "one floor")
	default:
		return floors[0].Rooms, nil
	}
}

func roomProto(answer *layoutv1.DesignFloorResponse, r design.RoomPlan) *layoutv1.DesignedRoom {
	m := &layoutv1.DesignedRoom{Room: r.Room.ID, Name: r.Room.Name, AreaM2: r.Room.Shape.Area() / 1e6}
	if r.Refused != nil {
		m.Refusal, m.Help = r.Refused.Reason, r.Refused.Help
		return m
	}
	m.BeamCount, m.Profile = int32(len(r.Beams)), r.Kit.Profile
	for _, b := range r.Beams {
		m.LongestMm, m.BeamsPerRow = max(m.GetLongestMm(), int32(b.LengthMM)), max(m.GetBeamsPerRow(), int32(b.PerRow))
		if f := 100 * b.Fullness; f > m.GetFullnessPercent() {
			m.FullnessPercent, m.Governing = f, b.Governing
		}
		answer.BeamLengthMm += int64(b.LengthMM)
		answer.BeamMassG += b.MassG
	}
	for _, b := range r.Layout.Bays {
		m.BlockCount += int32(b.Whole + b.Cut)
	}
	answer.BeamCount += m.GetBeamCount()
	answer.BlockCount += m.GetBlockCount()
	return m
}

package dxf

import (
	"sort"
	"strings"
)

// Point in drawing units.
type Point struct{ X, Y float64 }

// Path is a curve as straight pieces.
type Path struct {
	// Kind of the entity, its handle and the line of the file it begins at.
	Kind, Handle string
	Line         int
	Layer        string
	Closed       bool
	Points       []Point
}

// Text is a text and the point it is placed at.
type Text struct {
	Value string
	Layer string
	At    Point
}

// Drawing is what was read.
type Drawing struct {
	// Version as in $ACADVER; empty when the file does not say.
	Version string
	// Units as in $INSUNITS, 0 when the file does not say.
	Units int
	// UnitsStated says whether the file has $INSUNITS at all.
	UnitsStated bool
	Paths       []Path
	Texts       []Text
	// Skipped counts entities left out, by kind.
	Skipped map[string]int
	// Bad lists entities that could not be read, with their place.
	Bad []BadEntity
}

// BadEntity is an entity that could not be read.
type BadEntity struct {
	Kind, Handle, Layer string
	Line                int
	Problem             string
}

// MillimetresPerUnit returns the size of a drawing unit by the code of
// $INSUNITS, and false for codes without one.
func MillimetresPerUnit(units int) (float64, bool) {
	mm, ok := map[int]float64{1: 25.4, 2: 304.8, 4: 1, 5: 10, 6: 1000, 8: 25.4e-6, 9: 25.4e-3, 10: 914.4, 14: 100}[units]
	return mm, ok
}

// Layers lists the layers that have paths or texts, with the number of paths.
func (d *Drawing) Layers() map[string]int {
	l := map[string]int{}
	for _, p := range d.Paths {
		l[p.Layer]++
	}
	return l
}

// entity is one entity of the file with its pairs.
type entity struct {
	kind  string
	line  int
	pairs []pair
	// vertices of a POLYLINE, attributes of an INSERT.
	children []entity
}

func (e entity) first(code int) (pair, bool) {
	for _, p := range e.pairs {
		if p.code == code {
			return p, true
		}
	}
	return pair{}, false
}

func (e entity) str(code int) string {
	p, _ := e.first(code)
	return strings.TrimSpace(p.value)
}

func (e entity) int(code, otherwise int) int {
	if p, ok := e.first(code); ok {
		return p.int()
	}
	return otherwise
}

// block is a named group of entities with a base point.
type block struct {
	base     Point
	entities []entity
}

// Read reads a file.
func Read(content []byte) (*Drawing, error) {
	pairs, err := split(content)
	if err != nil {
		return nil, err
	}
	d := &Drawing{Skipped: map[string]int{}}
	var codepage string
	blocks := map[string]block{}
	var model []entity
	found := false
	for i := 0; i < len(pairs); {
		if pairs[i].code != 0 || strings.TrimSpace(pairs[i].value) != "SECTION" {
			i++
			continue
		}
		end := sectionEnd(pairs, i+1)
		body := pairs[i+1 : end]
		i = end
		if len(body) == 0 || body[0].code != 2 {
			continue
		}
		switch strings.TrimSpace(body[0].value) {
		case "HEADER":
			codepage = d.header(body[1:])
		case "BLOCKS":
			readBlocks(body[1:], blocks)
		case "ENTITIES":
			found = true
			model = append(model, group(body[1:])...)
		}
	}
	if !found {
		return nil, ErrNothing
	}
	f := &flattener{drawing: d, blocks: blocks, decoder: decoder(d.Version, codepage)}
	if err := f.entities(model, identity, "", 0); err != nil {
		return nil, err
	}
	return d, nil
}

func sectionEnd(pairs []pair, from int) int {
	for i := from; i < len(pairs); i++ {
		if pairs[i].code == 0 {
			switch strings.TrimSpace(pairs[i].value) {
			case "ENDSEC", "EOF":
				return i
			}
		}
	}
	return len(pairs)
}

// header keeps the variables that matter and returns the code page.
func (d *Drawing) header(pairs []pair) (codepage string) {
	name := ""
	for _, p := range pairs {
		if p.code == 9 {
			name = strings.TrimSpace(p.value)
			continue
		}
		switch name {
		case "$ACADVER":
			d.Version = strings.TrimSpace(p.value)
		case "$DWGCODEPAGE":
			codepage = strings.TrimSpace(p.value)
		case "$INSUNITS":
			d.Units, d.UnitsStated = p.int(), true
		}
	}
	return codepage
}

// group cuts pairs into entities; vertices and attributes go to the entity
// they belong to, up to its SEQEND.
func group(pairs []pair) []entity {
	var out []entity
	var owner *entity
	for i := 0; i < len(pairs); {
		if pairs[i].code != 0 {
			i++
			continue
		}
		j := i + 1
		for j < len(pairs) && pairs[j].code != 0 {
			j++
		}
		e := entity{kind: strings.TrimSpace(pairs[i].value), line: pairs[i].line, pairs: pairs[i+1 : j]}
		i = j
		switch {
		case e.kind == "SEQEND":
			owner = nil
		case (e.kind == "VERTEX" || e.kind == "ATTRIB") && owner != nil:
			owner.children = append(owner.children, e)
		default:
			out = append(out, e)
			owner = nil
			if e.kind == "POLYLINE" || e.kind == "INSERT" && e.int(66, 0) == 1 {
				owner = &out[len(out)-1]
			}
		}
	}
	return out
}

func readBlocks(pairs []pair, blocks map[string]block) {
	var name string
	var b block
	for _, e := range group(pairs) {
		switch e.kind {
		case "BLOCK":
			name = strings.ToUpper(e.str(2))
			b = block{base: e.point(10)}
		case "ENDBLK":
			blocks[name] = b
		default:
			b.entities = append(b.entities, e)
		}
	}
}

// point reads the coordinates of codes n and n+10; 0 where they are missing.
func (e entity) point(code int) Point {
	return Point{e.float(code, 0), e.float(code+10, 0)}
}

func (e entity) float(code int, otherwise float64) float64 {
	p, ok := e.first(code)
	if !ok {
		return otherwise
	}
	f, err := p.float()
	if err != nil {
		return otherwise
	}
	return f
}

// check reports the first number among the geometry codes that is none.
func (e entity) check() error {
	for _, p := range e.pairs {
		if p.code >= 10 && p.code < 60 {
			if _, err := p.float(); err != nil {
				return err
			}
		}
	}
	return nil
}

// SortedLayers lists layer names in order.
func (d *Drawing) SortedLayers() []string {
	names := make([]string, 0)
	for n := range d.Layers() {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}

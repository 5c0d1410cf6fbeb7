package pages

import (
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/internal/shell"
)

func availablePages() []shell.Page {
	return []shell.Page{{Pattern: "GET /available", Handle: available}}
}

// availableView is what can be promised for a day.
type availableView struct {
	Day      string
	Beams    []productBar
	Blocks   []productBar
	Withheld []*stockv1.Withheld
	Position uint64
}

// productBar is a product with its bar: stretches from left to right.
type productBar struct {
	*stockv1.Availability
	Stretches []stretch
}

// stretch of a bar, in thousandths of the widest bar.
type stretch struct {
	Kind  string
	Count int32
	X, W  float64
}

func available(r *shell.Request) error {
	s := r.Shell()
	answer, err := s.Stock.GetAvailability(r.Ctx(), &stockv1.GetAvailabilityRequest{Yard: s.Yard, Day: r.Form("day")})
	if missing(err) {
		return r.Show("available", availableView{Day: r.Today()})
	}
	if err != nil {
		return err
	}
	v := availableView{Day: answer.GetDay(), Withheld: answer.GetWithheld(), Position: answer.GetPosition()}
	var most, mostBlocks int32
	for _, p := range answer.GetProducts() {
		if p.GetBlockKind() == "" {
			most = max(most, total(p))
		} else {
			mostBlocks = max(mostBlocks, total(p))
		}
	}
	for _, p := range answer.GetProducts() {
		if p.GetBlockKind() == "" {
			v.Beams = append(v.Beams, barOf(p, most))
		} else {
			v.Blocks = append(v.Blocks, barOf(p, mostBlocks))
		}
	}
	return r.Show("available", v)
}

func total(p *stockv1.Availability) int32 {
	return p.GetFree() + p.GetKept() + p.GetProvisional() + p.GetLater() + p.GetWithheld() + p.GetPromised()
}

// barOf draws a product to the scale of the largest one.
func barOf(p *stockv1.Availability, most int32) productBar {
	b := productBar{Availability: p}
	x := 0.0
	for _, s := range []stretch{
		{Kind: "free", Count: p.GetFree()}, {Kind: "kept", Count: p.GetKept()}, {Kind: "coming", Count: p.GetProvisional()},
		{Kind: "later", Count: p.GetLater()}, {Kind: "held", Count: p.GetWithheld()}, {Kind: "promised", Count: p.GetPromised()},
	} {
		if s.Count <= 0 {
			continue
		}
		s.X, s.W = x, 1000*float64(s.Count)/float64(most)
		x += s.W
		b.Stretches = append(b.Stretches, s)
	}
	return b
}

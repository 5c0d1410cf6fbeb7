package daybook

import "slices"

// Memo is a state written down in full, without its indexes: the content of a
// snapshot.
type Memo struct {
	Rules    *Rules    `json:",omitempty"`
	SetUp    int       `json:",omitempty"`
	Trucks   []Truck   `json:",omitempty"`
	Travel   []Leg     `json:",omitempty"`
	Sites    []Site    `json:",omitempty"`
	Floors   []Floor   `json:",omitempty"`
	CallOffs []CallOff `json:",omitempty"`
	Days     []DayMemo `json:",omitempty"`
	Plans    []PlanStatus
	Runs     []RunMemo
	Laid     []Laid `json:",omitempty"`
}

// DayMemo is what a day counts.
type DayMemo struct {
	Day        string
	Planned    int
	Changes    int
	Plans      []string `json:",omitempty"`
	Runs       []string `json:",omitempty"`
	CallOffs   []string `json:",omitempty"`
	Confirming string   `json:",omitempty"`
	Served     bool     `json:",omitempty"`
	Folded     *Folded  `json:",omitempty"`

	Hindrances []Hindrance `json:",omitempty"`
}

// RunMemo is a run without what its plan says of it.
type RunMemo struct {
	ID            string
	State         RunState
	PlanID        string
	Day           string
	Hits          []Hit  `json:",omitempty"`
	Delivered     []int  `json:",omitempty"`
	ReservationID string `json:",omitempty"`
	CancelReason  string `json:",omitempty"`
	Freed         bool   `json:",omitempty"`
	// SetDown as in RunStatus.
	SetDown []string `json:",omitempty"`
	// TakenBack as in RunStatus.
	TakenBack []string `json:",omitempty"`
	// LaidBeams and Reports as in RunStatus.
	LaidBeams []string     `json:",omitempty"`
	Reports   []SiteReport `json:",omitempty"`
	// Run is set when it is not as its plan says any more.
	Run *Run `json:",omitempty"`
}

// Memo writes the state down.
func (s State) Memo() Memo {
	m := Memo{Rules: s.rules, SetUp: s.setUp, Trucks: s.trucks, Travel: s.travel, Sites: s.Sites(), Laid: s.laid()}
	for _, f := range s.Floors() {
		m.Floors = append(m.Floors, *f)
	}
	each(s.callOffs, func(_ string, c *CallOff) { m.CallOffs = append(m.CallOffs, *c) })
	each(s.days, func(day string, d *dayBook) {
		m.Days = append(m.Days, DayMemo{
			Day: day, Planned: d.planned, Changes: d.changes, Plans: d.plans, Runs: d.runs,
			CallOffs: d.callOffs, Confirming: d.confirming, Served: d.served, Folded: d.folded, Hindrances: d.hindrances,
		})
	})
	each(s.plans, func(_ string, p *PlanStatus) { m.Plans = append(m.Plans, *p) })
	each(s.runs, func(id string, r *RunStatus) {
		memo := RunMemo{
			ID: id, State: r.State, PlanID: r.PlanID, Day: r.Day, Hits: r.Hits, Delivered: r.Delivered,
			ReservationID: r.ReservationID, CancelReason: r.CancelReason, Freed: r.Freed,
			SetDown: r.SetDown, TakenBack: r.TakenBack, LaidBeams: r.LaidBeams, Reports: r.Reports,
		}
		if r.Exchanged {
			memo.Run = &r.Run
		}
		m.Runs = append(m.Runs, memo)
	})
	return m
}

// Recall returns the state that a memo was written from.
func Recall(yard string, m Memo) State {
	s := New(yard)
	s.rules, s.setUp, s.trucks, s.travel = m.Rules, m.SetUp, m.Trucks, m.Travel
	for i := range m.Sites {
		s.sites = s.sites.Set(m.Sites[i].ID, &m.Sites[i])
	}
	for i := range m.Floors {
		s = s.withFloor(m.Floors[i].FloorKey, func(b *floorBook) { b.floor = &m.Floors[i] })
	}
	for i := range m.CallOffs {
		s.callOffs = s.callOffs.Set(m.CallOffs[i].ID, &m.CallOffs[i])
	}
	for i := range m.Plans {
		p := &m.Plans[i]
		s.plans = s.plans.Set(p.Plan.ID, p)
		if p.State == Confirming {
			s.unsettled = s.unsettled.Set(p.Plan.ID, true)
		}
	}
	runs := map[string]RunMemo{}
	for _, r := range m.Runs {
		runs[r.ID] = r
	}
	for _, d := range m.Days {
		s = s.recallDay(d, runs)
	}
	s = s.recallLaid(m.Laid)
	// After the live runs: a place that is filled for good is no other run's.
	each(s.runs, func(_ string, r *RunStatus) {
		if r.State == RunCancelledState {
			for _, id := range r.SetDown {
				s = s.fill(r, id)
			}
		}
	})
	return s
}

func (s State) recallDay(m DayMemo, runs map[string]RunMemo) State {
	for _, id := range m.CallOffs {
		if c, ok := s.callOffs.Get(id); ok {
			s = s.withFloor(c.FloorKey, func(b *floorBook) { b.called = append(slices.Clone(b.called), id) })
		}
	}
	for _, id := range m.Runs {
		r := runs[id]
		status := &RunStatus{
			State: r.State, PlanID: r.PlanID, Day: r.Day, Hits: r.Hits, Delivered: r.Delivered,
			ReservationID: r.ReservationID, CancelReason: r.CancelReason, Freed: r.Freed,
			SetDown: r.SetDown, TakenBack: r.TakenBack, LaidBeams: r.LaidBeams, Reports: r.Reports, Exchanged: r.Run != nil,
		}
		if p, ok := s.plans.Get(r.PlanID); ok {
			for i := range p.Plan.Runs {
				if p.Plan.Runs[i].ID == id {
					status.Run = p.Plan.Runs[i]
				}
			}
		}
		if r.Run != nil {
			status.Run = *r.Run
		}
		s.runs = s.runs.Set(id, status)
		if status.State != RunCancelledState {
			// What came back may be on another run by now, whichever is recalled first.
			status.Run.Items(func(_ *Pile, item *Item) {
				if !slices.Contains(status.TakenBack, item.PieceID) {
					s = s.placeItem(id, item)
				}
			})
		} else if !status.Freed {
			s.unsettled = s.unsettled.Set(id, true)
		}
	}
	return s.withDay(m.Day, func(d *dayBook) {
		*d = dayBook{
			planned: m.Planned, changes: m.Changes, plans: m.Plans, runs: m.Runs,
			callOffs: m.CallOffs, confirming: m.Confirming, served: m.Served, folded: m.Folded, hindrances: m.Hindrances,
		}
	})
}

package morningtest

import "spanyard.example/services/dispatch/internal/morning"

// limits sets what a yard may set besides masses and windows.
func (m *maker) limits() {
	p, dice := &m.problem, m.random
	p.Rules.LoadingBays, p.Rules.Forklifts = dice.IntN(4), dice.IntN(4)
	p.Rules.LoadingMinutesPerPile = dice.IntN(3)
	p.Rules.Driver = morning.DriverRules{
		MaxDrivingMinutes: dice.IntN(2) * (200 + dice.IntN(300)), DrivingBeforeBreakMinutes: dice.IntN(2) * (100 + dice.IntN(200)), BreakMinutes: 20 + dice.IntN(30),
	}
	for i := range p.Trucks {
		p.Trucks[i].MaxDrops = dice.IntN(4)
	}
	for i := range p.Sites {
		if dice.IntN(2) == 0 {
			p.Sites[i].LaidPerHour = 5 + dice.IntN(30)
			p.Sites[i].HoldsBeams = dice.IntN(2) * (3 + dice.IntN(40))
		}
		if dice.IntN(3) == 0 {
			id := p.Sites[i].ID
			p.Travel = append(p.Travel, morning.Leg{ToID: id, Metres: 1000 * (5 + dice.IntN(40)), Minutes: 5 + dice.IntN(60)},
				morning.Leg{FromID: id, Metres: 1000 * (5 + dice.IntN(40)), Minutes: 5 + dice.IntN(60)})
		}
	}
}

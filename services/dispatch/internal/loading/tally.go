package loading

// tally is what pieces take of a deck's lanes at least, counted piece by piece.
//
// A pile takes its length and a gap of one lane at least. As few and as short
// piles of beams as can be (see beamPiles) have each as many as stand across the
// whole deck; a pallet has its shorter side along the deck.
//
// It has room for so many kinds of beams as loads have; what is beyond is not
// counted, which errs towards less.
type tally struct {
	d *Deck
	// pallets is the length of lane of the pallets.
	pallets int
	// groups are the beams that may share piles; lots are the equally long ones
	// of a group, by group, the longest first.
	groups        [8]shared
	lots          [32]lot
	groupN, lotsN int
}

// shared is a drop's beams of one profile, each pile with so many of them.
type shared struct {
	drop    int
	profile string
	holds   int
}

type lot struct{ group, length, n int }

// add counts a piece and tells whether it can stand on the deck at all.
func (t *tally) add(drop int, u *Unit) bool {
	if u.Item.Pallet() {
		t.pallets += min(u.LengthMM, u.WidthMM) + t.d.rules.PileGapMM
		return true
	}
	g := t.groupN - 1
	for g >= 0 && (t.groups[g].drop != drop || t.groups[g].profile != u.Item.Beam.Profile) {
		g--
	}
	if g < 0 {
		s, ok := t.d.shapeOf(u.WidthMM, u.HeightMM, true)
		if !ok {
			return false
		}
		if t.groupN == len(t.groups) {
			return true
		}
		g = t.groupN
		t.groups[g] = shared{drop, u.Item.Beam.Profile, s.across * s.tiers}
		t.groupN++
	}
	at := 0
	for at < t.lotsN && (t.lots[at].group < g || t.lots[at].group == g && t.lots[at].length > u.LengthMM) {
		at++
	}
	if at == t.lotsN || t.lots[at].group != g || t.lots[at].length != u.LengthMM {
		if t.lotsN == len(t.lots) {
			return true
		}
		copy(t.lots[at+1:], t.lots[at:t.lotsN])
		t.lots[at] = lot{g, u.LengthMM, 0}
		t.lotsN++
	}
	t.lots[at].n++
	return true
}

// lane is the length of lane that all the pieces take at least.
func (t *tally) lane() int {
	need := t.pallets
	group, shortest, room := -1, 0, 0
	for i := range t.lots[:t.lotsN] {
		l := &t.lots[i]
		for n := l.n; n > 0; {
			if l.group != group || room == 0 || l.length < shortest {
				group, shortest, room = l.group, shortestWith(l.length, t.d.rules.MaxOverhangMM), t.groups[l.group].holds
				need += l.length + t.d.rules.PileGapMM
			}
			put := min(n, room)
			n, room = n-put, room-put
		}
	}
	return need
}

// lanesMM is the length of all lanes, each thought longer by a gap.
func (d *Deck) lanesMM() int { return d.lanes * (d.limitMM + d.rules.PileGapMM) }

// tooLong tells whether the drops take more of the lanes than there is, however
// they are arranged.
func (d *Deck) tooLong(drops [][]Unit) bool {
	t := tally{d: d}
	for i, units := range drops {
		for j := range units {
			if !t.add(i, &units[j]) {
				return true
			}
		}
	}
	return t.lane() > d.lanesMM()
}

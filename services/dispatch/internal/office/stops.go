package office

import (
	"sync"
	"sync/atomic"
)

// stops lets somebody end planning that goes on in this process. The zero value
// is ready.
type stops struct {
	mu      sync.Mutex
	running map[string][]*atomic.Bool
}

// begin returns a flag that says that planning of a day is to end; end is called
// when it has.
func (s *stops) begin(yard, day string) (flag *atomic.Bool, end func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.running == nil {
		s.running = map[string][]*atomic.Bool{}
	}
	key := yard + "/" + day
	flag = &atomic.Bool{}
	s.running[key] = append(s.running[key], flag)
	return flag, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		var left []*atomic.Bool
		for _, f := range s.running[key] {
			if f != flag {
				left = append(left, f)
			}
		}
		s.running[key] = left
		if len(left) == 0 {
			delete(s.running, key)
		}
	}
}

// StopPlanning ends the planning of a day in this process, each with the best
// plan so far, and says how many there were.
func (o *Office) StopPlanning(yard, day string) int {
	o.planning.mu.Lock()
	defer o.planning.mu.Unlock()
	flags := o.planning.running[yard+"/"+day]
	for _, f := range flags {
		f.Store(true)
	}
	return len(flags)
}

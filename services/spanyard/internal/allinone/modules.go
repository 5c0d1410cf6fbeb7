package allinone

import (
	"fmt"
	"maps"
	"slices"
)

// module is one part of the program: what has to run before it, and how it
// starts. start leaves its results in the house and returns what stops it.
type module struct {
	needs []string
	start func(*House) (stop func(), err error)
}

// modules is the whole dependency map. "all" is what the program starts.
var modules = map[string]module{
	"nats":     {start: startNATS},
	"redis":    {start: startRedis},
	"layout":   {needs: []string{"nats"}, start: startLayout},
	"stock":    {needs: []string{"nats", "redis"}, start: startStock},
	"dispatch": {needs: []string{"nats", "stock"}, start: startDispatch},
	"door":     {needs: []string{"layout", "stock", "dispatch"}, start: startDoor},
	"desk":     {needs: []string{"layout", "stock", "dispatch"}, start: startDesk},
	"all":      {needs: []string{"desk", "door"}},
}

// order returns the modules that name needs, and name itself, each after all
// that it needs; modules that could go first all the same go by name, so that
// every start is the same.
func order(all map[string]module, name string) ([]string, error) {
	wanted := map[string]bool{}
	if err := collect(all, name, nil, wanted); err != nil {
		return nil, err
	}
	var sorted []string
	done := map[string]bool{}
	for len(sorted) < len(wanted) {
		for _, candidate := range slices.Sorted(maps.Keys(wanted)) {
			ready := !slices.ContainsFunc(all[candidate].needs, func(n string) bool { return !done[n] })
			if ready && !done[candidate] {
				sorted = append(sorted, candidate)
				done[candidate] = true
				break
			}
		}
	}
	return sorted, nil
}

// collect adds name and all below it, and refuses circles and unknown names.
func collect(all map[string]module, name string, path []string, into map[string]bool) error {
	m, ok := all[name]
	if !ok {
		return fmt.Errorf("allinone: there is no module %q (needed by %v)", name, path)
	}
	if slices.Contains(path, name) {
		return fmt.Errorf("allinone: modules need each other in a circle: %v", append(path, name))
	}
	into[name] = true
	for _, n := range m.needs {
		if err := collect(all, n, append(path[:len(path):len(path)], name), into); err != nil {
			return err
		}
	}
	return nil
}

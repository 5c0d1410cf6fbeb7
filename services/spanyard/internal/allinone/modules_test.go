package allinone

import (
	"slices"
	"strings"
	"testing"
)

func TestOrderOfTheProgram(t *testing.T) {
	for range 20 {
		got, err := order(modules, "all")
		if err != nil {
			t.Fatal(err)
		}
		if want := "nats layout redis stock dispatch desk door all"; strings.Join(got, " ") != want {
			t.Fatalf("got %v, want %s", got, want)
		}
	}
}

func TestOrderTakesOnlyWhatIsNeeded(t *testing.T) {
	got, err := order(modules, "layout")
	if err != nil || !slices.Equal(got, []string{"nats", "layout"}) {
		t.Errorf("got %v, %v", got, err)
	}
}

func TestOrderRefuses(t *testing.T) {
	for name, tc := range map[string]struct {
		all  map[string]module
		want string
	}{
		"a circle":   {map[string]module{"a": {needs: []string{"b"}}, "b": {needs: []string{"a"}}}, "circle"},
		"a stranger": {map[string]module{"a": {needs: []string{"b"}}}, `no module "b"`},
	} {
		if _, err := order(tc.all, "a"); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

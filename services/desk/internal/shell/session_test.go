package shell

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
)

// TestLinksToSitesRunOut: a link opens its own drop, until it has run out, and
// under the key alone that signed it.
func TestLinksToSitesRunOut(t *testing.T) {
	start := time.Date(2027, 3, 16, 15, 30, 0, 0, time.UTC)
	shellAt := func(key string, at time.Time) *Shell {
		signer, err := auth.OpenSigner(key)
		if err != nil {
			t.Fatal(err)
		}
		return &Shell{Yard: "y1", Signer: signer, Clock: clock.StartingAt(at)}
	}
	key := filepath.Join(t.TempDir(), "key.pem")
	path, err := shellAt(key, start).SiteLink(auth.Drop{RunID: "2027-03-17-P1-R01", Number: 2}, time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.TrimPrefix(path, "/site/")
	p, until, err := shellAt(key, start.Add(59*time.Minute)).OpenSiteLink(text)
	if err != nil {
		t.Fatal(err)
	}
	if p.Drop == nil || p.Drop.RunID != "2027-03-17-P1-R01" || p.Drop.Number != 2 || p.Yard != "y1" || len(p.Roles) != 1 || !p.Has(auth.Site) {
		t.Errorf("the link makes its holder %+v", p)
	}
	if late := until.Sub(start); late < 59*time.Minute || late > time.Hour+time.Minute {
		t.Errorf("the link is good until %s", until)
	}
	for name, s := range map[string]*Shell{
		"run out":     shellAt(key, start.Add(61*time.Minute)),
		"another key": shellAt(filepath.Join(t.TempDir(), "other.pem"), start),
	} {
		if _, _, err := s.OpenSiteLink(text); fault.ReasonOf(err) != "LINK_INVALID" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

package integration

import (
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"

	"spanyard.example/integration/internal/house"
)

// The desk as it is deployed: confined, healthy, checked settings; it lets nobody
// in whom it does not know, and shows nothing to strangers.
func TestDeskIsDeployed(t *testing.T) {
	folder := t.TempDir()
	if err := os.Chmod(folder, 0o755); err != nil { // the user of the container looks in
		t.Fatal(err)
	}
	if err := theHouse.OpenDesk(t.Context(), folder); err != nil {
		t.Fatal(err)
	}
	c := theHouse.Container("desk")
	now, err := c.Inspect(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if !now.HostConfig.ReadonlyRootfs || strings.HasPrefix(now.Config.User, "0") || now.Config.User == "" {
		t.Errorf("it runs as %q, read only: %v", now.Config.User, now.HostConfig.ReadonlyRootfs)
	}
	soon(t, "the desk to be healthy", c.Probe)
	base := "http://" + c.Address(house.DeskPort)
	if status, text := visit(t, http.MethodGet, base+"/morning", nil); status != http.StatusOK || !strings.Contains(text, "Sign in") {
		t.Errorf("a stranger is shown %d:\n%s", status, text)
	}
	status, text := visit(t, http.MethodPost, base+"/sign-in", url.Values{"name": {"Rosamund Tickpenny"}, "password": {"guess"}})
	if status == http.StatusOK || strings.Contains(text, "Sign out") {
		t.Errorf("a guess is answered with %d:\n%s", status, text)
	}
	if err := c.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if now, err = c.Inspect(t.Context()); err != nil || now.State.ExitCode != 0 {
		t.Errorf("it ended with %v, %v:\n%s", now.State, err, c.Log(t.Context()))
	}
}

func visit(t *testing.T, method, address string, form url.Values) (int, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, address, strings.NewReader(form.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	answer, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, string(text)
}

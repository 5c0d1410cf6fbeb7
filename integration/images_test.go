package integration

import (
	"strings"
	"testing"

	"spanyard.example/integration/internal/house"
)

// What runs is what the recipes promise: nobody is root, nothing can be
// written but the volumes, the image's own health check is good.
func TestContainersAreConfined(t *testing.T) {
	for _, name := range append(append([]string{"redis"}, house.NATSNodes...), house.Services...) {
		t.Run(name, func(t *testing.T) {
			c := theHouse.Container(name)
			now, err := c.Inspect(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if user, _, _ := strings.Cut(now.Config.User, ":"); strings.Trim(user, "0123456789") != "" || user == "" || user == "0" {
				t.Errorf("it runs as user %q; a number that is not 0 is wanted", now.Config.User)
			}
			if now.Config.Labels["org.opencontainers.image.version"] == "" {
				t.Error("the image does not say its version")
			}
			if !strings.HasPrefix(name, "nats-") {
				soon(t, name+" to be healthy", c.Probe)
			}
		})
	}
	for _, name := range house.Services {
		now, err := theHouse.Container(name).Inspect(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if !now.HostConfig.ReadonlyRootfs {
			t.Errorf("%s can write into its image", name)
		}
	}
}

// The settings in deploy/config are good, and wrong ones are refused before
// anything starts.
func TestSettingsAreChecked(t *testing.T) {
	for _, name := range house.Services {
		t.Run(name, func(t *testing.T) {
			file := "/etc/spanyard/" + name + ".yaml"
			status, said, err := theHouse.Once(t.Context(), name, nil, "-config", file, "-check")
			if err != nil {
				t.Fatal(err)
			}
			if status != 0 {
				t.Errorf("-check ends with status %d: %s", status, said)
			}
			wrong := map[string]string{"SPANYARD_" + strings.ToUpper(name) + "_REPLICAS": "2"}
			status, said, err = theHouse.Once(t.Context(), name, wrong, "-config", file, "-check")
			if err != nil {
				t.Fatal(err)
			}
			if status == 0 || !strings.Contains(said, "_REPLICAS") {
				t.Errorf("two replicas are accepted (status %d): %s", status, said)
			}
		})
	}
}

// A service that is told to stop ends by itself, with status 0.
func TestServicesStopCleanly(t *testing.T) {
	for _, name := range house.Services {
		t.Run(name, func(t *testing.T) {
			c := theHouse.Container(name)
			if err := c.Stop(t.Context()); err != nil {
				t.Fatal(err)
			}
			now, err := c.Inspect(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if now.State.ExitCode != 0 {
				t.Errorf("it ended with status %d:\n%s", now.State.ExitCode, c.Log(t.Context()))
			}
			if err := c.Start(t.Context()); err != nil {
				t.Fatal(err)
			}
			awaitService(t, name)
		})
	}
}

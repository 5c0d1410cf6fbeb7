// Package deployment checks the files in deploy/ without starting anything.
package deployment

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/compose-spec/compose-go/v2/types"
	"go.yaml.in/yaml/v3"

	"spanyard.example/integration/internal/house"
)

func compose(t *testing.T) *types.Project {
	t.Helper()
	project, err := house.Compose(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return project
}

// The compose file is valid, and every file, volume and image that it names is
// there.
func TestComposeFile(t *testing.T) {
	project := compose(t)
	var names []string
	for _, service := range project.Services {
		names = append(names, service.Name)
		checkImage(t, service)
		checkMounts(t, project, service)
		if service.Restart != types.RestartPolicyUnlessStopped {
			t.Errorf("%s: restart is %q", service.Name, service.Restart)
		}
	}
	slices.Sort(names)
	want := slices.Sorted(slices.Values(append(append([]string{"redis"}, house.NATSNodes...), house.Services...)))
	if !slices.Equal(names, want) {
		t.Errorf("the compose file has %v, wanted %v", names, want)
	}
}

// checkImage: an image of ours has a recipe, with a user that is not root and,
// for all but NATS, which has no probe of its own, a health check.
func checkImage(t *testing.T, service types.ServiceConfig) {
	t.Helper()
	name, ours := strings.CutPrefix(service.Image, "localhost/spanyard/")
	if !ours {
		return // named by a variable
	}
	name, _, _ = strings.Cut(name, ":")
	recipe := read(t, filepath.Join("deploy", "images", name, "Dockerfile"))
	for _, line := range []string{`(?m)^FROM scratch$`, `(?m)^USER [1-9][0-9]*:[1-9][0-9]*$`, `org\.opencontainers\.image\.version=`} {
		if !regexp.MustCompile(line).MatchString(recipe) {
			t.Errorf("the recipe of %s lacks a line like %s", name, line)
		}
	}
	if name != "nats" && !strings.Contains(recipe, "HEALTHCHECK") {
		t.Errorf("the recipe of %s has no health check", name)
	}
}

func checkMounts(t *testing.T, project *types.Project, service types.ServiceConfig) {
	t.Helper()
	for _, v := range service.Volumes {
		switch v.Type {
		case types.VolumeTypeBind:
			info, err := os.Stat(v.Source)
			if err != nil || !info.Mode().IsRegular() {
				t.Errorf("%s: %s is no file (%v)", service.Name, v.Source, err)
			}
			if !v.ReadOnly {
				t.Errorf("%s: %s can be written by the container", service.Name, v.Source)
			}
		case types.VolumeTypeVolume:
			if _, ok := project.Volumes[v.Source]; !ok {
				t.Errorf("%s: there is no volume %s", service.Name, v.Source)
			}
		default:
			t.Errorf("%s: a mount of kind %s", service.Name, v.Type)
		}
	}
}

// Every service waits for what it stands on, listens where the compose file
// publishes it, and names all nodes of NATS.
func TestSettingsFitTheComposeFile(t *testing.T) {
	project := compose(t)
	for _, name := range house.Services {
		var settings struct {
			Listen   string   `yaml:"listen"`
			NATS     []string `yaml:"nats"`
			Replicas int      `yaml:"replicas"`
		}
		if err := yaml.Unmarshal([]byte(read(t, filepath.Join("deploy", "config", name+".yaml"))), &settings); err != nil {
			t.Fatal(err)
		}
		service, err := project.GetService(name)
		if err != nil {
			t.Fatal(err)
		}
		if settings.Replicas != len(house.NATSNodes) {
			t.Errorf("%s keeps %d copies of its ledger; there are %d nodes", name, settings.Replicas, len(house.NATSNodes))
		}
		for _, node := range house.NATSNodes {
			if !slices.Contains(settings.NATS, "nats://"+node+":4222") {
				t.Errorf("%s does not know %s", name, node)
			}
			if _, ok := service.DependsOn[node]; !ok {
				t.Errorf("%s does not wait for %s", name, node)
			}
		}
		if len(service.Ports) != 1 || settings.Listen != ":7400" || service.Ports[0].Target != 7400 || service.Ports[0].HostIP != "127.0.0.1" {
			t.Errorf("%s listens at %q, published as %v", name, settings.Listen, service.Ports)
		}
	}
}

// What the ledger's promise rests on is set: every write is synced, messages
// are as large as the services allow, the store has a limit; Redis throws
// nothing away by itself and writes nothing down.
func TestPromisesAreConfigured(t *testing.T) {
	for file, lines := range map[string][]string{
		"deploy/nats/nats.conf":   {"sync_interval: always", "max_payload: 8MB", "max_file_store: $NATS_MAX_FILE_STORE", "store_dir: /data", "server_name: $NATS_NAME"},
		"deploy/redis/redis.conf": {"appendonly no", `save ""`, "maxmemory-policy noeviction"},
	} {
		text := read(t, file)
		for _, line := range lines {
			if !regexp.MustCompile(`(?m)^\s*` + regexp.QuoteMeta(line) + `$`).MatchString(text) {
				t.Errorf("%s lacks %q", file, line)
			}
		}
	}
}

func read(t *testing.T, file string) string {
	t.Helper()
	content, err := os.ReadFile(filepath.Join(house.Root(), file))
	if err != nil {
		t.Fatal(err)
	}
	return string(content)
}

// Package house puts up in containers what deploy/compose.yaml describes: the
// images, configurations and settings that operations would run. Tests share
// one house and keep apart by yard, the unit of consistency.
//
// Nothing is pulled from anywhere: scripts/images builds the images, or
// variables name others (see the compose file). A missing engine or image is
// an error, never a reason to skip.
package house

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"time"

	"github.com/compose-spec/compose-go/v2/types"
	"github.com/moby/moby/client"
	"github.com/nats-io/nats.go"
	"github.com/redis/go-redis/v9"
	"github.com/testcontainers/testcontainers-go"
	"github.com/testcontainers/testcontainers-go/log"
	"github.com/testcontainers/testcontainers-go/network"
	"golang.org/x/sync/errgroup"

	"spanyard.example/integration/internal/await"
)

// label marks everything that a run makes, so that the next one can sweep up
// after a run that was ended by force.
const label = "spanyard.example.integration"

// Ports inside the containers.
const (
	ServicePort = 7400
	natsPort    = 4222
	natsMonitor = 8222
	redisPort   = 6379
)

// Services of the house, in the order of the flow of work.
var Services = []string{"layout", "stock", "dispatch"}

// NATSNodes of the house.
var NATSNodes = []string{"nats-1", "nats-2", "nats-3"}

// House is a running deployment.
type House struct {
	project    *types.Project
	docker     *testcontainers.DockerClient
	network    *testcontainers.DockerNetwork
	containers map[string]*Container
}

// Open starts NATS and Redis, then the services. settings override those in
// deploy/config for every service, by the names that they have there. Close
// the house also when Open fails.
func Open(ctx context.Context, settings map[string]string) (*House, error) {
	h := &House{containers: map[string]*Container{}}
	var err error
	if h.project, err = Compose(ctx); err != nil {
		return h, err
	}
	if err := h.connect(ctx); err != nil {
		return h, err
	}
	if err := h.requireImages(ctx); err != nil {
		return h, err
	}
	if err := h.sweep(ctx); err != nil {
		return h, err
	}
	if h.network, err = network.New(ctx, network.WithLabels(map[string]string{label: "network"})); err != nil {
		return h, fmt.Errorf("make a network: %w", err)
	}
	if err := h.startAll(ctx, settings); err != nil {
		return h, err
	}
	return h, nil
}

func (h *House) startAll(ctx context.Context, settings map[string]string) error {
	below, within := errgroup.WithContext(ctx)
	for _, name := range NATSNodes {
		if err := h.add(name, name, map[string]string{"NATS_MAX_FILE_STORE": "20GB"}, natsPort, natsMonitor); err != nil {
			return err
		}
		below.Go(func() error { return h.containers[name].create(within) })
	}
	if err := h.add("redis", "redis", nil, redisPort); err != nil {
		return err
	}
	below.Go(func() error { return h.containers["redis"].create(within) })
	if err := below.Wait(); err != nil {
		return err
	}
	for _, name := range NATSNodes {
		if err := h.AwaitNATS(ctx, name); err != nil {
			return err
		}
	}
	above, within := errgroup.WithContext(ctx)
	for _, name := range Services {
		env := map[string]string{}
		for setting, value := range settings {
			env["SPANYARD_"+strings.ToUpper(name)+"_"+strings.ToUpper(setting)] = value
		}
		if err := h.add(name, name, env, ServicePort); err != nil {
			return err
		}
		above.Go(func() error { return h.containers[name].create(within) })
	}
	if err := above.Wait(); err != nil {
		return err
	}
	for _, name := range Services {
		if err := h.AwaitService(ctx, name); err != nil {
			return err
		}
	}
	return nil
}

// connect finds the engine.
func (h *House) connect(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	// The library would start a container that cleans up after a lost run, from
	// an image of its own. Sweeping by label does the same without it.
	if err := os.Setenv("TESTCONTAINERS_RYUK_DISABLED", "true"); err != nil {
		return err
	}
	log.SetDefault(quiet{})
	var err error
	if h.docker, err = testcontainers.NewDockerClientWithOpts(ctx); err == nil {
		_, err = h.docker.Ping(ctx, client.PingOptions{})
	}
	if err != nil {
		return fmt.Errorf("no engine for containers answers, and these tests need one: scripts/test installs and starts it: %w", err)
	}
	return nil
}

// requireImages names every image that is missing, before anything is started.
func (h *House) requireImages(ctx context.Context) error {
	var missing []error
	for _, service := range h.project.Services {
		if _, err := h.docker.ImageInspect(ctx, service.Image); err != nil {
			missing = append(missing, fmt.Errorf("there is no image %s: build the images with scripts/images: %w", service.Image, err))
		}
	}
	return errors.Join(missing...)
}

// sweep removes what this run or an earlier one made; two runs cannot share an
// engine.
func (h *House) sweep(ctx context.Context) error {
	ours := client.Filters{}.Add("label", label)
	containers, err := h.docker.ContainerList(ctx, client.ContainerListOptions{All: true, Filters: ours})
	if err != nil {
		return fmt.Errorf("list old containers: %w", err)
	}
	for _, c := range containers.Items {
		if _, err := h.docker.ContainerRemove(ctx, c.ID, client.ContainerRemoveOptions{Force: true, RemoveVolumes: true}); err != nil {
			return fmt.Errorf("remove an old container: %w", err)
		}
	}
	volumes, err := h.docker.VolumeList(ctx, client.VolumeListOptions{Filters: ours})
	if err != nil {
		return fmt.Errorf("list old volumes: %w", err)
	}
	for _, v := range volumes.Items {
		if _, err := h.docker.VolumeRemove(ctx, v.Name, client.VolumeRemoveOptions{}); err != nil {
			return fmt.Errorf("remove an old volume: %w", err)
		}
	}
	networks, err := h.docker.NetworkList(ctx, client.NetworkListOptions{Filters: ours})
	if err != nil {
		return fmt.Errorf("list old networks: %w", err)
	}
	for _, n := range networks.Items {
		if _, err := h.docker.NetworkRemove(ctx, n.ID, client.NetworkRemoveOptions{}); err != nil {
			return fmt.Errorf("remove an old network: %w", err)
		}
	}
	return nil
}

// Close takes the house down and leaves nothing behind.
func (h *House) Close(ctx context.Context) error {
	if h.docker == nil {
		return nil
	}
	return errors.Join(h.sweep(ctx), h.docker.Close())
}

// add prepares a container called name from the compose file's entry of a
// service.
func (h *House) add(name, service string, env map[string]string, ports ...int) error {
	entry, err := h.project.GetService(service)
	if err != nil {
		return fmt.Errorf("deploy/compose.yaml: %w", err)
	}
	c, err := h.newContainer(name, entry, env, ports...)
	if err != nil {
		return err
	}
	h.containers[name] = c
	return nil
}

// Container returns a container by name; it is a mistake of the test to ask
// for one that is not there.
func (h *House) Container(name string) *Container {
	return h.containers[name]
}

// Another starts one more container of a service, with the settings of the
// first.
func (h *House) Another(ctx context.Context, service, name string) error {
	if err := h.add(name, service, h.containers[service].env, ServicePort); err != nil {
		return err
	}
	if err := h.containers[name].create(ctx); err != nil {
		return err
	}
	return h.AwaitService(ctx, name)
}

// Once runs a container of a service with other settings and arguments until
// it ends, and returns its exit status and what it said.
func (h *House) Once(ctx context.Context, service string, env map[string]string, arguments ...string) (int, string, error) {
	name := service + "-once"
	if err := h.add(name, service, env); err != nil {
		return 0, "", err
	}
	c := h.containers[name]
	if err := c.create(ctx, arguments...); err != nil {
		return 0, "", err
	}
	var status int
	err := await.Until(ctx, name+" to end", func(ctx context.Context) error {
		state, err := c.running.State(ctx)
		if err != nil {
			return err
		}
		if state.Running {
			return errors.New("it is still running")
		}
		status = state.ExitCode
		return nil
	})
	return status, c.Log(ctx), err
}

// Log returns what the container has printed.
func (c *Container) Log(ctx context.Context) string {
	if c.running == nil {
		return "it was never started"
	}
	from, err := c.running.Logs(ctx)
	if err != nil {
		return err.Error()
	}
	defer from.Close()
	text, err := io.ReadAll(from)
	if err != nil {
		return err.Error()
	}
	return string(text)
}

// AwaitNATS waits until a node is healthy, its streams included, and the
// leader of the cluster counts all nodes in: before that, a stream with a copy
// on each node cannot be made.
func (h *House) AwaitNATS(ctx context.Context, name string) error {
	ctx, cancel := context.WithTimeout(ctx, 60*time.Second)
	defer cancel()
	c := h.containers[name]
	err := await.Until(ctx, name, func(ctx context.Context) error {
		if err := c.alive(ctx); err != nil {
			return err
		}
		if _, err := c.monitor(ctx, "/healthz"); err != nil {
			return err
		}
		return h.complete(ctx)
	})
	if err != nil {
		return fmt.Errorf("%w\n%s", err, c.Log(context.WithoutCancel(ctx)))
	}
	return nil
}

// complete asks the nodes for the one that leads the cluster, and that one for
// the others.
func (h *House) complete(ctx context.Context) error {
	for _, name := range NATSNodes {
		said, err := h.containers[name].monitor(ctx, "/jsz")
		if err != nil {
			return err
		}
		var state struct {
			Meta struct {
				Leader   string `json:"leader"`
				Replicas []struct {
					Name    string `json:"name"`
					Current bool   `json:"current"`
					Offline bool   `json:"offline"`
				} `json:"replicas"`
			} `json:"meta_cluster"`
		}
		if err := json.Unmarshal(said, &state); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if state.Meta.Leader != name {
			continue
		}
		if len(state.Meta.Replicas) != len(NATSNodes)-1 {
			return fmt.Errorf("%s leads %d others", name, len(state.Meta.Replicas))
		}
		for _, other := range state.Meta.Replicas {
			if other.Offline || !other.Current {
				return fmt.Errorf("%s does not count %s in", name, other.Name)
			}
		}
		return nil
	}
	return errors.New("the cluster has no leader")
}

// monitor asks a node's own web server.
func (c *Container) monitor(ctx context.Context, path string) ([]byte, error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+c.Address(natsMonitor)+path, nil)
	if err != nil {
		return nil, err
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	said, err := io.ReadAll(answer.Body)
	if err == nil && answer.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s%s: %s: %s", c.Name, path, answer.Status, said)
	}
	return said, err
}

// NATS connects to the cluster as the services do.
func (h *House) NATS() (*nats.Conn, error) {
	urls := ""
	for _, name := range NATSNodes {
		urls += ",nats://" + h.containers[name].Address(natsPort)
	}
	// The addresses that the nodes tell of each other lead into the network of
	// the containers.
	return nats.Connect(urls[1:], nats.IgnoreDiscoveredServers(), nats.MaxReconnects(-1),
		nats.ReconnectWait(100*time.Millisecond), nats.Name("integration tests"))
}

// Redis connects to the view.
func (h *House) Redis() *redis.Client {
	return redis.NewClient(&redis.Options{Addr: h.containers["redis"].Address(redisPort)})
}

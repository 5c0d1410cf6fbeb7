package house

import (
	"context"
	"fmt"
	"io"
	"maps"
	"net"
	"net/netip"
	"strconv"

	"github.com/compose-spec/compose-go/v2/types"
	"github.com/moby/moby/api/types/container"
	"github.com/moby/moby/api/types/mount"
	"github.com/moby/moby/api/types/network"
	"github.com/moby/moby/client"
	"github.com/testcontainers/testcontainers-go"

	"spanyard.example/integration/internal/await"
)

// Container is one container of the house. Its published ports stay the same
// over a restart, so that clients find it again.
type Container struct {
	Name string

	house   *House
	service types.ServiceConfig
	env     map[string]string
	ports   network.PortMap
	running testcontainers.Container
}

// newContainer prepares a container from its entry in the compose file. ports
// are published on the loopback.
func (h *House) newContainer(name string, service types.ServiceConfig, env map[string]string, ports ...int) (*Container, error) {
	c := &Container{Name: name, house: h, service: service, env: map[string]string{}, ports: network.PortMap{}}
	for key, value := range service.Environment {
		if value != nil {
			c.env[key] = *value
		}
	}
	maps.Copy(c.env, env)
	for _, port := range ports {
		free, err := freePort()
		if err != nil {
			return nil, err
		}
		inside, ok := network.PortFrom(uint16(port), network.TCP)
		if !ok {
			return nil, fmt.Errorf("%s: %d is no port", name, port)
		}
		c.ports[inside] = []network.PortBinding{{HostIP: loopback, HostPort: strconv.Itoa(free)}}
	}
	return c, nil
}

var loopback = netip.MustParseAddr("127.0.0.1")

func freePort() (int, error) {
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer lis.Close()
	return lis.Addr().(*net.TCPAddr).Port, nil
}

// Address returns where a port of the container answers on this machine.
func (c *Container) Address(port int) string {
	inside, _ := network.PortFrom(uint16(port), network.TCP)
	bound := c.ports[inside]
	if len(bound) == 0 {
		return "unpublished port " + strconv.Itoa(port) + " of " + c.Name
	}
	return net.JoinHostPort("127.0.0.1", bound[0].HostPort)
}

// create makes and starts the container.
func (c *Container) create(ctx context.Context, command ...string) error {
	if len(command) == 0 {
		command = c.service.Command
	}
	exposed := make([]string, 0, len(c.ports))
	for port := range c.ports {
		exposed = append(exposed, port.String())
	}
	running, err := testcontainers.GenericContainer(ctx, testcontainers.GenericContainerRequest{
		Started: true,
		Logger:  quiet{},
		ContainerRequest: testcontainers.ContainerRequest{
			Image:              c.service.Image,
			Entrypoint:         c.service.Entrypoint,
			Cmd:                command,
			Env:                c.env,
			Labels:             map[string]string{label: c.house.network.Name},
			Networks:           []string{c.house.network.Name},
			NetworkAliases:     map[string][]string{c.house.network.Name: {c.Name}},
			ExposedPorts:       exposed,
			HostConfigModifier: c.hostConfig,
		},
	})
	if running != nil {
		c.running = running
	}
	if err != nil {
		return fmt.Errorf("start container %s: %w", c.Name, err)
	}
	return nil
}

// hostConfig carries over what the compose file says. Restarting is left out:
// the tests decide when a container comes back.
func (c *Container) hostConfig(hc *container.HostConfig) {
	hc.PortBindings = c.ports
	hc.ReadonlyRootfs = c.service.ReadOnly
	hc.CapDrop = c.service.CapDrop
	hc.SecurityOpt = c.service.SecurityOpt
	for _, v := range c.service.Volumes {
		source := v.Source
		if v.Type == types.VolumeTypeVolume {
			source = c.house.network.Name + "-" + c.Name + "-" + v.Source
		}
		hc.Mounts = append(hc.Mounts, mount.Mount{
			Type: mount.Type(v.Type), Source: source, Target: v.Target, ReadOnly: v.ReadOnly,
			VolumeOptions: volumeOptions(v.Type, c.house.network.Name),
		})
	}
}

func volumeOptions(kind, run string) *mount.VolumeOptions {
	if kind != types.VolumeTypeVolume {
		return nil
	}
	return &mount.VolumeOptions{Labels: map[string]string{label: run}}
}

// Kill ends the container's process at once, as kill -9 does. Its volumes
// stay.
func (c *Container) Kill(ctx context.Context) error {
	_, err := c.house.docker.ContainerKill(ctx, c.running.GetContainerID(), client.ContainerKillOptions{Signal: "KILL"})
	if err != nil {
		return fmt.Errorf("kill -9 %s: %w", c.Name, err)
	}
	return nil
}

// Stop asks the container's process to end and waits for it.
func (c *Container) Stop(ctx context.Context) error {
	seconds := 30
	_, err := c.house.docker.ContainerStop(ctx, c.running.GetContainerID(), client.ContainerStopOptions{Timeout: &seconds})
	if err != nil {
		return fmt.Errorf("stop %s: %w", c.Name, err)
	}
	return nil
}

// Start starts a container that was killed or stopped.
func (c *Container) Start(ctx context.Context) error {
	_, err := c.house.docker.ContainerStart(ctx, c.running.GetContainerID(), client.ContainerStartOptions{})
	if err != nil {
		return fmt.Errorf("start %s again: %w", c.Name, err)
	}
	return nil
}

// Replace takes the container away for good and puts an empty new one in its
// place.
func (c *Container) Replace(ctx context.Context) error {
	_, err := c.house.docker.ContainerRemove(ctx, c.running.GetContainerID(),
		client.ContainerRemoveOptions{Force: true, RemoveVolumes: true})
	if err != nil {
		return fmt.Errorf("remove %s: %w", c.Name, err)
	}
	return c.create(ctx)
}

// Cut takes the container off the network; it goes on running.
func (c *Container) Cut(ctx context.Context) error {
	_, err := c.house.docker.NetworkDisconnect(ctx, c.house.network.Name,
		client.NetworkDisconnectOptions{Container: c.running.GetContainerID(), Force: true})
	if err != nil {
		return fmt.Errorf("cut off %s: %w", c.Name, err)
	}
	return nil
}

// Heal puts a container that was cut off back on the network.
func (c *Container) Heal(ctx context.Context) error {
	_, err := c.house.docker.NetworkConnect(ctx, c.house.network.Name, client.NetworkConnectOptions{
		Container:      c.running.GetContainerID(),
		EndpointConfig: &network.EndpointSettings{Aliases: []string{c.Name}},
	})
	if err != nil {
		return fmt.Errorf("connect %s again: %w", c.Name, err)
	}
	return nil
}

// Inspect returns what the engine knows of the container.
func (c *Container) Inspect(ctx context.Context) (container.InspectResponse, error) {
	found, err := c.house.docker.ContainerInspect(ctx, c.running.GetContainerID(), client.ContainerInspectOptions{})
	return found.Container, err
}

// Probe runs the image's own health check in the container; an image without
// one is an error. Not every engine runs it by itself.
func (c *Container) Probe(ctx context.Context) error {
	now, err := c.Inspect(ctx)
	if err != nil {
		return err
	}
	check := now.Config.Healthcheck
	if check == nil || len(check.Test) < 2 || check.Test[0] != "CMD" {
		return fmt.Errorf("%s has no health check: %w", c.Name, await.ErrHopeless)
	}
	status, said, err := c.running.Exec(ctx, check.Test[1:])
	if err != nil {
		return err
	}
	if status != 0 {
		text, _ := io.ReadAll(said) // only for the message
		return fmt.Errorf("the health check of %s ends with status %d: %s", c.Name, status, text)
	}
	return nil
}

// alive reports a container that has ended; nobody starts it again.
func (c *Container) alive(ctx context.Context) error {
	now, err := c.Inspect(ctx)
	if err == nil && !now.State.Running {
		err = fmt.Errorf("container %s has ended with status %d: %w", c.Name, now.State.ExitCode, await.ErrHopeless)
	}
	return err
}

// quiet keeps the library's chatter out of the test's output.
type quiet struct{}

func (quiet) Printf(string, ...any) {}

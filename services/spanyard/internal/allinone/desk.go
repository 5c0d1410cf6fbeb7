package allinone

import (
	"context"
	"crypto/rand"
	"net"
	"path/filepath"

	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"

	"spanyard.example/services/desk"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
)

// Desk is what people see of the house.
type Desk struct {
	// Listen is the address for browsers, host:port; port 0 takes a free one.
	Listen string
	// Yard that the desk belongs to.
	Yard string
	// Demo people, whose places anybody may take who was let in by the printed
	// address. They are for demonstrations, on this machine alone.
	Demo []auth.Person
}

// Names of the files in the data folder that the desk needs.
const (
	keyFile      = "sign-in-key.pem"
	accountsFile = "accounts.json"
)

// AccountsFile of a data folder.
func AccountsFile(data string) string { return filepath.Join(data, accountsFile) }

// openKey reads the key of a data folder, or makes it.
func openKey(data string) (*auth.Signer, *auth.Keys, error) {
	signer, err := auth.OpenSigner(filepath.Join(data, keyFile))
	if err != nil {
		return nil, nil, fault.New(fault.Refused, "KEY_UNUSABLE", "The key for sign-in in the data folder cannot be used.").Because(err)
	}
	keys, err := auth.NewKeys(signer.Public())
	return signer, keys, err
}

// access of the house's servers: people show tokens that its own key signed.
// The command line on the same machine needs none at the door.
func (h *House) access(ownMachine bool) rpc.Access {
	return rpc.Access{Keys: h.keys, OwnMachine: ownMachine, Now: h.options.Clock.Now}
}

// startDesk serves pages to browsers. The desk reaches the services through a
// server of its own in memory that admits nobody without a token.
func startDesk(h *House) (func(), error) {
	o := h.options.Desk
	if o == nil {
		return func() {}, nil
	}
	line, stopInner, err := h.innerDoor()
	if err != nil {
		return nil, err
	}
	listener, err := (&net.ListenConfig{}).Listen(h.base, "tcp", o.Listen)
	if err != nil {
		stopInner()
		return nil, listenFault(o.Listen, "--desk", err)
	}
	demo, key := o.Demo, ""
	if tcp, ok := listener.Addr().(*net.TCPAddr); len(demo) > 0 && ok && tcp.IP.IsLoopback() {
		key = rand.Text()
	} else {
		demo = nil // never where others can reach it
	}
	d, err := desk.New(desk.Deps{
		Yard: o.Yard, Layout: line, Stock: line, Dispatch: line, Signer: h.signer, Accounts: AccountsFile(h.options.Data),
		Demo: demo, DemoKey: key, Clock: h.options.Clock, Log: h.logOf("desk"),
	})
	if err != nil {
		h.closeQuietly("desk listener", listener)
		stopInner()
		return nil, err
	}
	h.desk = "http://" + listener.Addr().String() + "/"
	if key != "" {
		h.desk += "enter?key=" + key
	}
	stop := h.keep("desk", func(ctx context.Context) error { return d.Serve(ctx, listener) })
	return func() {
		stop()
		stopInner()
	}, nil
}

// innerDoor serves all services in memory to callers with tokens alone.
func (h *House) innerDoor() (*grpc.ClientConn, func(), error) {
	server, err := rpc.NewServer(rpc.ServerOptions{Name: "desk line", Log: h.log, Health: h.Healthy, StopTime: stopTime, Access: h.access(false)},
		h.services["layout"].Register, h.services["stock"].Register, h.services["dispatch"].Register)
	if err != nil {
		return nil, nil, err
	}
	listener := bufconn.Listen(lineBytes)
	line, err := rpc.Dial("passthrough:///desk", grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return listener.DialContext(ctx)
	}))
	if err != nil {
		return nil, nil, err
	}
	stop := h.keep("desk line server", func(ctx context.Context) error { return server.Serve(ctx, listener) })
	return line, func() {
		h.closeQuietly("desk line", line)
		stop()
	}, nil
}

// DeskAddress is what a browser opens; empty without a desk. In a
// demonstration it carries the key that lets its reader in.
func (h *House) DeskAddress() string { return h.desk }

package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/spanyard/internal/show"
)

// maxFileBytes of a file that is sent to a service; its contract allows no more.
const maxFileBytes = 8 << 20

// pageSize of lists that are read to their end.
const pageSize = 1000

// service is one of the yard's services.
type service string

// The services that commands ask.
const (
	layoutService   service = "layout"
	stockService    service = "stock"
	dispatchService service = "dispatch"
)

// services in the order of the departments.
var services = []service{layoutService, stockService, dispatchService}

// flag that says where a service listens that runs separately.
func (s service) flag() string { return string(s) + "-server" }

// variable of the environment that says the same. Those that begin with
// SPANYARD_ and a service are the settings of the service itself.
func (s service) variable() string { return "SPANYARD_SERVER_" + strings.ToUpper(string(s)) }

// address of a service: its own where one is given, else the program's.
func (p *program) address(s service) (address, flag string) {
	if own := p.separate[s]; own != nil && *own != "" {
		return *own, "--" + s.flag()
	}
	return p.server, "--server"
}

// dial opens the connection to a service when the first call needs it. Services
// at one address share it.
func (p *program) dial(s service) (*grpc.ClientConn, error) {
	address, flag := p.address(s)
	if conn := p.conns[address]; conn != nil {
		return conn, nil
	}
	options := []grpc.DialOption{grpc.WithChainUnaryInterceptor(p.patience), grpc.WithChainStreamInterceptor(p.asking)}
	if p.accessKey != "" {
		signer, err := p.signer()
		if err != nil {
			return nil, err
		}
		options = append(options, rpc.SignedBy(signer, auth.Person{Name: p.actor, Roles: auth.People}, time.Now)...)
	}
	conn, err := rpc.Dial(address, options...)
	if err != nil {
		return nil, fault.New(fault.Invalid, "SERVER_INVALID", "%q is not an address of a program; give host:port with %s.", address, flag).Because(err)
	}
	if p.conns == nil {
		p.conns = map[string]*grpc.ClientConn{}
	}
	p.conns[address] = conn
	return conn, nil
}

// signer signs with the key that was given.
func (p *program) signer() (*auth.Signer, error) {
	signer, err := auth.ReadSigner(p.accessKey)
	if err != nil {
		return nil, fault.New(fault.Invalid, "KEY_UNREADABLE", "%s is no private key that can be signed with; see deploy/README.md.", p.accessKey).Because(err)
	}
	return signer, nil
}

// hangUp closes all connections.
func (p *program) hangUp() {
	for _, conn := range p.conns {
		conn.Close()
	}
	p.conns = nil
}

// patience says on standard error that a call goes on when it takes longer
// than a second.
func (p *program) patience(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
	p.asked = serviceOf(method)
	stop := p.progress("Waiting for " + cc.Target())
	defer stop()
	return invoke(ctx, method, req, reply, cc, opts...)
}

// serviceOf returns the service that a method belongs to, as its name says:
// /spanyard.stock.v1.StockService/GetBatch.
func serviceOf(method string) service {
	parts := strings.SplitN(method, ".", 3)
	return service(parts[min(1, len(parts)-1)])
}

// asking notes where a feed comes from.
func (p *program) asking(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, open grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	p.asked = serviceOf(method)
	return open(ctx, desc, cc, method, opts...)
}

// progress shows that something goes on once it has taken a second: one line
// that counts the seconds on a terminal, one plain line elsewhere. The
// function it returns ends it.
func (p *program) progress(doing string) (stop func()) {
	done := make(chan struct{})
	var wait sync.WaitGroup
	wait.Go(func() {
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		for seconds := 1; ; seconds++ {
			select {
			case <-done:
				if seconds > 1 && isTerminal(p.errw) {
					fmt.Fprint(p.errw, "\r\x1b[K")
				}
				return
			case <-tick.C:
				switch {
				case isTerminal(p.errw):
					fmt.Fprintf(p.errw, "\r%s, %d s ... ", doing, seconds)
				case seconds == 1:
					fmt.Fprintf(p.errw, "%s ...\n", doing)
				}
			}
		}
	})
	return func() {
		close(done)
		wait.Wait()
	}
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

func (p *program) layout() (layoutv1.LayoutServiceClient, error) {
	conn, err := p.dial(layoutService)
	if err != nil {
		return nil, err
	}
	return layoutv1.NewLayoutServiceClient(conn), nil
}

func (p *program) stock() (stockv1.StockServiceClient, error) {
	conn, err := p.dial(stockService)
	if err != nil {
		return nil, err
	}
	return stockv1.NewStockServiceClient(conn), nil
}

func (p *program) dispatch() (dispatchv1.DispatchServiceClient, error) {
	conn, err := p.dial(dispatchService)
	if err != nil {
		return nil, err
	}
	return dispatchv1.NewDispatchServiceClient(conn), nil
}

// as returns the context of calls made in the user's name.
func (p *program) as(ctx context.Context) context.Context { return rpc.AsActor(ctx, p.actor) }

// planMargin is for what planning does beside improving the plan.
const planMargin = 30 * time.Second

// planning is as, with time for a budget.
func (p *program) planning(ctx context.Context, budgetMS int32) (context.Context, context.CancelFunc) {
	return context.WithTimeout(p.as(ctx), time.Duration(budgetMS)*time.Millisecond+planMargin)
}

// request returns the id of a change: the one to repeat, or a new one. It is
// told when somebody may want to repeat it.
func (p *program) request() string {
	id := p.requestID
	if id == "" {
		id = uuid.NewString()
	}
	if p.verbose || p.json {
		fmt.Fprintln(p.errw, "request id "+id)
	}
	return id
}

// answer prints a result: the message itself as JSON, or text made from it.
func (p *program) answer(m proto.Message, text func(w io.Writer)) error {
	if !p.json {
		text(p.out)
		return nil
	}
	return writeJSON(p.out, m, true)
}

// writeJSON prints a message in the JSON form of protobuf. Its spacing is our
// own: the library's changes from build to build on purpose.
func writeJSON(w io.Writer, m proto.Message, pretty bool) error {
	data, err := protojson.MarshalOptions{EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if pretty {
		err = json.Indent(&b, data, "", "  ")
	} else {
		err = json.Compact(&b, data)
	}
	if err != nil {
		return err
	}
	b.WriteByte('\n')
	_, err = w.Write(b.Bytes())
	return err
}

// said prints a sentence as the result of a change.
func said(format string, args ...any) func(io.Writer) {
	return func(w io.Writer) { fmt.Fprintf(w, format+"\n", args...) }
}

// readFile returns the name of a file for messages, and its content.
func readFile(path string) (string, []byte, error) {
	name := filepath.Base(path)
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return "", nil, fault.New(fault.NotFound, "FILE_NOT_FOUND", "There is no file %s that can be read.", path).Because(err)
	case info.IsDir():
		return "", nil, fault.New(fault.Invalid, "FILE_IS_FOLDER", "%s is a folder; name a file in it.", path)
	case info.Size() > maxFileBytes:
		return "", nil, fault.New(fault.Invalid, "FILE_TOO_LARGE", "%s is larger than %d MiB; split it.", path, maxFileBytes>>20)
	}
	content, err := os.ReadFile(path)
	if err != nil {
		return "", nil, fault.New(fault.Refused, "FILE_UNREADABLE", "%s cannot be read.", path).Because(err)
	}
	if len(content) == 0 {
		return "", nil, fault.New(fault.Invalid, "EMPTY_FILE", "%s is empty.", path)
	}
	return name, content, nil
}

// zone of the yard, for times on paper; UTC as long as no rules are set.
func (p *program) zone(ctx context.Context) (*time.Location, error) {
	c, err := p.dispatch()
	if err != nil {
		return nil, err
	}
	return zoneOf(ctx, c, p.yard)
}

func zoneOf(ctx context.Context, c dispatchv1.DispatchServiceClient, yard string) (*time.Location, error) {
	rules, err := c.GetYardRules(ctx, &dispatchv1.GetYardRulesRequest{Yard: yard})
	if fault.KindOf(err) == fault.NotFound {
		return time.UTC, nil
	}
	if err != nil {
		return nil, err
	}
	zone, err := time.LoadLocation(rules.GetRules().GetTimeZone())
	if err != nil {
		return time.UTC, nil //nolint:nilerr // a zone this machine does not know only costs the local hour
	}
	return zone, nil
}

// paper returns the names and limits that printed mornings need.
func paper(ctx context.Context, c dispatchv1.DispatchServiceClient, yard string) (show.Yard, error) {
	y := show.Yard{ID: yard, Trucks: map[string]*dispatcheventv1.Truck{}, Sites: map[string]*dispatcheventv1.Site{}}
	zone, err := zoneOf(ctx, c, yard)
	if err != nil {
		return y, err
	}
	y.Zone = zone
	trucks, err := c.ListTrucks(ctx, &dispatchv1.ListTrucksRequest{Yard: yard})
	if err != nil {
		return y, err
	}
	for _, t := range trucks.GetTrucks() {
		y.Trucks[t.GetTruckId()] = t
	}
	sites, err := c.ListSites(ctx, &dispatchv1.ListSitesRequest{Yard: yard})
	if err != nil {
		return y, err
	}
	for _, s := range sites.GetSites() {
		y.Sites[s.GetSiteId()] = s
	}
	return y, nil
}

package shell

import (
	"fmt"
	"net/http"
	"strconv"
	"time"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// LivePages are the feeds: server-sent events whose id is the position in the
// ledger, so that a browser that was cut off goes on where it was.
func LivePages() []Page {
	return []Page{
		{Pattern: "GET /live/stock", Live: true, Handle: liveStock},
		{Pattern: "GET /live/dispatch", Live: true, Handle: liveDispatch},
	}
}

// after is the position that the browser has seen.
func (r *Request) after() uint64 {
	text := r.R.Header.Get("Last-Event-ID")
	if text == "" {
		text = r.R.URL.Query().Get("after")
	}
	position, err := strconv.ParseUint(text, 10, 64)
	if err != nil {
		return 0
	}
	return position
}

func liveStock(r *Request) error {
	feed, err := r.shell.Stock.WatchStock(r.Ctx(), &stockv1.WatchStockRequest{Yard: r.shell.Yard, AfterPosition: r.after()})
	if err != nil {
		return err
	}
	return stream(r, feed.Recv)
}

func liveDispatch(r *Request) error {
	feed, err := r.shell.Dispatch.WatchPicks(r.Ctx(), &dispatchv1.WatchPicksRequest{Yard: r.shell.Yard, AfterPosition: r.after()})
	if err != nil {
		return err
	}
	return stream(r, feed.Recv)
}

// happened is one message of a feed.
type happened interface {
	proto.Message
	GetPosition() uint64
}

// stream sends messages on until the browser or the service goes. The browser
// comes back by itself.
func stream[M happened](r *Request, receive func() (M, error)) error {
	out := http.NewResponseController(r.W)
	if err := out.SetWriteDeadline(time.Time{}); err != nil {
		return err
	}
	r.W.Header().Set("Content-Type", "text/event-stream")
	fmt.Fprint(r.W, "retry: 1000\n\n")
	if err := out.Flush(); err != nil {
		return err
	}
	for {
		m, err := receive()
		if err != nil {
			return nil //nolint:nilerr // the browser asks again from the last position
		}
		data, err := protojson.Marshal(m)
		if err != nil {
			return nil //nolint:nilerr // as above
		}
		if _, err := fmt.Fprintf(r.W, "id: %d\nevent: happened\ndata: %s\n\n", m.GetPosition(), data); err != nil {
			return nil //nolint:nilerr // the browser has gone
		}
		if err := out.Flush(); err != nil {
			return nil //nolint:nilerr // the browser has gone
		}
	}
}

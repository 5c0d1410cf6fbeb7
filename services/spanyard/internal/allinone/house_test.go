package allinone_test

import (
	"context"
	"log/slog"
	"net"
	"testing"
	"time"

	"go.uber.org/goleak"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/spanyard/demo"
	"spanyard.example/services/spanyard/internal/allinone"
	"spanyard.example/services/spanyard/internal/yardfile"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func options(t *testing.T, data string) allinone.Options {
	t.Helper()
	return allinone.Options{
		Data: data, Listen: "127.0.0.1:0", Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn})),
		Clock: clock.StartingAt(time.Date(2027, 3, 16, 15, 30, 0, 0, time.UTC)),
	}
}

func start(t *testing.T, data string) *allinone.House {
	t.Helper()
	h, err := allinone.Start(t.Context(), options(t, data))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(h.Stop)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if err := h.Ready(ctx); err != nil {
		t.Fatal(err)
	}
	return h
}

// ask does something with a client of the house.
func ask(t *testing.T, h *allinone.House, do func(context.Context, layoutv1.LayoutServiceClient) error) error {
	t.Helper()
	conn, err := rpc.Dial(h.Address())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	return do(rpc.AsActor(t.Context(), "Pim Quillbottle"), layoutv1.NewLayoutServiceClient(conn))
}

func TestHouseKeepsItsDataOverARestart(t *testing.T) {
	data := t.TempDir()
	content, err := demo.Files.ReadFile("catalogue.yaml")
	if err != nil {
		t.Fatal(err)
	}
	set := &layoutv1.SetCatalogueRequest{}
	if err := yardfile.Read("catalogue.yaml", content, set); err != nil {
		t.Fatal(err)
	}
	set.Yard, set.RequestId = "y1", "r1"
	h := start(t, data)
	if err := ask(t, h, func(ctx context.Context, c layoutv1.LayoutServiceClient) error {
		_, err := c.SetCatalogue(ctx, set)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	h.Stop()
	h = start(t, data)
	if err := ask(t, h, func(ctx context.Context, c layoutv1.LayoutServiceClient) error {
		got, err := c.GetCatalogue(ctx, &layoutv1.GetCatalogueRequest{Yard: "y1"})
		if err == nil && got.GetProfiles()[0].GetName() != "T150" {
			t.Errorf("got %v", got)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

func TestHouseRefusesAFolderInUse(t *testing.T) {
	data := t.TempDir()
	start(t, data)
	if _, err := allinone.Start(t.Context(), options(t, data)); fault.ReasonOf(err) != "DATA_FOLDER_IN_USE" {
		t.Errorf("got %v", err)
	}
}

func TestHouseRefusesAnAddressInUse(t *testing.T) {
	taken, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	o := options(t, t.TempDir())
	o.Listen = taken.Addr().String()
	if _, err := allinone.Start(t.Context(), o); fault.ReasonOf(err) != "ADDRESS_IN_USE" {
		t.Errorf("got %v", err)
	}
	o.Listen = "nowhere"
	if _, err := allinone.Start(t.Context(), o); fault.ReasonOf(err) != "ADDRESS_UNUSABLE" {
		t.Errorf("got %v", err)
	}
}

func TestHouseDoesNotStartWhenStopped(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := allinone.Start(ctx, options(t, t.TempDir())); err == nil {
		t.Error("a stopped context started a house")
	}
}

package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/kit/fault"
)

const (
	// travelSetting names the address of a routing engine; nothing is asked of any
	// without it.
	travelSetting = "SPANYARD_TRAVEL_TABLE"
	travelTime    = time.Minute
	maxTableBytes = 64 << 20
)

func (p *program) siteTravelFetchCommand() *cobra.Command {
	var address string
	c := &cobra.Command{
		Use:   "fetch",
		Short: "Replace the table of known ways, from a routing engine",
		Long: `Asks a routing engine for the ways between the yard and all sites, and replaces the
table of known ways by its answer. It is asked once, here, and never by the services.
The address has {coordinates} where longitude,latitude pairs with semicolons between
go; the answer is JSON with the matrices "durations" (seconds) and "distances"
(metres). Nothing is asked unless --url or SPANYARD_TRAVEL_TABLE is given: the places
of your sites go to whoever answers there.`,
		Example: "  spanyard site travel fetch --url 'http://127.0.0.1:5000/table/{coordinates}'",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if address == "" {
				return fault.New(fault.Invalid, "NO_TABLE", "Say which routing engine to ask: --url, or %s.", travelSetting)
			}
			return p.fetchTravel(cmd.Context(), address)
		},
	}
	c.Flags().StringVar(&address, "url", os.Getenv(travelSetting), "address with {coordinates} in it; "+travelSetting+" if not given")
	return c
}

func (p *program) fetchTravel(ctx context.Context, address string) error {
	c, err := p.dispatch()
	if err != nil {
		return err
	}
	rules, err := c.GetYardRules(p.as(ctx), &dispatchv1.GetYardRulesRequest{Yard: p.yard})
	if err != nil {
		return err
	}
	sites, err := c.ListSites(p.as(ctx), &dispatchv1.ListSitesRequest{Yard: p.yard})
	if err != nil {
		return err
	}
	ids, places := []string{""}, []*commonv1.Place{rules.GetRules().GetPlace()}
	for _, s := range sites.GetSites() {
		ids, places = append(ids, s.GetSiteId()), append(places, s.GetPlace())
	}
	ctx, cancel := context.WithTimeout(ctx, travelTime)
	defer cancel()
	table, err := askTable(ctx, address, places)
	if err != nil {
		return err
	}
	legs, err := table.legs(ids)
	if err != nil {
		return err
	}
	return p.setTravel(ctx, legs)
}

// travelTable is what a routing engine answers. Ways that it does not find are
// null.
type travelTable struct {
	Durations [][]*float64 `json:"durations"`
	Distances [][]*float64 `json:"distances"`
}

// noTable is a routing engine that does not answer as it should.
func noTable(format string, args ...any) error {
	return fault.New(fault.Unavailable, "NO_TABLE", "The routing engine gives no table of ways: "+format+". Nothing was changed.", args...)
}

func askTable(ctx context.Context, address string, places []*commonv1.Place) (*travelTable, error) {
	var pairs []string
	for _, p := range places {
		pairs = append(pairs, fmt.Sprintf("%.6f,%.6f", p.GetLongitudeDeg(), p.GetLatitudeDeg()))
	}
	if !strings.Contains(address, "{coordinates}") {
		return nil, noTable("the address has no {coordinates}")
	}
	target, err := url.Parse(strings.ReplaceAll(address, "{coordinates}", strings.Join(pairs, ";")))
	if err != nil || target.Scheme != "http" && target.Scheme != "https" {
		return nil, noTable("%q is no address that begins with http:// or https://", address)
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, target.String(), nil)
	if err != nil {
		return nil, noTable("%v", err)
	}
	answer, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, noTable("%v", err)
	}
	defer answer.Body.Close()
	content, err := io.ReadAll(io.LimitReader(answer.Body, maxTableBytes+1))
	if err != nil {
		return nil, noTable("%v", err)
	}
	if answer.StatusCode != http.StatusOK || len(content) > maxTableBytes {
		return nil, noTable("it answers %s with %d bytes", answer.Status, len(content))
	}
	var table travelTable
	if err := json.Unmarshal(content, &table); err != nil {
		return nil, noTable("its answer is not JSON with durations and distances (%v)", err)
	}
	return &table, nil
}

// legs are the ways of the table between places with ids.
func (t *travelTable) legs(ids []string) ([]*eventv1.TravelLeg, error) {
	if len(t.Durations) != len(ids) || len(t.Distances) != len(ids) {
		return nil, noTable("%d places were asked for; it has %d rows of durations and %d of distances", len(ids), len(t.Durations), len(t.Distances))
	}
	var out []*eventv1.TravelLeg
	for i, from := range ids {
		if len(t.Durations[i]) != len(ids) || len(t.Distances[i]) != len(ids) {
			return nil, noTable("row %d does not have %d columns", i+1, len(ids))
		}
		for j, to := range ids {
			seconds, metres := t.Durations[i][j], t.Distances[i][j]
			if i == j || seconds == nil || metres == nil {
				continue
			}
			if !(*seconds >= 0 && *metres >= 0 && *seconds < 86400 && *metres < 2e6) {
				return nil, noTable("row %d, column %d has %g s and %g m", i+1, j+1, *seconds, *metres)
			}
			out = append(out, &eventv1.TravelLeg{FromSiteId: from, ToSiteId: to, Minutes: int32(math.Ceil(*seconds / 60)), Metres: int32(math.Round(*metres))})
		}
	}
	return out, nil
}

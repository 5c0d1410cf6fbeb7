// Command dispatch runs the dispatcher's department as a service of its own.
package main

import (
	"context"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/dispatch"
	"spanyard.example/services/kit/config"
	"spanyard.example/services/kit/serve"
)

type settings struct {
	serve.Config `yaml:",inline"`
	// Stock is the address of the stock service, as in "dns:///stock:7000".
	Stock string `yaml:"stock"`
}

// Validate says what is wrong with the settings.
func (s *settings) Validate() error {
	if s.Stock == "" {
		return config.Problem("stock", "", "is missing", `the address of the stock service, as in "dns:///stock:7000"`)
	}
	return s.Config.Validate()
}

func main() {
	cfg := &settings{}
	serve.Main("dispatch", cfg, func(ctx context.Context, base *serve.Base) (serve.Service, error) {
		// The connection lives as long as the process: calls under way may
		// need it while the service is being stopped.
		stock, err := base.Dial(cfg.Stock)
		if err != nil {
			return nil, err
		}
		return dispatch.New(ctx, dispatch.Deps{
			JetStream: base.JetStream, Stock: stockv1.NewStockServiceClient(stock),
			Clock: base.Clock, Log: base.Log, Replicas: base.Replicas,
		})
	})
}

// Command layout runs the drawing office as a service of its own.
package main

import (
	"context"

	"spanyard.example/services/kit/serve"
	"spanyard.example/services/layout"
)

type settings struct {
	serve.Config `yaml:",inline"`
}

func main() {
	serve.Main("layout", &settings{}, func(ctx context.Context, base *serve.Base) (serve.Service, error) {
		return layout.New(ctx, layout.Deps{
			JetStream: base.JetStream, Clock: base.Clock, Log: base.Log, Replicas: base.Replicas,
		})
	})
}

// Command stock runs the yard's stock as a service of its own.
package main

import (
	"context"
	"strings"

	"github.com/redis/go-redis/v9"

	"spanyard.example/services/kit/config"
	"spanyard.example/services/kit/serve"
	"spanyard.example/services/stock"
)

type settings struct {
	serve.Config `yaml:",inline"`
	// Redis holds the view: addresses as host:port, several for a cluster.
	Redis         []string `yaml:"redis"`
	RedisUsername string   `yaml:"redis_username"`
	RedisPassword string   `yaml:"redis_password" secret:"true"`
	// RedisCluster also when a single address of a cluster is given.
	RedisCluster bool `yaml:"redis_cluster"`
}

// Validate says what is wrong with the settings.
func (s *settings) Validate() error {
	if len(s.Redis) == 0 {
		return config.Problem("redis", "", "is missing", `one or more of host:port, as in "redis:6379"`)
	}
	for _, a := range s.Redis {
		if !strings.Contains(a, ":") {
			return config.Problem("redis", a, "is no address", "host:port")
		}
	}
	return s.Config.Validate()
}

func main() {
	cfg := &settings{}
	serve.Main("stock", cfg, func(ctx context.Context, base *serve.Base) (serve.Service, error) {
		// The client lives as long as the process.
		view := redis.NewUniversalClient(&redis.UniversalOptions{
			Addrs: cfg.Redis, Username: cfg.RedisUsername, Password: cfg.RedisPassword,
			IsClusterMode: cfg.RedisCluster, DisableIdentity: true,
		})
		return stock.New(ctx, stock.Deps{
			JetStream: base.JetStream, Redis: view, Clock: base.Clock, Log: base.Log, Replicas: base.Replicas,
		})
	})
}

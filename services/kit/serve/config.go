package serve

import (
	"log/slog"
	"net"
	"strconv"
	"time"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/config"
	"spanyard.example/services/kit/rpc"
)

// Config is what every separately started service has among its settings:
//
//	type Config struct {
//		serve.Config `yaml:",inline"`
//		Redis string `yaml:"redis"`
//	}
//
// Every setting may be left out; its comment says what happens then.
type Config struct {
	// Listen address for gRPC; ":7000" when left out.
	Listen string `yaml:"listen"`
	// NATS servers; nats://127.0.0.1:4222 when left out.
	NATS []string `yaml:"nats"`
	// NATSCredentials is a file with the credentials of a NATS user.
	NATSCredentials string `yaml:"nats_credentials"`
	// NATSUser and NATSPassword, where the NATS servers want those.
	NATSUser     string `yaml:"nats_user"`
	NATSPassword string `yaml:"nats_password" secret:"true"`
	// NATSCA is a file with the certificate authority of the NATS servers,
	// for TLS with them. With TLSCert and TLSKey set, those are shown.
	NATSCA string `yaml:"nats_ca"`
	// NATSWait at start until NATS answers; one minute when left out. Then the
	// service gives up, and whoever started it starts it again.
	NATSWait time.Duration `yaml:"nats_wait"`
	// Replicas of the ledger's streams: 1, 3 or 5, at most the number of NATS
	// servers; 1 when left out.
	Replicas int `yaml:"replicas"`
	// Log is the least level that is logged: debug, info, warn or error; info
	// when left out.
	Log string `yaml:"log"`
	// ClockStartsAt sets the service's clock to a moment (RFC 3339) from which
	// it runs on, for demonstrations; the machine's clock when left out.
	ClockStartsAt string `yaml:"clock_starts_at"`
	// StopTime that calls under way get when the service stops, and then again
	// the service's own work; ten seconds when left out. Whoever kills the
	// process must wait three times as long.
	StopTime time.Duration `yaml:"stop_time"`
	// Reflection lets generic gRPC clients ask what the service can do.
	Reflection bool `yaml:"reflection"`
	// TLSCert, TLSKey and TLSCA are PEM files. With them, the service speaks
	// TLS, and it and its callers check each other's certificates; without
	// them it speaks plain text, for a network that is private already.
	TLSCert string `yaml:"tls_cert"`
	TLSKey  string `yaml:"tls_key"`
	TLSCA   string `yaml:"tls_ca"`
	// AccessKeys are files with the public keys (PEM, Ed25519) of those who let
	// people in: the desk, other services, whoever runs the command line. With
	// them, every call has to carry a token that one of them signed, and the
	// roles in it are checked; without them everybody is admitted who reaches
	// the service, under the name that he gives.
	AccessKeys []string `yaml:"access_keys"`
	// AccessKey is the file with this service's own private key, with which it
	// signs its calls of services that have AccessKeys.
	AccessKey string `yaml:"access_key"`
}

// Defaults of the settings that are left out.
const (
	defaultListen   = ":7000"
	defaultNATS     = "nats://127.0.0.1:4222"
	defaultNATSWait = time.Minute
	defaultStopTime = 10 * time.Second
)

func (c *Config) serveConfig() *Config { return c }

// settings is what embeds a Config.
type settings interface{ serveConfig() *Config }

// Validate says what is wrong with the settings.
func (c *Config) Validate() error {
	if _, _, err := net.SplitHostPort(c.listen()); err != nil {
		return config.Problem("listen", c.Listen, "is not an address", `a port, as in ":7000", or host and port`)
	}
	switch c.Replicas {
	case 0, 1, 3, 5:
	default:
		return config.Problem("replicas", strconv.Itoa(c.Replicas), "is not possible", "1, 3 or 5")
	}
	if _, err := c.logLevel(); err != nil {
		return config.Problem("log", c.Log, "is not a level", "debug, info, warn, error")
	}
	if _, err := c.clockStart(); err != nil {
		return config.Problem("clock_starts_at", c.ClockStartsAt, "is not a moment", "a moment with its zone, as in 2031-04-28T05:00:00+02:00")
	}
	if c.NATSWait < 0 {
		return config.Problem("nats_wait", c.NATSWait.String(), "is below zero", "a duration from 0s on")
	}
	if c.StopTime < 0 {
		return config.Problem("stop_time", c.StopTime.String(), "is below zero", "a duration from 0s on")
	}
	if c.NATSPassword != "" && c.NATSUser == "" {
		return config.Problem("nats_user", "", "is missing beside nats_password", "both or none")
	}
	if err := c.tls().Check(); err != nil {
		return config.Problem("tls_cert, tls_key, tls_ca", "", "cannot be used: "+err.Error(), "three readable PEM files, or none of the three")
	}
	if _, err := c.access(); err != nil {
		return config.Problem("access_keys", "", "cannot be used: "+err.Error(), "files with Ed25519 public keys in PEM form")
	}
	if _, err := c.signer(); err != nil {
		return config.Problem("access_key", c.AccessKey, "cannot be used: "+err.Error(), "a file with an Ed25519 private key in PEM form")
	}
	return nil
}

func (c *Config) listen() string {
	if c.Listen == "" {
		return defaultListen
	}
	return c.Listen
}

func (c *Config) nats() []string {
	if len(c.NATS) == 0 {
		return []string{defaultNATS}
	}
	return c.NATS
}

func (c *Config) natsWait() time.Duration {
	if c.NATSWait == 0 {
		return defaultNATSWait
	}
	return c.NATSWait
}

func (c *Config) stopTime() time.Duration {
	if c.StopTime == 0 {
		return defaultStopTime
	}
	return c.StopTime
}

func (c *Config) logLevel() (slog.Level, error) {
	var level slog.Level
	if c.Log == "" {
		return slog.LevelInfo, nil
	}
	err := level.UnmarshalText([]byte(c.Log))
	return level, err
}

func (c *Config) clockStart() (time.Time, error) {
	if c.ClockStartsAt == "" {
		return time.Time{}, nil
	}
	return time.Parse(time.RFC3339, c.ClockStartsAt)
}

func (c *Config) tls() rpc.TLSFiles {
	return rpc.TLSFiles{Cert: c.TLSCert, Key: c.TLSKey, CA: c.TLSCA}
}

// access says whom the service admits.
func (c *Config) access() (rpc.Access, error) {
	if len(c.AccessKeys) == 0 {
		return rpc.Access{}, nil
	}
	keys, err := auth.ReadKeys(c.AccessKeys)
	return rpc.Access{Keys: keys, Now: c.clock().Now}, err
}

// signer of this service's calls; nil where it has no key.
func (c *Config) signer() (*auth.Signer, error) {
	if c.AccessKey == "" {
		return nil, nil
	}
	return auth.ReadSigner(c.AccessKey)
}

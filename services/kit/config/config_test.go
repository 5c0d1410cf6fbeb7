package config

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/kit/fault"
)

type Base struct {
	Listen   string        `yaml:"listen"`
	Wait     time.Duration `yaml:"wait"`
	Password string        `yaml:"password" secret:"true"`
}

func (c *Base) Validate() error {
	if c.Listen == "bad" {
		return Problem("listen", c.Listen, "is not an address", `a port, as in ":7000"`)
	}
	return nil
}

type peer struct {
	Name  string  `yaml:"name"`
	Share float64 `yaml:"share"`
}

type cache struct {
	Size  int  `yaml:"size"`
	Warm  bool `yaml:"warm"`
	Slots uint `yaml:"slots"`
}

func (c *cache) Validate() error {
	if c.Size < 0 {
		return Problem("size", "", "is below zero", "a number from 0 on")
	}
	return nil
}

type settings struct {
	Base    `yaml:",inline"`
	Servers []string `yaml:"servers"`
	Peers   []peer   `yaml:"peers"`
	Cache   cache    `yaml:"cache"`
}

func defaults() *settings {
	return &settings{Base: Base{Listen: ":7000", Wait: time.Minute}, Servers: []string{"one"}}
}

func file(t *testing.T, content string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "app.yaml")
	if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

const good = `# settings of a test
listen: ":9"
wait: 1m30s
password: hunter
servers: &s [a, b]
peers:
  - name: first
    share: 0.5
  - name: second
cache:
  size: 12
  warm: true
  slots: 4
`

func TestLoad(t *testing.T) {
	tests := map[string]struct {
		content string
		environ []string
		want    func(*settings)
	}{
		"nothing":       {"", nil, func(*settings) {}},
		"only comments": {"# nothing\n", nil, func(*settings) {}},
		"empty value":   {"listen:\ncache:\n", nil, func(*settings) {}},
		"file": {good, nil, func(s *settings) {
			*s = settings{
				Base: Base{":9", 90 * time.Second, "hunter"}, Servers: []string{"a", "b"},
				Peers: []peer{{"first", 0.5}, {"second", 0}}, Cache: cache{12, true, 4},
			}
		}},
		"environment over file": {good, []string{"APP_LISTEN=:10", "APP_WAIT=5s", "APP_SERVERS=x, y,", "APP_CACHE_SIZE=7", "APP_CACHE_WARM=false", "APPLE=x", "PATH=/bin"}, func(s *settings) {
			*s = settings{
				Base: Base{":10", 5 * time.Second, "hunter"}, Servers: []string{"x", "y"},
				Peers: []peer{{"first", 0.5}, {"second", 0}}, Cache: cache{7, false, 4},
			}
		}},
		"environment alone": {"", []string{"APP_SERVERS=", "APP_PASSWORD=a=b,c"}, func(s *settings) {
			s.Servers, s.Password = []string{}, "a=b,c"
		}},
		"what container engines set": {"", []string{"APP_SERVICE_HOST=10.1.1.1", "APP_SERVICE_PORT=7000", "APP_SERVICE_PORT_GRPC=7000", "APP_PORT=tcp://10.1.1.1:7000", "APP_PORT_7000_TCP_ADDR=10.1.1.1"}, func(*settings) {}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, want := defaults(), defaults()
			tt.want(want)
			path := ""
			if tt.content != "" {
				path = file(t, tt.content)
			}
			if err := load(path, "APP", got, tt.environ); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("settings (-want +got):\n%s", diff)
			}
		})
	}
}

func TestWrongSettingsInWords(t *testing.T) {
	tests := map[string]struct {
		content string
		environ []string
		want    string
	}{
		"unknown":          {"listen: a\nlisten_to: b\n", nil, "app.yaml, line 2, listen_to: is not a setting; allowed: listen, wait, password, servers, peers, cache"},
		"unknown inside":   {"cache:\n  sise: 1\n", nil, "app.yaml, line 2, cache.sise: is not a setting; allowed: size, warm, slots"},
		"unknown in list":  {"peers:\n  - name: a\n    shares: 1\n", nil, "app.yaml, line 3, peers[0].shares: is not a setting; allowed: name, share"},
		"twice":            {"listen: a\nlisten: b\n", nil, "app.yaml, line 2, listen: is set twice; allowed: each setting once"},
		"duration":         {"wait: 5\n", nil, `app.yaml, line 1, wait: "5" is of the wrong kind; allowed: a duration with its unit, as in "500ms", "5s" or "2m"`},
		"duration zero":    {"wait: 0\n", nil, `app.yaml, line 1, wait: "0" is of the wrong kind; allowed: a duration with its unit, as in "500ms", "5s" or "2m"`},
		"number":           {"cache:\n  size: many\n", nil, `app.yaml, line 2, cache.size: "many" is of the wrong kind; allowed: a whole number`},
		"below zero":       {"cache:\n  slots: -1\n", nil, `app.yaml, line 2, cache.slots: "-1" is of the wrong kind; allowed: a whole number from 0 on`},
		"fraction":         {"peers: [{share: x}]\n", nil, `app.yaml, line 1, peers[0].share: "x" is of the wrong kind; allowed: a number`},
		"yes or no":        {"cache: {warm: yes}\n", nil, `app.yaml, line 1, cache.warm: "yes" is of the wrong kind; allowed: true or false`},
		"list for a text":  {"listen: [a]\n", nil, "app.yaml, line 1, listen: is a list or a group of settings; allowed: a text"},
		"text for a list":  {"servers: a\n", nil, `app.yaml, line 1, servers: is not a list; allowed: lines that begin with "- ", or [one, two]`},
		"text for a group": {"cache: a\n", nil, `app.yaml, line 1, cache: is not a group of settings; allowed: lines of the form "key: value"`},
		"a list":           {"- a\n", nil, `app.yaml, line 1: is not a group of settings; allowed: lines of the form "key: value"`},
		"two documents":    {"listen: a\n---\nlisten: b\n", nil, "app.yaml: has more than one document; allowed: one document, without a line ---"},
		"variable":         {"", []string{"APP_LISTN=a"}, "environment variable APP_LISTN: is not a setting; allowed: APP_CACHE_SIZE, APP_CACHE_SLOTS, APP_CACHE_WARM, APP_LISTEN, APP_PASSWORD, APP_SERVERS, APP_WAIT"},
		"variable's value": {"", []string{"APP_CACHE_SIZE=x"}, `environment variable APP_CACHE_SIZE: "x" is of the wrong kind; allowed: a whole number`},
		"rule, file":       {"wait: 1s\nlisten: bad\n", nil, `app.yaml, line 2, listen: "bad" is not an address; allowed: a port, as in ":7000"`},
		"rule, variable":   {"listen: a\n", []string{"APP_LISTEN=bad"}, `environment variable APP_LISTEN: "bad" is not an address; allowed: a port, as in ":7000"`},
		"rule inside":      {"cache:\n  size: -4\n", nil, "app.yaml, line 2, cache.size: is below zero; allowed: a number from 0 on"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			err := load(file(t, tt.content), "APP", defaults(), tt.environ)
			var f *fault.Error
			if !errors.As(err, &f) || f.Kind != fault.Invalid || f.Reason != ReasonBadConfig {
				t.Fatalf("got %v, want an invalid fault", err)
			}
			if want := "The settings are wrong.\n  " + tt.want; f.Error() != want {
				t.Errorf("got:\n%s\nwant:\n%s", f.Error(), want)
			}
		})
	}
}

func TestEverythingWrongIsNamedAtOnce(t *testing.T) {
	err := load(file(t, "lisen: a\nwait: b\n"), "APP", defaults(), []string{"APP_X=1"})
	var f *fault.Error
	if !errors.As(err, &f) || len(f.Places) != 3 {
		t.Errorf("got %v, want three places", err)
	}
}

func TestSecretsAreNotRepeated(t *testing.T) {
	type locked struct {
		Pin int `yaml:"pin" secret:"true"`
	}
	err := load(file(t, "pin: hunter\n"), "APP", &locked{}, nil)
	if err == nil || strings.Contains(err.Error(), "hunter") || !strings.Contains(err.Error(), mask) {
		t.Errorf("got %v, want the value masked", err)
	}
}

func TestFilesThatCannotBeRead(t *testing.T) {
	if err := Load(filepath.Join(t.TempDir(), "none.yaml"), "APP", defaults()); fault.ReasonOf(err) != ReasonBadConfig || !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a missing file: %v", err)
	}
	if err := Load(file(t, "listen: [a\n"), "APP", defaults()); fault.ReasonOf(err) != ReasonBadConfig || !strings.Contains(err.Error(), "app.yaml: is not YAML: ") {
		t.Errorf("no YAML: %v", err)
	}
	if err := Load("", "APP", settings{}); err == nil {
		t.Error("settings that cannot be set were taken")
	}
	t.Setenv("SPANYARDTEST_LISTEN", ":11")
	s := defaults()
	if err := Load("", "SPANYARDTEST", s); err != nil || s.Listen != ":11" {
		t.Errorf("the environment of the process: %q, %v", s.Listen, err)
	}
}

func TestDescribe(t *testing.T) {
	s := defaults()
	if got := Describe(defaults(), s); got != "" {
		t.Errorf("nothing changed, but:\n%s", got)
	}
	if err := load(file(t, good), "", s, nil); err != nil {
		t.Fatal(err)
	}
	const want = `listen: :9
wait: 1m30s
password: (secret)
servers: [a b]
peers[0].name: first
peers[0].share: 0.5
peers[1].name: second
cache.size: 12
cache.warm: true
cache.slots: 4
`
	if got := Describe(defaults(), s); got != want {
		t.Errorf("got:\n%s\nwant:\n%s", got, want)
	}
}

func FuzzLoad(f *testing.F) {
	for _, s := range []string{good, "a: &x [*x]\n", "cache: {size: 99999999999999999999}\n", "<<: {listen: a}\n", "? [a]\n: b\n", "peers: [[], 1, {}]", "wait: !!binary aGk=\n", "--- \n..."} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, content string) {
		l := &loader{file: "app.yaml", origin: map[string]string{}, fault: fault.New(fault.Invalid, ReasonBadConfig, "x")}
		v := reflect.ValueOf(defaults()).Elem()
		l.readFile([]byte(content), v)
		l.validate("", v)
		for _, p := range l.fault.Places {
			if p.Where == "" || p.Problem == "" {
				t.Errorf("a place that says nothing: %+v", p)
			}
		}
	})
}

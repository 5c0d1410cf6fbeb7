package desk

import (
	"net/url"
	"slices"
	"strings"

	"google.golang.org/grpc"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/config"
	"spanyard.example/services/kit/rpc"
)

// Settings of a desk that runs as a service of its own.
type Settings struct {
	// Listen address for browsers, or for what ends TLS before them.
	Listen string `yaml:"listen"`
	// PublicURL is where browsers reach the desk, as in "https://desk.example".
	// With https, cookies are kept to safe connections.
	PublicURL string `yaml:"public_url"`
	// Yard that the desk belongs to.
	Yard string `yaml:"yard"`
	// Addresses of the services.
	Layout   string `yaml:"layout"`
	Stock    string `yaml:"stock"`
	Dispatch string `yaml:"dispatch"`
	// AccessKey is the file with the private key that signs the tokens of
	// people; the services have its public key among their access_keys.
	AccessKey string `yaml:"access_key"`
	// Accounts is the file of local accounts; none when left out.
	Accounts string `yaml:"accounts"`
	// Company is the sign-in by OpenID Connect; none when its issuer is left
	// out.
	Company CompanySettings `yaml:"company"`
	// TLSCert, TLSKey and TLSCA are PEM files for TLS with the services.
	TLSCert string `yaml:"tls_cert"`
	TLSKey  string `yaml:"tls_key"`
	TLSCA   string `yaml:"tls_ca"`
	// Log is the least level that is logged; info when left out.
	Log string `yaml:"log"`
}

// CompanySettings of the sign-in by OpenID Connect.
type CompanySettings struct {
	Issuer       string `yaml:"issuer"`
	ClientID     string `yaml:"client_id"`
	ClientSecret string `yaml:"client_secret" secret:"true"`
	// RolesClaim of the id token; "groups" when left out.
	RolesClaim string `yaml:"roles_claim"`
	// Roles that entries of the claim give, as "entry=role".
	Roles []string `yaml:"roles"`
}

// Validate says what is wrong with the settings.
func (s *Settings) Validate() error {
	for key, value := range map[string]string{"yard": s.Yard, "layout": s.Layout, "stock": s.Stock, "dispatch": s.Dispatch, "access_key": s.AccessKey} {
		if value == "" {
			return config.Problem(key, "", "is missing", "see deploy/config/desk.yaml")
		}
	}
	if _, err := auth.ReadSigner(s.AccessKey); err != nil {
		return config.Problem("access_key", s.AccessKey, "cannot be used: "+err.Error(), "a file with an Ed25519 private key in PEM form")
	}
	if u, err := url.Parse(s.PublicURL); err != nil || s.PublicURL != "" && !slices.Contains([]string{"http", "https"}, u.Scheme) {
		return config.Problem("public_url", s.PublicURL, "is no web address", `as in "https://desk.example"`)
	}
	if err := s.tls().Check(); err != nil {
		return config.Problem("tls_cert, tls_key, tls_ca", "", "cannot be used: "+err.Error(), "three readable PEM files, or none of the three")
	}
	_, err := s.company()
	return err
}

func (s *Settings) tls() rpc.TLSFiles {
	return rpc.TLSFiles{Cert: s.TLSCert, Key: s.TLSKey, CA: s.TLSCA}
}

func (s *Settings) secure() bool { return strings.HasPrefix(s.PublicURL, "https://") }

// company's sign-in; nil when there is none.
func (s *Settings) company() (*Company, error) {
	c := s.Company
	if c.Issuer == "" {
		return nil, nil
	}
	if c.ClientID == "" || s.PublicURL == "" {
		return nil, config.Problem("company.client_id", c.ClientID, "is missing, or public_url is", "both are needed for a sign-in at a company")
	}
	if c.RolesClaim == "" {
		c.RolesClaim = "groups"
	}
	roles := map[string]auth.Role{}
	for _, line := range c.Roles {
		entry, role, ok := strings.Cut(line, "=")
		if !ok || !slices.Contains(auth.People, auth.Role(role)) {
			return nil, config.Problem("company.roles", line, "is not understood", `"entry=role", as in "yard-lab=laboratory"`)
		}
		roles[entry] = auth.Role(role)
	}
	return &Company{
		Issuer: c.Issuer, ClientID: c.ClientID, ClientSecret: c.ClientSecret, RolesClaim: c.RolesClaim, Roles: roles,
		RedirectURL: strings.TrimSuffix(s.PublicURL, "/") + "/company/back",
	}, nil
}

// dial returns a connection to a service.
func (s *Settings) dial(target string) (*grpc.ClientConn, error) {
	if !s.tls().Set() {
		return rpc.Dial(target)
	}
	credentials, err := s.tls().Credentials("")
	if err != nil {
		return nil, err
	}
	return rpc.Dial(target, grpc.WithTransportCredentials(credentials))
}

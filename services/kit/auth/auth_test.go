package auth_test

import (
	"crypto/ed25519"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

var noon = time.Date(2027, 3, 17, 12, 0, 0, 0, time.UTC)

func signer(t *testing.T) (*auth.Signer, *auth.Keys) {
	t.Helper()
	s, err := auth.OpenSigner(filepath.Join(t.TempDir(), "key.pem"))
	if err != nil {
		t.Fatal(err)
	}
	keys, err := auth.NewKeys(s.Public())
	if err != nil {
		t.Fatal(err)
	}
	return s, keys
}

func TestTokenSaysWhoItIsFor(t *testing.T) {
	s, keys := signer(t)
	want := auth.Person{Name: "Pim Quillbottle", Roles: []auth.Role{auth.Laboratory}, Yard: "demo"}
	token, err := s.Sign(want, noon, time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	got, err := keys.Verify(token, noon.Add(30*time.Second))
	if err != nil || got.Name != want.Name || got.Yard != want.Yard || !got.Has(auth.Laboratory) || got.Has(auth.Yard) {
		t.Errorf("got %v, %v", got, err)
	}
}

func TestVerifyRefuses(t *testing.T) {
	s, keys := signer(t)
	other, _ := signer(t)
	person := auth.Person{Name: "Pim Quillbottle", Roles: []auth.Role{auth.Laboratory}}
	sign := func(s *auth.Signer, p auth.Person) string {
		token, err := s.Sign(p, noon, time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		return token
	}
	good := sign(s, person)
	parts := strings.Split(good, ".")
	none := jwt.NewWithClaims(jwt.SigningMethodNone, jwt.MapClaims{"sub": "Pim", "iss": "spanyard", "aud": "spanyard-services", "exp": noon.Add(time.Minute).Unix()})
	unsigned, err := none.SignedString(jwt.UnsafeAllowNoneSignatureType)
	if err != nil {
		t.Fatal(err)
	}
	// Signed with the public key as if it were a shared secret.
	confused := jwt.NewWithClaims(jwt.SigningMethodHS256, none.Claims)
	confused.Header["kid"] = kidOf(t, good)
	shared, err := confused.SignedString([]byte(s.Public()))
	if err != nil {
		t.Fatal(err)
	}
	for name, tc := range map[string]struct {
		token string
		at    time.Time
	}{
		"an old token":            {good, noon.Add(2 * time.Minute)},
		"a token of tomorrow":     {good, noon.Add(-time.Hour)},
		"another key":             {sign(other, person), noon},
		"another text":            {parts[0] + "." + parts[1] + "x." + parts[2], noon},
		"no signature":            {unsigned, noon},
		"a shared secret":         {shared, noon},
		"nothing":                 {"", noon},
		"nobody":                  {sign(s, auth.Person{Roles: []auth.Role{auth.Yard}}), noon},
		"a site without a drop":   {sign(s, auth.Person{Name: "x", Roles: []auth.Role{auth.Site}}), noon},
		"a drop without the role": {sign(s, auth.Person{Name: "x", Roles: []auth.Role{auth.Yard}, Drop: &auth.Drop{RunID: "R1", Number: 1}}), noon},
	} {
		if _, err := keys.Verify(tc.token, tc.at); !errors.Is(err, fault.Refused) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func TestSignerKeepsItsKey(t *testing.T) {
	file := filepath.Join(t.TempDir(), "key.pem")
	first, err := auth.OpenSigner(file)
	if err != nil {
		t.Fatal(err)
	}
	second, err := auth.OpenSigner(file)
	if err != nil || !first.Public().Equal(second.Public()) {
		t.Errorf("the key changed: %v", err)
	}
	if string(first.Secret("a")) == string(first.Secret("b")) || string(first.Secret("a")) != string(second.Secret("a")) {
		t.Error("secrets do not follow from key and purpose")
	}
	if _, err := auth.NewSigner(ed25519.PrivateKey{}); err == nil {
		t.Error("an empty key was taken")
	}
	if _, err := first.Sign(auth.Person{Name: "x"}, noon, time.Hour); err == nil {
		t.Error("a token of an hour was signed")
	}
}

func TestCheckKeepsRolesYardsAndDropsApart(t *testing.T) {
	site := auth.Person{Name: "Site SS", Roles: []auth.Role{auth.Site}, Yard: "demo", Drop: &auth.Drop{RunID: "R1", Number: 2}}
	lab := auth.Person{Name: "Pim", Roles: []auth.Role{auth.Laboratory}, Yard: "demo"}
	laying := site
	laying.Drop = &auth.Drop{RunID: "R1", Number: 2, Floor: &auth.Floor{JobID: "J1", Floor: "1"}}
	ops := auth.Person{Name: "Oda", Roles: []auth.Role{auth.Operations}}
	for name, tc := range map[string]struct {
		person  auth.Person
		method  string
		request any
		reason  string
	}{
		"laboratory releases":                 {lab, stockv1.StockService_ReleaseBatch_FullMethodName, &stockv1.ReleaseBatchRequest{Yard: "demo"}, ""},
		"laboratory in another yard":          {lab, stockv1.StockService_ReleaseBatch_FullMethodName, &stockv1.ReleaseBatchRequest{Yard: "other"}, auth.ReasonRole},
		"laboratory confirms a morning":       {lab, dispatchv1.DispatchService_ConfirmMorning_FullMethodName, &dispatchv1.ConfirmMorningRequest{Yard: "demo"}, auth.ReasonRole},
		"operations reads any yard":           {ops, stockv1.StockService_ListBatches_FullMethodName, &stockv1.ListBatchesRequest{Yard: "other"}, ""},
		"operations releases":                 {ops, stockv1.StockService_ReleaseBatch_FullMethodName, &stockv1.ReleaseBatchRequest{Yard: "demo"}, auth.ReasonRole},
		"site reads the stock":                {site, stockv1.StockService_ListBatches_FullMethodName, &stockv1.ListBatchesRequest{Yard: "demo"}, auth.ReasonRole},
		"site ticks its drop":                 {site, dispatchv1.DispatchService_DeliverDrop_FullMethodName, &dispatchv1.DeliverDropRequest{Yard: "demo", RunId: "R1", DropNumber: 2}, ""},
		"site ticks another drop":             {site, dispatchv1.DispatchService_DeliverDrop_FullMethodName, &dispatchv1.DeliverDropRequest{Yard: "demo", RunId: "R1", DropNumber: 1}, auth.ReasonOutside},
		"site ticks another run":              {site, dispatchv1.DispatchService_DeliverDrop_FullMethodName, &dispatchv1.DeliverDropRequest{Yard: "demo", RunId: "R2", DropNumber: 2}, auth.ReasonOutside},
		"site draws its floor":                {laying, layoutv1.LayoutService_DrawApprovedPlan_FullMethodName, &layoutv1.DrawApprovedPlanRequest{Yard: "demo", RunId: "R1", DropNumber: 2, JobId: "J1", Floor: "1"}, ""},
		"site draws another floor":            {laying, layoutv1.LayoutService_DrawApprovedPlan_FullMethodName, &layoutv1.DrawApprovedPlanRequest{Yard: "demo", RunId: "R1", DropNumber: 2, JobId: "J1", Floor: "2"}, auth.ReasonOutside},
		"site draws another job's floor":      {laying, layoutv1.LayoutService_DrawApprovedPlan_FullMethodName, &layoutv1.DrawApprovedPlanRequest{Yard: "demo", RunId: "R1", DropNumber: 2, JobId: "J2", Floor: "1"}, auth.ReasonOutside},
		"site draws a floor for another drop": {laying, layoutv1.LayoutService_DrawApprovedPlan_FullMethodName, &layoutv1.DrawApprovedPlanRequest{Yard: "demo", RunId: "R1", DropNumber: 1, JobId: "J1", Floor: "1"}, auth.ReasonOutside},
		"site draws a floor nobody told of":   {site, layoutv1.LayoutService_DrawApprovedPlan_FullMethodName, &layoutv1.DrawApprovedPlanRequest{Yard: "demo", RunId: "R1", DropNumber: 2, JobId: "J1", Floor: "1"}, auth.ReasonOutside},
		"an unknown call":                     {ops, "/spanyard.stock.v1.StockService/Nothing", &stockv1.ListBatchesRequest{}, auth.ReasonRole},
		"a service reserves":                  {auth.Person{Roles: []auth.Role{auth.Service}}, stockv1.StockService_ReservePieces_FullMethodName, &stockv1.ReservePiecesRequest{Yard: "demo"}, ""},
	} {
		if err := tc.person.Check(tc.method, tc.request); fault.ReasonOf(err) != tc.reason || (err == nil) != (tc.reason == "") {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

// An RPC that forgets its roles would admit nobody; an RPC for sites without a
// drop in its request would never be answered.
func TestEveryRPCDeclaresItsRoles(t *testing.T) {
	count := 0
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(file.Package()), "spanyard.") {
			return true
		}
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				m := service.Methods().Get(j)
				count++
				method := "/" + string(service.FullName()) + "/" + string(m.Name())
				if len(auth.RuleOf(method)) == 0 {
					t.Errorf("%s declares no roles", method)
				}
				site := auth.Person{Roles: []auth.Role{auth.Site}}
				fields := m.Input().Fields()
				if site.MayCall(method) && (fields.ByName("run_id") == nil || fields.ByName("drop_number") == nil) {
					t.Errorf("%s is for sites and names no drop", method)
				}
			}
		}
		return true
	})
	if count < 50 {
		t.Errorf("only %d RPCs were found", count)
	}
}

func kidOf(t *testing.T, token string) any {
	t.Helper()
	parsed, _, err := jwt.NewParser().ParseUnverified(token, jwt.MapClaims{})
	if err != nil {
		t.Fatal(err)
	}
	return parsed.Header["kid"]
}

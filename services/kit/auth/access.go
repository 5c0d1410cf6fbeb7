package auth

import (
	"strings"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	commonv1 "spanyard.example/proto/gen/spanyard/common/v1"
	"spanyard.example/services/kit/fault"
)

var roleOf = map[commonv1.Role]Role{
	commonv1.Role_ROLE_DISPATCHER:     Dispatcher,
	commonv1.Role_ROLE_YARD:           Yard,
	commonv1.Role_ROLE_DRAWING_OFFICE: DrawingOffice,
	commonv1.Role_ROLE_LABORATORY:     Laboratory,
	commonv1.Role_ROLE_SITE:           Site,
	commonv1.Role_ROLE_OPERATIONS:     Operations,
	commonv1.Role_ROLE_SERVICE:        Service,
}

// rules by the full name of a method, as a call names it.
var rules sync.Map

// RuleOf returns the roles that an RPC declares; none when it declares none.
// method is as in a call: /spanyard.stock.v1.StockService/GetBatch.
func RuleOf(method string) []commonv1.Role {
	if known, ok := rules.Load(method); ok {
		roles, _ := known.([]commonv1.Role)
		return roles
	}
	var roles []commonv1.Role
	name := protoreflect.FullName(strings.ReplaceAll(strings.TrimPrefix(method, "/"), "/", "."))
	if d, err := protoregistry.GlobalFiles.FindDescriptorByName(name); err == nil {
		if rule, ok := proto.GetExtension(d.Options(), commonv1.E_Access).(*commonv1.AccessRule); ok {
			roles = rule.GetRoles()
		}
	}
	rules.Store(method, roles)
	return roles
}

// MayCall reports whether a person may call an RPC at all.
func (p Person) MayCall(method string) bool {
	if p.Has(Service) {
		return true
	}
	for _, r := range RuleOf(method) {
		if r == commonv1.Role_ROLE_STAFF && p.Staff() || r != commonv1.Role_ROLE_STAFF && p.Has(roleOf[r]) {
			return true
		}
	}
	return false
}

// Check refuses a call that a person may not make: another role's, another
// yard's, or beyond the one drop of a link.
func (p Person) Check(method string, request any) error {
	if !p.MayCall(method) {
		return fault.New(fault.Refused, ReasonRole, "%s", refusal(method))
	}
	m, ok := request.(proto.Message)
	if !ok {
		return nil
	}
	if p.Yard != "" && textOf(m, "yard") != p.Yard {
		return fault.New(fault.Refused, ReasonRole, "You may see the yard %s only.", p.Yard)
	}
	if p.Drop != nil && !p.Staff() && (textOf(m, "run_id") != p.Drop.RunID || numberOf(m, "drop_number") != int64(p.Drop.Number)) {
		return p.Drop.outside()
	}
	if p.Drop != nil && !p.Staff() && !p.Drop.shows(m) {
		return p.Drop.outside()
	}
	return nil
}

func (d *Drop) outside() error {
	return fault.New(fault.Refused, ReasonOutside, "This link opens drop %d of run %s and nothing else.", d.Number, d.RunID)
}

// shows reports whether a request about a floor is about one that the drop
// brings something for. Other requests are of no floor.
func (d *Drop) shows(m proto.Message) bool {
	if m.ProtoReflect().Descriptor().Fields().ByName("floor") == nil {
		return true
	}
	return d.Floor != nil && textOf(m, "job_id") == d.Floor.JobID && textOf(m, "floor") == d.Floor.Floor
}

// refusal says who may do it.
func refusal(method string) string {
	var who []string
	for _, r := range RuleOf(method) {
		who = append(who, words[r])
	}
	if len(who) == 0 {
		return "That is done by the yard's own programs only."
	}
	return "That is for " + strings.Join(who, " or ") + ". Ask one of them, or sign in as one."
}

var words = map[commonv1.Role]string{
	commonv1.Role_ROLE_DISPATCHER:     "the dispatcher",
	commonv1.Role_ROLE_YARD:           "the yard staff",
	commonv1.Role_ROLE_DRAWING_OFFICE: "the drawing office",
	commonv1.Role_ROLE_LABORATORY:     "the laboratory contact",
	commonv1.Role_ROLE_SITE:           "the site",
	commonv1.Role_ROLE_OPERATIONS:     "operations",
	commonv1.Role_ROLE_SERVICE:        "the yard's own programs",
	commonv1.Role_ROLE_STAFF:          "people of the yard",
}

func textOf(m proto.Message, field protoreflect.Name) string {
	r := m.ProtoReflect()
	f := r.Descriptor().Fields().ByName(field)
	if f == nil || f.Kind() != protoreflect.StringKind || f.IsList() {
		return ""
	}
	return r.Get(f).String()
}

// numberOf returns a field of a request; 0, which no drop has, when it has none.
func numberOf(m proto.Message, field protoreflect.Name) int64 {
	r := m.ProtoReflect()
	f := r.Descriptor().Fields().ByName(field)
	if f == nil || f.Kind() != protoreflect.Int32Kind || f.IsList() {
		return 0
	}
	return r.Get(f).Int()
}

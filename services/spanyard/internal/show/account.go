package show

import (
	"io"
	"strings"

	"spanyard.example/services/desk/accounts"
)

// Accounts prints who may sign in.
func Accounts(w io.Writer, all []accounts.Account) {
	t := newTable("name", "roles")
	for _, a := range all {
		roles := make([]string, len(a.Roles))
		for i, r := range a.Roles {
			roles[i] = string(r)
		}
		t.add(a.Name, strings.Join(roles, ", "))
	}
	t.write(w)
}

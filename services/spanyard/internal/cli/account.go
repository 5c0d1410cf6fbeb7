package cli

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"spanyard.example/services/desk/accounts"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/allinone"
	"spanyard.example/services/spanyard/internal/datafolder"
	"spanyard.example/services/spanyard/internal/show"
)

// accountCommand keeps the people who may sign in to the desk of this machine.
func (p *program) accountCommand() *cobra.Command {
	var data string
	store := func() (*accounts.Store, error) {
		dir, err := dataFolder(data, "")
		if err != nil {
			return nil, err
		}
		if err := datafolder.Open(dir); err != nil {
			return nil, err
		}
		return accounts.Open(allinone.AccountsFile(dir)), nil
	}
	c := group(groupProgram, "account", "People who may sign in to the desk of this machine", `Keeps the accounts in the data folder: names, roles, and hashes of passwords.
A change counts at once, also while the program runs.`,
		`  spanyard account add "Nettie Underbloom" --role laboratory
  spanyard account list
  spanyard account remove "Nettie Underbloom"`,
		p.accountAddCommand(store), p.accountListCommand(store), p.accountRemoveCommand(store))
	c.PersistentFlags().StringVar(&data, "data", "", "folder with the data; default spanyard under $XDG_DATA_HOME or ~/.local/share")
	return c
}

type openStore func() (*accounts.Store, error)

func (p *program) accountAddCommand(store openStore) *cobra.Command {
	var roles []string
	c := &cobra.Command{
		Use:   "add NAME",
		Short: "Add a person, or give one a new password and new roles",
		Long: `Asks for a password of at least 12 characters, or reads it from standard input
when that is no terminal, and keeps its hash. The name is what the ledger
records with every change.`,
		Example: `  spanyard account add "Nettie Underbloom" --role laboratory
  spanyard account add "Rosamund Tickpenny" --role dispatcher --role yard < password.txt`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			s, err := store()
			if err != nil {
				return err
			}
			password, err := p.password()
			if err != nil {
				return err
			}
			wanted := make([]auth.Role, len(roles))
			for i, r := range roles {
				wanted[i] = auth.Role(r)
			}
			if err := s.Put(args[0], password, wanted); err != nil {
				return err
			}
			fmt.Fprintf(p.out, "%s may sign in as %s.\n", strings.TrimSpace(args[0]), strings.Join(roles, ", "))
			return nil
		},
	}
	c.Flags().StringSliceVar(&roles, "role", nil, "what the person does: dispatcher, yard, drawing-office, laboratory or operations; may be repeated")
	return c
}

func (p *program) accountListCommand(store openStore) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List the people who may sign in", Args: cobra.NoArgs,
		Long:    `Lists the accounts by name, with their roles. Passwords cannot be shown: only their hashes are kept.`,
		Example: `  spanyard account list`,
		RunE: func(*cobra.Command, []string) error {
			s, err := store()
			if err != nil {
				return err
			}
			all, err := s.List()
			if err != nil {
				return err
			}
			if len(all) == 0 {
				p.tell("There are no accounts yet. Add one with: spanyard account add NAME --role ROLE")
				return nil
			}
			show.Accounts(p.out, all)
			return nil
		},
	}
}

func (p *program) accountRemoveCommand(store openStore) *cobra.Command {
	return &cobra.Command{
		Use: "remove NAME", Short: "Remove a person; nobody signs in by that name any more", Args: cobra.ExactArgs(1),
		Long:    `Removes an account. Who is signed in stays so until the session ends, after twelve hours at most.`,
		Example: `  spanyard account remove "Nettie Underbloom"`,
		RunE: func(_ *cobra.Command, args []string) error {
			s, err := store()
			if err != nil {
				return err
			}
			if err := s.Remove(args[0]); err != nil {
				return err
			}
			fmt.Fprintf(p.out, "%s may not sign in any more.\n", args[0])
			return nil
		},
	}
}

// maxPasswordBytes that are read.
const maxPasswordBytes = 1024

// password from the terminal, where it is not shown, or from standard input.
func (p *program) password() (string, error) {
	in := int(os.Stdin.Fd())
	if term.IsTerminal(in) {
		fmt.Fprint(p.errw, "Password (12 characters or more, not shown): ")
		content, err := term.ReadPassword(in)
		fmt.Fprintln(p.errw)
		return string(content), err
	}
	line, err := bufio.NewReader(io.LimitReader(os.Stdin, maxPasswordBytes)).ReadString('\n')
	if err != nil && line == "" {
		return "", fault.New(fault.Invalid, "PASSWORD_MISSING", "Give the password on standard input, or run this in a terminal.").Because(err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}

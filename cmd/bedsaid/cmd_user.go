package main

import (
	"context"
	"fmt"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// userFlags describe a user to be added.
type userFlags struct {
	login, name, credentials, role string
	manages                        bool
}

func (u *userFlags) flags(c *cobra.Command) {
	c.Flags().StringVar(&u.name, "name", "", "full `NAME` as it stands below a note")
	c.Flags().StringVar(&u.credentials, "credentials", "", "`LETTERS` behind the name, such as RN")
	c.Flags().StringVar(&u.role, "role", u.role, "`ROLE`: "+roleWords())
	must(c.RegisterFlagCompletionFunc("role", cobra.FixedCompletions(review.RoleWords(), cobra.ShellCompDirectiveNoFileComp)))
}

// roleWords names the roles.
func roleWords() string { return strings.Join(review.RoleWords(), ", ") }

func (u userFlags) user() (store.NewUser, error) {
	role := review.ParseRole(u.role)
	if role == review.RoleUnknown {
		return store.NewUser{}, usage("unknown role %q", u.role).hint("roles are %s", roleWords())
	}
	if strings.ContainsFunc(u.login, unicode.IsSpace) {
		return store.NewUser{}, usage("a login has no spaces").hint("--user anna")
	}
	if u.login == "" || strings.TrimSpace(u.name) == "" {
		return store.NewUser{}, usage("a user needs a login and a name").hint("--user anna --name \"Anna Example\" --credentials RN")
	}
	if role.Licensed() && strings.TrimSpace(u.credentials) == "" {
		return store.NewUser{}, usage("who signs needs credentials").hint("--credentials RN, or whatever stands behind the name")
	}
	return store.NewUser{Login: u.login, Name: u.name, Credentials: u.credentials, Role: role, Manages: u.manages}, nil
}

func (m *Main) userCommand() *cobra.Command {
	c := group(&cobra.Command{
		Use: "user", Short: "See, add and retire users; change a passphrase; recover",
		Example: `  bedsaid record user add sam --name "Sam Sample" --role student
  bedsaid record user passphrase`,
	})
	var f recordFlags
	u := userFlags{role: review.Examiner.String()}
	// Who may do what is changed with the passphrase alone.
	f.typed = true
	session := func(run func(context.Context, *store.Session, *asker, []string) error) func(*cobra.Command, []string) error {
		return func(cmd *cobra.Command, args []string) error {
			return m.withRecord(cmd.Context(), f, func(x *store.Session, ask *asker) error { return run(cmd.Context(), x, ask, args) })
		}
	}
	add := &cobra.Command{
		Use: "add LOGIN", Short: "Add a user with a first passphrase",
		Example: `  bedsaid record user add sam --name "Sam Sample" --role student`,
		Args:    exactly(1, "a login"),
		RunE: session(func(ctx context.Context, x *store.Session, ask *asker, args []string) error {
			u := u
			u.login = args[0]
			n, err := u.user()
			if err != nil {
				return err
			}
			passphrase, err := ask.newSecret("First passphrase of " + u.login)
			if err != nil {
				return err
			}
			if _, err := x.AddUser(ctx, n, passphrase); err != nil {
				return err
			}
			fmt.Fprintf(m.Stdout, "Added %s. She changes the passphrase with: bedsaid record user passphrase --user %s\n", u.login, u.login)
			return nil
		}),
	}
	u.flags(add)
	add.Flags().BoolVar(&u.manages, "manages", false, "she may add and retire users, and purge")
	list := &cobra.Command{
		Use: "list", Short: "List all users", Example: "  bedsaid record user list", Args: exactly(0, "no arguments"),
		RunE: session(func(ctx context.Context, x *store.Session, _ *asker, _ []string) error { return m.userList(ctx, x) }),
	}
	retire := &cobra.Command{
		Use: "retire LOGIN", Short: "Take a user's access away; what she signed stays", Example: "  bedsaid record user retire sam",
		Args: exactly(1, "a login"),
		RunE: session(func(ctx context.Context, x *store.Session, _ *asker, args []string) error {
			o, err := userOf(ctx, x, args[0])
			if err != nil {
				return err
			}
			if err := x.RetireUser(ctx, o.ID); err != nil {
				return err
			}
			fmt.Fprintf(m.Stdout, "Retired %s. What she wrote and signed stays hers.\n", o.Login)
			return nil
		}),
	}
	var name, credentials string
	change := &cobra.Command{
		Use: "change LOGIN", Short: "Change a user's name or credentials for what she signs from now on",
		Example: `  bedsaid record user change anna --credentials "RN, CCRN"`,
		Args:    exactly(1, "a login"),
	}
	change.Flags().StringVar(&name, "name", "", "full `NAME` as it stands below a note")
	change.Flags().StringVar(&credentials, "credentials", "", "`LETTERS` behind the name, such as RN")
	change.RunE = func(cmd *cobra.Command, args []string) error {
		named, lettered := cmd.Flags().Changed("name"), cmd.Flags().Changed("credentials")
		if !named && !lettered {
			return usage("nothing to change").hint("--name, --credentials, or both")
		}
		return session(func(ctx context.Context, x *store.Session, _ *asker, args []string) error {
			o, err := userOf(ctx, x, args[0])
			if err != nil {
				return err
			}
			if named {
				o.Name = name
			}
			if lettered {
				o.Credentials = credentials
			}
			if o, err = x.ChangeUser(ctx, o.ID, o.Name, o.Credentials); err != nil {
				return err
			}
			fmt.Fprintf(m.Stdout, "%s signs as %s from now on.\n", o.Login, plainLine(underNote(o.Person())))
			return nil
		})(cmd, args)
	}
	var off bool
	keyring := &cobra.Command{
		Use: "keyring", Short: "Let this system's keyring sign you in, or stop it",
		Long: `Keyring puts a secret of its own into the keyring of the operating system, which
from then on signs you in for reading, keeping, exporting and backing up without
asking. Your passphrase stays, and signatures, users, rules, deletions and the
page still ask for it. Whoever uses this system under your account then gets as
far as you do without it: lock the screen. docs/security.md says what it gives
up.`,
		Example: "  bedsaid record user keyring\n  bedsaid record user keyring --off",
		Args:    exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			p, err := m.begin(f)
			if err != nil {
				return err
			}
			return m.in(cmd.Context(), p, func(x *store.Session, _ *asker) error {
				if off {
					return m.distrustKeyring(cmd.Context(), x, p.dir)
				}
				return m.trustKeyring(cmd.Context(), x, p.dir)
			})
		},
	}
	keyring.Flags().BoolVar(&off, "off", false, "no keyring signs you in any more")
	passphrase := &cobra.Command{
		Use: "passphrase", Short: "Change your passphrase", Example: "  bedsaid record user passphrase",
		Args: exactly(0, "no arguments"),
		RunE: session(func(ctx context.Context, x *store.Session, ask *asker, _ []string) error {
			old, err := ask.secret("Your passphrase once more")
			if err != nil {
				return err
			}
			fresh, err := ask.newSecret("New passphrase")
			if err != nil {
				return err
			}
			if err := x.ChangePassphrase(ctx, old, fresh); err != nil {
				return err
			}
			fmt.Fprintln(m.Stdout, "Your passphrase is changed; a keyring that signed you in no longer does.")
			return nil
		}),
	}
	recovery := &cobra.Command{
		Use: "recover", Short: "Set a new passphrase by the printed recovery key", Example: "  bedsaid record user recover --user anna",
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error { return m.userRecover(cmd.Context(), f) },
	}
	for _, sub := range []*cobra.Command{add, list, change, retire, passphrase, keyring, recovery} {
		m.recordFlags(sub, &f)
		c.AddCommand(sub)
	}
	return c
}

// userOf finds a user who has access.
func userOf(ctx context.Context, x *store.Session, login string) (store.User, error) {
	users, err := x.Users(ctx)
	if err != nil {
		return store.User{}, err
	}
	for _, o := range users {
		if o.Login == login && o.Retired.IsZero() {
			return o, nil
		}
	}
	return store.User{}, failed(exitUsage, fmt.Errorf("no user %q", login)).hint("bedsaid record user list shows them")
}

func (m *Main) userList(ctx context.Context, x *store.Session) error {
	users, err := x.Users(ctx)
	if err != nil {
		return err
	}
	for _, u := range users {
		more := ""
		if u.Manages {
			more = ", manages"
		}
		if !u.Retired.IsZero() {
			more = ", retired " + u.Retired.Format(clock)
		}
		fmt.Fprintf(m.Stdout, "%s  %s%s\n", u.Login, plainLine(underNote(u.Person())), more)
	}
	return nil
}

func (m *Main) userRecover(ctx context.Context, f recordFlags) error {
	p, err := m.begin(f)
	if err != nil {
		return err
	}
	ask := m.asker()
	typed, err := ask.secret("Recovery key")
	if err != nil {
		return err
	}
	key, err := store.ParseRecoveryKey(typed)
	if err != nil {
		return refused(err)
	}
	fresh, err := ask.newSecret("New passphrase")
	if err != nil {
		return err
	}
	x, err := store.Recover(ctx, p.dir, key, p.login, fresh, p.opt)
	if err != nil {
		return refused(err)
	}
	fmt.Fprintf(m.Stdout, "%s has a new passphrase; it is written in the log.\n", p.login)
	return refused(x.Close())
}

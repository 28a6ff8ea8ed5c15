package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"
	"unicode"

	"bedsaid/internal/review"
)

// User is somebody who may sign in.
type User struct {
	ID string `json:"-"`
	// Login is what is typed to sign in; it is readable without a passphrase.
	Login string `json:"login"`
	// Name and Credentials stand below a note, such as "RN, BSN".
	Name        string      `json:"name"`
	Credentials string      `json:"credentials"`
	Role        review.Role `json:"role"`
	// Manages says that she adds and retires users, sets the rules of the site, and purges.
	Manages bool `json:"manages"`
	// Retired is when she lost access; zero while she has it. What she wrote stays.
	Retired time.Time `json:"retired"`
}

// Person is the user as she stands below a note.
func (u User) Person() review.Person {
	return review.Person{ID: u.ID, Name: u.Name, Credentials: u.Credentials, Role: u.Role}
}

// NewUser is what is needed to add a user.
type NewUser struct {
	Login, Name, Credentials string
	Role                     review.Role
	Manages                  bool
}

func (n NewUser) check() error {
	bad := n.Login == "" || strings.TrimSpace(n.Name) == "" || n.Role == review.RoleUnknown ||
		strings.ContainsFunc(n.Login, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) })
	if bad {
		return fmt.Errorf("add user: %w", &problem{"a user needs a login without spaces, a name and a role", "name them all; roles are " + strings.Join(review.RoleWords(), ", ")})
	}
	return nil
}

// Session is a user at work in the record. It is safe for use by several
// goroutines.
type Session struct {
	s      *Store
	user   User
	mu     sync.Mutex
	viewed map[string]bool // notes whose reading is in the log
}

// String keeps keys out of logs.
func (x *Session) String() string { return "session of " + x.user.ID }

// GoString does the same for %#v.
func (x *Session) GoString() string { return x.String() }

// Store is the record that the session works in.
func (x *Session) Store() *Store { return x.s }

// User is who works.
func (x *Session) User() User { return x.user }

// Close closes the record; for a program of one session.
func (x *Session) Close() error { return x.s.Close() }

// write runs f in a transaction of the session's user, if she still has access:
// somebody else may have retired her while she worked.
func (x *Session) write(ctx context.Context, f func(*tx) error) error {
	return x.s.write(ctx, func(t *tx) error {
		u, _, err := t.user(x.user.ID)
		if err != nil {
			return err
		}
		if !u.Retired.IsZero() {
			return ErrRole
		}
		return f(t)
	})
}

// begin makes a session of a user whose passphrase was right. A disk that cannot
// be written to must not keep her from reading.
func (s *Store) begin(ctx context.Context, id string, how any) (*Session, error) {
	x := &Session{s: s, viewed: map[string]bool{}}
	known := func(t *tx) (err error) {
		x.user, _, err = t.user(id)
		if err == nil && !x.user.Retired.IsZero() {
			err = ErrWrongPassphrase
		}
		return err
	}
	err := s.write(ctx, func(t *tx) error {
		if err := known(t); err != nil {
			return err
		}
		if s.anchorLost {
			if err := t.event(id, ActAnchorLost, "record", nil); err != nil {
				return err
			}
		}
		return t.event(id, ActSignedIn, id, how)
	})
	if unwritable(err) {
		s.notices = append(s.notices, err.Error()+"; the record can be read only")
		err = s.read(ctx, known)
	}
	return x, err
}

// unwritable says whether an error is of a disk that takes no more.
func unwritable(err error) bool {
	return errors.Is(err, ErrFull) || errors.Is(err, ErrReadOnly) || errors.Is(err, ErrDisk)
}

// SignIn begins another session in a record that is open: a second person, or
// the same one after the screen was locked.
func (s *Store) SignIn(ctx context.Context, login, passphrase string) (*Session, error) {
	id, err := s.authenticate(login, passphrase)
	if err != nil {
		return nil, fmt.Errorf("sign in: %w", err)
	}
	return s.begin(ctx, id, nil)
}

// authenticate checks a passphrase and gives the id of the user.
func (s *Store) authenticate(login, passphrase string) (string, error) {
	k, _, err := readKeys(s.dir)
	if err != nil {
		return "", err
	}
	data, id, err := k.unlockUser(login, passphrase)
	if err != nil {
		return "", err
	}
	defer clear(data)
	if !sameKey(data, s.keys.data) {
		return "", fmt.Errorf("%w (the keys are of another record)", ErrDamaged)
	}
	return id, nil
}

// confirm checks the passphrase of the session's own user.
func (x *Session) confirm(passphrase string) error {
	id, err := x.s.authenticate(x.user.Login, passphrase)
	if err == nil && id != x.user.ID {
		err = ErrWrongPassphrase
	}
	return err
}

func (t *tx) putUser(u User, version int) error {
	body, err := encode(u)
	if err != nil {
		return err
	}
	return t.exec("INSERT INTO users (id, version, body, mac) VALUES (?, ?, ?, ?)", u.ID, version, body, t.s.keys.sum("users", u.ID, version, body))
}

func (t *tx) user(id string) (User, int, error) {
	var version int
	var body, mac []byte
	if err := t.row("SELECT version, body, mac FROM users WHERE id = ? ORDER BY version DESC LIMIT 1", []any{id}, &version, &body, &mac); err != nil {
		return User{}, 0, err
	}
	if err := t.s.keys.check(mac, "users", id, version, body); err != nil {
		return User{}, 0, err
	}
	u := User{ID: id}
	return u, version, decode(body, &u)
}

func (t *tx) users() ([]User, error) {
	ids, err := t.ids("SELECT DISTINCT id FROM users ORDER BY id")
	var out []User
	for _, id := range ids {
		if err != nil {
			break
		}
		var u User
		u, _, err = t.user(id)
		out = append(out, u)
	}
	return out, err
}

// Users lists all users, retired ones included.
func (x *Session) Users(ctx context.Context) ([]User, error) {
	var out []User
	err := x.s.read(ctx, func(t *tx) (err error) {
		out, err = t.users()
		return err
	})
	return out, err
}

// AddUser adds a user with a first passphrase, which she should change.
func (x *Session) AddUser(ctx context.Context, n NewUser, passphrase string) (User, error) {
	if !x.user.Manages {
		return User{}, fmt.Errorf("add user: %w", ErrRole)
	}
	if err := n.check(); err != nil {
		return User{}, err
	}
	if err := checkPassphrase(passphrase); err != nil {
		return User{}, fmt.Errorf("add user: %w", err)
	}
	u := User{ID: newID("u"), Login: n.Login, Name: n.Name, Credentials: n.Credentials, Role: n.Role, Manages: n.Manages}
	// The key file is changed while the database's lock is held, so that two
	// programs cannot lose each other's users.
	err := x.write(ctx, func(t *tx) error {
		all, err := t.users()
		if err != nil {
			return err
		}
		k, _, err := readKeys(x.s.dir)
		if err != nil {
			return err
		}
		for _, o := range all {
			if o.Login == u.Login {
				return ErrUserExists
			}
		}
		if err := t.putUser(u, 1); err != nil {
			return err
		}
		if err := t.event(x.user.ID, ActUserAdded, u.ID, map[string]string{"role": u.Role.String()}); err != nil {
			return err
		}
		if err := k.lock(u.ID, u.Login, passphrase, x.s.keys.data, x.s.opt.passphraseCost()); err != nil {
			return err
		}
		return writeKeys(x.s.dir, k)
	})
	if err != nil {
		return User{}, fmt.Errorf("add user: %w", err)
	}
	return u, nil
}

// RetireUser takes a user's access away. What she wrote and signed stays hers.
func (x *Session) RetireUser(ctx context.Context, id string) error {
	if !x.user.Manages {
		return fmt.Errorf("retire user: %w", ErrRole)
	}
	err := x.write(ctx, func(t *tx) error {
		all, err := t.users()
		if err != nil {
			return err
		}
		managers := 0
		for _, u := range all {
			if u.Manages && u.Retired.IsZero() && u.ID != id {
				managers++
			}
		}
		if managers == 0 {
			return ErrLastUser
		}
		u, version, err := t.user(id)
		if err != nil {
			return err
		}
		k, _, err := readKeys(x.s.dir)
		if err != nil {
			return err
		}
		u.Retired = x.s.opt.Now()
		if err := t.putUser(u, version+1); err != nil {
			return err
		}
		if err := t.event(x.user.ID, ActUserChanged, id, map[string]any{"version": version + 1, "retired": stamp(u.Retired)}); err != nil {
			return err
		}
		k.drop(id)
		return writeKeys(x.s.dir, k)
	})
	if err != nil {
		return fmt.Errorf("retire user: %w", err)
	}
	return nil
}

// ChangeUser gives a user another name or other credentials, as they stand below
// a note from then on. What she signed before stays as it was signed.
func (x *Session) ChangeUser(ctx context.Context, id, name, credentials string) (User, error) {
	if !x.user.Manages {
		return User{}, fmt.Errorf("change user: %w", ErrRole)
	}
	var u User
	err := x.write(ctx, func(t *tx) error {
		var version int
		var err error
		if u, version, err = t.user(id); err != nil {
			return err
		}
		if !u.Retired.IsZero() {
			return ErrNotFound
		}
		u.Name, u.Credentials = strings.TrimSpace(name), strings.TrimSpace(credentials)
		if u.Name == "" {
			return &problem{"a user needs a name", "say it as it stands below a note"}
		}
		if err := t.putUser(u, version+1); err != nil {
			return err
		}
		return t.event(x.user.ID, ActUserChanged, id, map[string]any{"version": version + 1})
	})
	if err != nil {
		return User{}, fmt.Errorf("change user: %w", err)
	}
	return u, nil
}

// ChangePassphrase locks the data key anew for the session's user; nothing else
// is rewritten. A copy of the old key file still opens with the old passphrase.
func (x *Session) ChangePassphrase(ctx context.Context, old, new string) error {
	if err := x.confirm(old); err != nil {
		return fmt.Errorf("change passphrase: %w", err)
	}
	return x.s.relock(ctx, x.user, new, ActPassphrase)
}

func (s *Store) relock(ctx context.Context, u User, passphrase string, act Act) error {
	if err := checkPassphrase(passphrase); err != nil {
		return fmt.Errorf("change passphrase: %w", err)
	}
	err := s.write(ctx, func(t *tx) error {
		return t.changeKeys(u.ID, act, func(k *keyFile) error {
			return k.lock(u.ID, u.Login, passphrase, s.keys.data, s.opt.passphraseCost())
		})
	})
	if err != nil {
		return fmt.Errorf("change passphrase: %w", err)
	}
	return nil
}

// Recover gives a user a new passphrase by the printed recovery key, and opens
// the record for her. It is written in the log.
func Recover(ctx context.Context, dir string, key RecoveryKey, login, passphrase string, opt Options) (*Session, error) {
	k, _, err := readKeys(dir)
	if err != nil {
		return nil, fmt.Errorf("recover: %w", err)
	}
	data, err := k.unlockRecovery(key)
	if err != nil {
		return nil, fmt.Errorf("recover: %w", err)
	}
	s, err := openKnown(ctx, dir, data, k.Record, opt)
	if err != nil {
		return nil, fmt.Errorf("recover: %w", err)
	}
	var found *User
	err = s.read(ctx, func(t *tx) error {
		all, err := t.users()
		for _, u := range all {
			if u.Login == login && u.Retired.IsZero() {
				found = &u
			}
		}
		return err
	})
	if err == nil && found == nil {
		err = ErrNotFound
	}
	if err == nil {
		err = s.relock(ctx, *found, passphrase, ActRecovered)
	}
	if cerr := s.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return nil, fmt.Errorf("recover: %w", err)
	}
	return Open(ctx, dir, login, passphrase, opt)
}

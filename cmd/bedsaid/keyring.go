package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	oskeyring "github.com/zalando/go-keyring"

	"bedsaid/internal/store"
)

// keyring is what keeps a secret for the user of the operating system.
type keyring interface {
	Get(service, user string) (string, error)
	Set(service, user, secret string) error
	Delete(service, user string) error
}

// systemKeyring is the Secret Service of a Linux desktop, the Keychain of macOS
// or the Credential Manager of Windows.
type systemKeyring struct{}

func (systemKeyring) Get(service, user string) (string, error) { return oskeyring.Get(service, user) }
func (systemKeyring) Set(service, user, secret string) error {
	return oskeyring.Set(service, user, secret)
}
func (systemKeyring) Delete(service, user string) error {
	err := oskeyring.Delete(service, user)
	if errors.Is(err, oskeyring.ErrNotFound) {
		err = nil
	}
	return err
}

const (
	keyringService = "bedsaid"
	// keyringWait is for a person who is asked to unlock it.
	keyringWait = time.Minute
)

// inKeyring does something with the keyring, and waits no longer than a person
// needs: some keyrings ask on another screen, and are never answered.
func inKeyring[T any](ctx context.Context, f func() (T, error)) (T, error) {
	type answer struct {
		v   T
		err error
	}
	done := make(chan answer, 1)
	go func() {
		v, err := f()
		done <- answer{v, err}
	}()
	ctx, stop := context.WithTimeout(ctx, keyringWait)
	defer stop()
	select {
	case a := <-done:
		return a.v, a.err
	case <-ctx.Done():
		var none T
		return none, errors.New("the keyring did not answer")
	}
}

// account is how the keyring knows a user of a record.
func account(record, login string) string { return record + "/" + login }

// byKeyring opens the record with what the keyring keeps for the user; nil where
// she did not ask for that, or where it does not work, which is told.
func (m *Main) byKeyring(ctx context.Context, p place) *store.Session {
	record, trusted, err := store.KeyringTrusted(p.dir, p.login)
	if err != nil || !trusted { // opening by the passphrase tells what is wrong
		return nil
	}
	secret, err := inKeyring(ctx, func() (string, error) { return m.Keyring.Get(keyringService, account(record, p.login)) })
	if err == nil {
		var x *store.Session
		if x, err = store.OpenByKeyring(ctx, p.dir, p.login, store.KeyringSecret(secret), p.opt); err == nil {
			return x
		}
	}
	fmt.Fprintf(m.Stderr, "bedsaid: the keyring of this system does not let you in (%s); your passphrase does\n", plainLine(keyringCause(err)))
	return nil
}

// keyringCause is why a keyring failed; its own words say it to programmers.
func keyringCause(err error) string {
	switch {
	case errors.Is(err, oskeyring.ErrNotFound):
		return "it has nothing of this record"
	case errors.Is(err, store.ErrWrongPassphrase):
		return "what it keeps is no longer valid"
	}
	return "no keyring answers in this session"
}

// trustKeyring puts a new secret into the keyring.
func (m *Main) trustKeyring(ctx context.Context, x *store.Session, dir string) error {
	secret, err := x.TrustKeyring(ctx)
	if err != nil {
		return err
	}
	login := x.User().Login
	record, _, err := store.KeyringTrusted(dir, login)
	if err == nil {
		_, err = inKeyring(ctx, func() (struct{}, error) {
			return struct{}{}, m.Keyring.Set(keyringService, account(record, login), secret.Reveal())
		})
	}
	if err != nil {
		if derr := x.DistrustKeyring(ctx); derr != nil {
			return derr
		}
		return failed(exitFailed, fmt.Errorf("use the keyring: %s", keyringCause(err))).
			hint("nothing was changed; a desktop session with an unlocked keyring is needed; the passphrase opens the record as before")
	}
	fmt.Fprintf(m.Stdout, `The keyring of this system lets %s in from now on. Whoever uses this system under
your account can then read and change what is not signed; signatures, users,
rules and deletions still ask for the passphrase. To end it:
bedsaid record user keyring --off
`, login)
	return nil
}

// distrustKeyring ends it, whatever the keyring does.
func (m *Main) distrustKeyring(ctx context.Context, x *store.Session, dir string) error {
	login := x.User().Login
	record, _, err := store.KeyringTrusted(dir, login)
	if err != nil {
		return err
	}
	if err := x.DistrustKeyring(ctx); err != nil {
		return err
	}
	if _, err := inKeyring(ctx, func() (struct{}, error) {
		return struct{}{}, m.Keyring.Delete(keyringService, account(record, login))
	}); err != nil {
		fmt.Fprintf(m.Stderr, "bedsaid: the keyring still has its entry (%s); it opens nothing any more\n", plainLine(keyringCause(err)))
	}
	fmt.Fprintln(m.Stdout, "No keyring lets you in any more.")
	return nil
}

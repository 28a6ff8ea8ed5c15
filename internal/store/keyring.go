package store

import (
	"context"
	"encoding/hex"
	"fmt"
	"slices"
)

// byKeyring is how the lock of a user's keyring secret is told from that of her
// passphrase.
const byKeyring = "keyring"

// randomCost is enough for a secret of 256 random bits, which nobody guesses.
var randomCost = cost{Time: 1, MemoryKiB: 64, Threads: 1}

// KeyringSecret opens the record for one user in place of her passphrase, as
// long as the keyring of the operating system keeps it. It signs nothing.
type KeyringSecret string

// Reveal gives the secret for the keyring alone.
func (s KeyringSecret) Reveal() string { return string(s) }

// String keeps the secret out of logs and errors.
func (s KeyringSecret) String() string { return "secret of a keyring" }

// GoString does the same for %#v.
func (s KeyringSecret) GoString() string { return s.String() }

// TrustKeyring makes a secret that opens the record for the session's user. It
// is to be put into the keyring of the operating system at once: the record
// keeps no copy. An earlier one opens it no more.
func (x *Session) TrustKeyring(ctx context.Context) (KeyringSecret, error) {
	secret := KeyringSecret(hex.EncodeToString(randomBytes(keySize)))
	err := x.write(ctx, func(t *tx) error {
		return t.changeKeys(x.user.ID, ActKeyringOn, func(k *keyFile) error {
			return k.lockBy(byKeyring, x.user.ID, x.user.Login, string(secret), x.s.keys.data, randomCost)
		})
	})
	if err != nil {
		return "", fmt.Errorf("trust keyring: %w", err)
	}
	return secret, nil
}

// DistrustKeyring lets no keyring open the record for the session's user any
// more. So does a new passphrase.
func (x *Session) DistrustKeyring(ctx context.Context) error {
	err := x.write(ctx, func(t *tx) error {
		return t.changeKeys(x.user.ID, ActKeyringOff, func(k *keyFile) error {
			k.Wraps = slices.DeleteFunc(slices.Clone(k.Wraps), func(w wrap) bool { return w.User == x.user.ID && w.By == byKeyring })
			return nil
		})
	})
	if err != nil {
		return fmt.Errorf("distrust keyring: %w", err)
	}
	return nil
}

// changeKeys changes what opens the record for a user while the database's lock is
// held, so that two programs cannot lose each other's change.
func (t *tx) changeKeys(user string, act Act, change func(*keyFile) error) error {
	k, _, err := readKeys(t.s.dir)
	if err != nil {
		return err
	}
	if err := change(&k); err != nil {
		return err
	}
	if err := t.event(user, act, user, nil); err != nil {
		return err
	}
	return writeKeys(t.s.dir, k)
}

// KeyringTrusted says whether the user of that login may be let in by a keyring,
// and the id of the record, by which the keyring knows it. It needs no
// passphrase, and opens nothing.
func KeyringTrusted(dir, login string) (record string, trusted bool, err error) {
	k, _, err := readKeys(dir)
	if err != nil {
		return "", false, fmt.Errorf("read keys: %w", err)
	}
	return k.Record, slices.ContainsFunc(k.Wraps, func(w wrap) bool { return w.By == byKeyring && w.Name == login && login != "" }), nil
}

// OpenByKeyring opens the record as Open does, with the secret that the user's
// keyring kept.
func OpenByKeyring(ctx context.Context, dir, login string, secret KeyringSecret, opt Options) (*Session, error) {
	return openBy(ctx, dir, opt, map[string]string{"by": byKeyring}, func(k keyFile) ([]byte, string, error) {
		if login == "" {
			return nil, "", ErrWrongPassphrase
		}
		return k.unlockBy(byKeyring, login, string(secret))
	})
}

// withoutKeyrings is the key file as a backup takes it: what lies elsewhere is
// opened by what a person knows or holds.
func (k keyFile) withoutKeyrings() (keyFile, error) {
	k.Wraps = slices.DeleteFunc(slices.Clone(k.Wraps), func(w wrap) bool { return w.By != "" })
	plain, err := k.encode()
	if err != nil {
		return keyFile{}, err
	}
	return decodeKeys(plain)
}

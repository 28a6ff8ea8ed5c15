package store

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
	"golang.org/x/crypto/chacha20poly1305"
)

// MinPassphrase is the fewest characters of a passphrase (common practice, no
// source: what is on a stolen disk can be guessed at without end).
const MinPassphrase = 12

// Names of the key file and of its copy, which is read where the first is
// damaged: without either, nobody can read the record.
const (
	keysName     = "keys.json"
	keysCopyName = "keys.copy.json"
	keysFormat   = "bedsaid-keys/1"
	// keysFormat2 is that of a file with keyring secrets, which a program that
	// knows none of them must not write over.
	keysFormat2 = "bedsaid-keys/2"
)

// cost is what Argon2id is asked for.
type cost struct {
	Time      uint32 `json:"time"`
	MemoryKiB uint32 `json:"memory_kib"`
	Threads   uint8  `json:"threads"`
}

// standardCost is the second recommended option of RFC 9106, section 4, for
// machines where 2 GiB are too much to ask.
var standardCost = cost{Time: 3, MemoryKiB: 64 << 10, Threads: 4}

// wrap is the data key, locked with one person's passphrase or with the
// recovery key.
type wrap struct {
	// User is the id, empty for the recovery key; Name is what is typed to sign in.
	User string `json:"user"`
	Name string `json:"name"`
	// By is empty for a passphrase or the recovery key, else byKeyring.
	By   string `json:"by,omitempty"`
	Cost cost   `json:"argon2id"`
	Salt []byte `json:"salt"`
	// Nonce and Key are of XChaCha20-Poly1305.
	Nonce []byte `json:"nonce"`
	Key   []byte `json:"key"`
}

// keyFile is all wraps of a record. Names of users are readable in it; nothing
// of a patient is.
type keyFile struct {
	Format string `json:"format"`
	Record string `json:"record"`
	Wraps  []wrap `json:"wraps"`
	// SHA256 is of the same file with this empty: it tells damage from a wrong
	// passphrase.
	SHA256 string `json:"sha256"`
}

func (k keyFile) encode() ([]byte, error) {
	k.SHA256, k.Format = "", keysFormat
	if slices.ContainsFunc(k.Wraps, func(w wrap) bool { return w.By != "" }) {
		k.Format = keysFormat2
	}
	plain, err := json.Marshal(k)
	if err != nil {
		return nil, fmt.Errorf("encode keys: %w", err)
	}
	sum := sha256.Sum256(plain)
	k.SHA256 = hex.EncodeToString(sum[:])
	out, err := json.MarshalIndent(k, "", " ")
	if err != nil {
		return nil, fmt.Errorf("encode keys: %w", err)
	}
	return append(out, '\n'), nil
}

func decodeKeys(data []byte) (keyFile, error) {
	var k keyFile
	if err := json.Unmarshal(data, &k); err != nil {
		return keyFile{}, fmt.Errorf("%w (keys)", ErrDamaged)
	}
	if k.Format != keysFormat && k.Format != keysFormat2 && strings.HasPrefix(k.Format, "bedsaid-keys/") {
		return keyFile{}, ErrNewer
	}
	if same, err := k.encode(); err != nil || !bytes.Equal(same, data) {
		return keyFile{}, fmt.Errorf("%w (keys)", ErrDamaged)
	}
	return k, nil
}

// readKeys reads the key file, or its copy where it is damaged or gone.
func readKeys(dir string) (k keyFile, fromCopy bool, err error) {
	data, err := os.ReadFile(filepath.Join(dir, keysName))
	if err == nil {
		if k, err = decodeKeys(data); err == nil || errors.Is(err, ErrNewer) {
			return k, false, err
		}
	}
	second, copyErr := os.ReadFile(filepath.Join(dir, keysCopyName))
	if copyErr == nil {
		if k, copyErr = decodeKeys(second); copyErr == nil {
			return k, true, nil
		}
	}
	switch {
	case errors.Is(err, os.ErrNotExist) && errors.Is(copyErr, os.ErrNotExist):
		if _, dbErr := os.Stat(filepath.Join(dir, recordName)); dbErr == nil {
			return keyFile{}, false, fmt.Errorf("%w (the keys are gone)", ErrDamaged)
		}
		return keyFile{}, false, ErrNoRecord
	case errors.Is(err, ErrDamaged), errors.Is(err, os.ErrNotExist):
		return keyFile{}, false, fmt.Errorf("%w (keys)", ErrDamaged)
	}
	return keyFile{}, false, translate(err)
}

// writeKeys replaces the copy and then the file itself: whenever the machine
// stops, one of them is whole.
func writeKeys(dir string, k keyFile) error {
	data, err := k.encode()
	if err != nil {
		return err
	}
	for _, name := range []string{keysCopyName, keysName} {
		if err := replaceFile(filepath.Join(dir, name), data); err != nil {
			return fmt.Errorf("write keys: %w", translate(err))
		}
	}
	return nil
}

// replaceFile puts a whole file in place at once, readable by its owner only.
func replaceFile(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// syncFolder makes names in a folder survive a loss of power.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// label binds a wrap to its record and person.
func (k keyFile) label(w wrap) []byte {
	label := fmt.Appendf(nil, "%s|%s|%q|%q", keysFormat, k.Record, w.User, w.Name)
	if w.By != "" {
		label = fmt.Appendf(label, "|%q", w.By)
	}
	return label
}

// lock adds the data key, locked with a passphrase or the recovery key, in place
// of all earlier wraps of the same person: a new passphrase ends what a keyring
// keeps.
func (k *keyFile) lock(user, name, secret string, data []byte, c cost) error {
	return k.lockBy("", user, name, secret, data, c)
}

func (k *keyFile) lockBy(by, user, name, secret string, data []byte, c cost) error {
	w := wrap{User: user, Name: name, By: by, Cost: c, Salt: randomBytes(16), Nonce: randomBytes(chacha20poly1305.NonceSizeX)}
	kek := argon2.IDKey([]byte(secret), w.Salt, c.Time, c.MemoryKiB, c.Threads, keySize)
	defer clear(kek)
	box, err := chacha20poly1305.NewX(kek)
	if err != nil {
		return fmt.Errorf("lock key: %w", err)
	}
	w.Key = box.Seal(nil, w.Nonce, data, k.label(w))
	k.Wraps = slices.DeleteFunc(slices.Clone(k.Wraps), func(o wrap) bool {
		return (o.User == user || o.Name == name) && (by == "" || o.By == by)
	})
	k.Wraps = append(k.Wraps, w)
	return nil
}

// drop takes away a person's wrap.
func (k *keyFile) drop(user string) {
	k.Wraps = slices.DeleteFunc(slices.Clone(k.Wraps), func(w wrap) bool { return w.User == user })
}

// unlock gives the data key and the id of the user of that name. The name ""
// is the recovery key's.
func (k keyFile) unlock(name, secret string) (data []byte, user string, err error) {
	return k.unlockBy("", name, secret)
}

func (k keyFile) unlockBy(by, name, secret string) (data []byte, user string, err error) {
	for _, w := range k.Wraps {
		if w.By != by || w.Name != name || (w.User == "") != (name == "") {
			continue
		}
		// A tampered cost must not exhaust the machine or divide by zero.
		if w.Cost.Time == 0 || w.Cost.Time > 16 || w.Cost.MemoryKiB > 1<<20 || w.Cost.Threads == 0 || len(w.Nonce) != chacha20poly1305.NonceSizeX {
			return nil, "", fmt.Errorf("%w (keys)", ErrDamaged)
		}
		kek := argon2.IDKey([]byte(secret), w.Salt, w.Cost.Time, w.Cost.MemoryKiB, w.Cost.Threads, keySize)
		defer clear(kek)
		box, err := chacha20poly1305.NewX(kek)
		if err != nil {
			return nil, "", fmt.Errorf("unlock key: %w", err)
		}
		data, err := box.Open(nil, w.Nonce, w.Key, k.label(w))
		if err != nil || len(data) != keySize {
			return nil, "", ErrWrongPassphrase
		}
		return data, w.User, nil
	}
	return nil, "", ErrWrongPassphrase
}

func sameKey(a, b []byte) bool { return subtle.ConstantTimeCompare(a, b) == 1 }

func checkPassphrase(p string) error {
	if utf8.RuneCountInString(p) < MinPassphrase {
		return ErrWeakPassphrase
	}
	return nil
}

// recoveryAlphabet leaves out letters that are mistaken for digits.
var recoveryAlphabet = base32.NewEncoding("ABCDEFGHJKMNPQRSTVWXYZ0123456789").WithPadding(base32.NoPadding)

// RecoveryKey opens the record where every passphrase is lost. It is printed
// once and kept in a safe; the record holds no copy of it.
type RecoveryKey string

// newRecoveryKey makes 160 random bits and 20 bits that tell a slip of the pen.
func newRecoveryKey() RecoveryKey {
	body := recoveryAlphabet.EncodeToString(randomBytes(20))
	return group(body + recoveryCheck(body))
}

func recoveryCheck(body string) string {
	sum := sha256.Sum256([]byte("bedsaid recovery key " + body))
	return recoveryAlphabet.EncodeToString(sum[:])[:4]
}

func group(s string) RecoveryKey {
	var parts []string
	for ; len(s) > 4; s = s[4:] {
		parts = append(parts, s[:4])
	}
	return RecoveryKey(strings.Join(append(parts, s), "-"))
}

// ParseRecoveryKey reads a key as a person types it, in any case and spacing;
// a slip is an ErrRecoveryKey.
func ParseRecoveryKey(typed string) (RecoveryKey, error) {
	s := strings.Map(func(r rune) rune {
		switch r {
		case 'I', 'L', 'i', 'l':
			return '1'
		case 'O', 'o':
			return '0'
		case ' ', '-', '\t', '\n', '\r':
			return -1
		}
		return r
	}, typed)
	s = strings.ToUpper(s)
	if len(s) != 36 || recoveryCheck(s[:32]) != s[32:] {
		return "", ErrRecoveryKey
	}
	return group(s), nil
}

// Reveal gives the key for printing, the one time that it is shown.
func (r RecoveryKey) Reveal() string { return string(r) }

// String keeps the key out of logs and errors.
func (r RecoveryKey) String() string { return "recovery key" }

// GoString does the same for %#v.
func (r RecoveryKey) GoString() string { return r.String() }

// randomBytes cannot fail: crypto/rand ends the program where the system gives
// no randomness.
func randomBytes(n int) []byte {
	b := make([]byte, n)
	rand.Read(b)
	return b
}

// newID makes an id of a kind's letter and 80 random bits.
func newID(kind string) string {
	return kind + strings.ToLower(recoveryAlphabet.EncodeToString(randomBytes(10)))
}

// unlockUser gives the data key to a user. Nobody's login is the recovery key's
// empty name.
func (k keyFile) unlockUser(login, passphrase string) (data []byte, user string, err error) {
	if login == "" {
		return nil, "", ErrWrongPassphrase
	}
	return k.unlock(login, passphrase)
}

// unlockRecovery gives the data key to who holds the printed recovery key.
func (k keyFile) unlockRecovery(key RecoveryKey) ([]byte, error) {
	data, _, err := k.unlock("", string(key))
	if errors.Is(err, ErrWrongPassphrase) {
		err = ErrRecoveryKey
	}
	return data, err
}

package store

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"fmt"

	"lukechampine.com/adiantum"
	"lukechampine.com/adiantum/hbsh"
)

// keySize is the length of the data key and of every key made from it, in bytes.
const keySize = 32

// secrets are the keys of an open record. They are wiped when it is closed.
type secrets struct {
	data []byte // what the users' passphrases unwrap
	file []byte // encrypts the database
	seal []byte // keyed hashes
}

func newSecrets(data []byte) (*secrets, error) {
	k := &secrets{data: data}
	var err error
	if k.file, err = derive(data, nil, "bedsaid record file"); err != nil {
		return nil, err
	}
	k.seal, err = derive(data, nil, "bedsaid record seal")
	return k, err
}

// derive makes a key for one purpose (HKDF, RFC 5869, with SHA-256).
func derive(key, salt []byte, purpose string) ([]byte, error) {
	out, err := hkdf.Key(sha256.New, key, salt, purpose, keySize)
	if err != nil {
		return nil, fmt.Errorf("derive key: %w", err)
	}
	return out, nil
}

// String keeps keys out of logs and errors.
func (k *secrets) String() string { return "keys" }

// GoString does the same for %#v.
func (k *secrets) GoString() string { return k.String() }

func (k *secrets) wipe() {
	clear(k.data)
	clear(k.file)
	clear(k.seal)
}

// sum is the keyed hash (HMAC, RFC 2104, with SHA-256) of a row: its table and
// all its values, each with its kind and length, so that no two rows of
// different content look the same to it.
func (k *secrets) sum(table string, values ...any) []byte {
	h := hmac.New(sha256.New, k.seal)
	put := func(kind byte, b []byte) {
		var n [9]byte
		n[0] = kind
		binary.BigEndian.PutUint64(n[1:], uint64(len(b)))
		h.Write(n[:])
		h.Write(b)
	}
	put('t', []byte(table))
	for _, v := range values {
		switch v := v.(type) {
		case string:
			put('s', []byte(v))
		case []byte:
			put('b', v)
		case int:
			put('i', binary.BigEndian.AppendUint64(nil, uint64(v)))
		case int64:
			put('i', binary.BigEndian.AppendUint64(nil, uint64(v)))
		default:
			panic(fmt.Sprintf("seal a value of kind %T", v))
		}
	}
	return h.Sum(nil)
}

// check compares a row with its keyed hash.
func (k *secrets) check(mac []byte, table string, values ...any) error {
	if !hmac.Equal(mac, k.sum(table, values...)) {
		return fmt.Errorf("%w (%s)", ErrDamaged, table)
	}
	return nil
}

// cipher gives the database's files their cipher. The key reaches it in memory
// alone: no address and no SQL text holds it.
type cipher struct{ key []byte }

// KDF makes the random key of a temporary file; there are none, since they are
// kept in memory.
func (c cipher) KDF(string) []byte { return randomBytes(keySize) }

// HBSH makes the cipher. Anything that is no whole key stands for the record's.
func (c cipher) HBSH(key []byte) *hbsh.HBSH {
	if len(key) != keySize {
		key = c.key
	}
	return adiantum.New(key)
}

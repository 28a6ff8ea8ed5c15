package store

import (
	"bufio"
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/ncruces/go-sqlite3/driver"
	"github.com/ncruces/go-sqlite3/vfs"
)

// A backup is one file: a line that names the form, the length of the header
// (four bytes, big endian), the header as JSON, the database encrypted under a
// key of its own, and a keyed hash of all that. It holds the key file as it was,
// so the passphrases and the recovery key of that day open it.
const backupFormat = "bedsaid-backup/1"

type backupHeader struct {
	Record string    `json:"record"`
	MadeAt time.Time `json:"made_at"`
	// Salt makes the backup's keys from the data key: two backups of the same
	// record share no block.
	Salt []byte  `json:"salt"`
	Size int64   `json:"size"`
	Keys keyFile `json:"keys"`
}

// ErrBackup says that a backup cannot be relied on.
var ErrBackup = &problem{"the backup is damaged, cut short, or was changed", "use another backup; nothing was restored"}

func backupKeys(data, salt []byte) (file, seal []byte, err error) {
	if file, err = derive(data, salt, "bedsaid backup file"); err != nil {
		return nil, nil, err
	}
	seal, err = derive(data, salt, "bedsaid backup seal")
	return file, seal, err
}

// Backup writes a consistent copy of the record to a new file, also while sound
// is being recorded. The copy is verified whole before it gets its name, and
// read back after it.
func (x *Session) Backup(ctx context.Context, path string) (Report, error) {
	r, err := x.s.backup(ctx, path)
	if err == nil {
		err = x.write(ctx, func(t *tx) error { return t.event(x.user.ID, ActBackup, "record", map[string]int{"notes": r.Notes}) })
	}
	if err != nil {
		return Report{}, fmt.Errorf("back up: %w", translate(err))
	}
	return r, nil
}

func (s *Store) backup(ctx context.Context, path string) (Report, error) {
	if _, err := os.Lstat(path); !errors.Is(err, os.ErrNotExist) {
		return Report{}, ErrExists
	}
	k, _, err := readKeys(s.dir)
	if err == nil {
		k, err = k.withoutKeyrings()
	}
	if err != nil {
		return Report{}, err
	}
	work, err := os.MkdirTemp(filepath.Dir(path), ".bedsaid-backup-*") // mode 0700
	if err != nil {
		return Report{}, err
	}
	defer os.RemoveAll(work)
	h := backupHeader{Record: k.Record, MadeAt: s.opt.Now(), Salt: randomBytes(16), Keys: k}
	fileKey, sealKey, err := backupKeys(s.keys.data, h.Salt)
	if err != nil {
		return Report{}, err
	}
	defer clear(fileKey)
	defer clear(sealKey)
	layer := registerLayer(s.opt.base, fileKey)
	defer vfs.Unregister(layer)
	copied := filepath.Join(work, recordName)
	if err := s.copyTo(ctx, copied, layer); err != nil {
		return Report{}, err
	}
	r, err := s.verifyCopy(ctx, copied, layer)
	if err != nil {
		return Report{}, err
	}
	packed := filepath.Join(work, "packed")
	if err := packBackup(packed, copied, h, sealKey); err != nil {
		return Report{}, err
	}
	f, err := os.Open(packed)
	if err != nil {
		return Report{}, err
	}
	defer f.Close()
	if _, err := checkBackup(f, func(backupHeader) ([]byte, error) { return sealKey, nil }, io.Discard); err != nil {
		return Report{}, err
	}
	// A link, unlike a rename, never replaces what came to be there meanwhile.
	if err := os.Link(packed, path); err != nil {
		if errors.Is(err, os.ErrExist) {
			return Report{}, ErrExists
		}
		if err := os.Rename(packed, path); err != nil { // disks without links
			return Report{}, err
		}
	}
	return r, syncFolder(filepath.Dir(path))
}

// copyTo copies the database as it stands at one moment into a new file under
// another key.
func (s *Store) copyTo(ctx context.Context, path, layer string) error {
	abs, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	c, err := s.db.Conn(ctx)
	if err != nil {
		return s.fault(err)
	}
	defer c.Close()
	return translate(c.Raw(func(raw any) error {
		dc, ok := raw.(driver.Conn)
		if !ok {
			return fmt.Errorf("copy record: connection of kind %T", raw)
		}
		return dc.Raw().Backup("main", address(abs, layer, "&mode=rwc"))
	}))
}

// verifyCopy opens a copy of the record and verifies it whole.
func (s *Store) verifyCopy(ctx context.Context, path, layer string) (Report, error) {
	db, err := openDatabase(path, layer, false)
	if err != nil {
		return Report{}, err
	}
	c := &Store{opt: s.opt, keys: s.keys, db: db}
	r, err := c.verify(ctx)
	if cerr := db.Close(); err == nil {
		err = translate(cerr)
	}
	if err == nil && len(r.Problems) > 0 {
		err = fmt.Errorf("%w (%d problems: bedsaid verify lists them)", ErrDamaged, len(r.Problems))
	}
	return r, err
}

func packBackup(path, database string, h backupHeader, seal []byte) (err error) {
	in, err := os.Open(database)
	if err != nil {
		return err
	}
	defer in.Close()
	info, err := in.Stat()
	if err != nil {
		return err
	}
	h.Size = info.Size()
	header, err := encode(h)
	if err != nil {
		return err
	}
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := out.Close(); err == nil {
			err = cerr
		}
	}()
	sum := hmac.New(sha256.New, seal)
	w := bufio.NewWriterSize(out, 1<<20)
	both := io.MultiWriter(w, sum)
	fmt.Fprintln(both, backupFormat)
	both.Write(binary.BigEndian.AppendUint32(nil, uint32(len(header))))
	both.Write(header)
	if n, err := io.Copy(both, in); err != nil || n != h.Size {
		return errors.Join(err, ErrBackup)
	}
	w.Write(sum.Sum(nil))
	if err := w.Flush(); err != nil { // it keeps the first error of all writes
		return err
	}
	return out.Sync()
}

// checkBackup reads a backup to its end, compares its keyed hash, and copies
// the database in it. What was copied must not be used before it returns.
func checkBackup(r io.Reader, sealKey func(backupHeader) ([]byte, error), database io.Writer) (backupHeader, error) {
	in := bufio.NewReaderSize(r, 1<<20)
	h, head, err := readBackupHeader(in)
	if err != nil {
		return h, err
	}
	key, err := sealKey(h)
	if err != nil {
		return h, err
	}
	sum := hmac.New(sha256.New, key)
	sum.Write(head)
	if _, err := io.CopyN(io.MultiWriter(database, sum), in, h.Size); err != nil {
		if errors.Is(err, io.EOF) {
			return h, ErrBackup
		}
		return h, translate(err)
	}
	return h, checkEnd(in, sum)
}

func checkEnd(in io.Reader, sum hash.Hash) error {
	end, err := io.ReadAll(io.LimitReader(in, sha256.Size+1))
	if err != nil {
		return translate(err)
	}
	if !hmac.Equal(end, sum.Sum(nil)) {
		return ErrBackup
	}
	return nil
}

func readBackupHeader(in *bufio.Reader) (h backupHeader, raw []byte, err error) {
	line := make([]byte, len(backupFormat)+1+4)
	if _, err := io.ReadFull(in, line); err != nil {
		return h, nil, ErrBackup
	}
	if !bytes.HasPrefix(line, []byte(backupFormat+"\n")) {
		if bytes.HasPrefix(line, []byte("bedsaid-backup/")) {
			return h, nil, ErrNewer
		}
		return h, nil, fmt.Errorf("%w (it does not begin as a backup does)", ErrBackup)
	}
	n := binary.BigEndian.Uint32(line[len(backupFormat)+1:])
	if n > 1<<24 {
		return h, nil, ErrBackup
	}
	header := make([]byte, n)
	if _, err := io.ReadFull(in, header); err != nil {
		return h, nil, ErrBackup
	}
	if err := json.Unmarshal(header, &h); err != nil || h.Size < 0 || h.Keys.Record != h.Record || len(h.Salt) != 16 {
		return h, nil, ErrBackup
	}
	return h, append(line, header...), nil
}

// Unlocking opens a backup: a user's login and passphrase of the day it was
// made, or the recovery key of that day.
type Unlocking struct {
	Login, Passphrase string
	Recovery          RecoveryKey
}

func (u Unlocking) open(k keyFile) (data []byte, user string, err error) {
	if u.Recovery != "" {
		data, err = k.unlockRecovery(u.Recovery)
		return data, "", err
	}
	return k.unlockUser(u.Login, u.Passphrase)
}

// Restore makes a record of a backup in dir, which must be empty or not there:
// it never changes a folder that holds something. The backup is checked before
// anything of it is used, and the record is verified whole before it gets its
// name.
func Restore(ctx context.Context, backup, dir string, with Unlocking, opt Options) (Report, error) {
	r, err := restore(ctx, backup, dir, with, opt)
	if err != nil {
		return Report{}, fmt.Errorf("restore: %w", translate(err))
	}
	return r, nil
}

func restore(ctx context.Context, backup, dir string, with Unlocking, opt Options) (Report, error) {
	f, err := os.Open(backup)
	if err != nil {
		return Report{}, err
	}
	defer f.Close()
	part, err := beside(dir)
	if err != nil {
		return Report{}, err
	}
	defer os.RemoveAll(part)
	work := filepath.Join(part, "work")
	if err := os.Mkdir(work, 0o700); err != nil {
		return Report{}, err
	}
	copied := filepath.Join(work, recordName)
	out, err := os.OpenFile(copied, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return Report{}, err
	}
	var data, fileKey []byte
	var user string
	h, err := checkBackup(f, func(h backupHeader) (seal []byte, err error) {
		plain, err := h.Keys.encode()
		if err != nil {
			return nil, err
		}
		k, err := decodeKeys(plain)
		if err != nil || k.SHA256 != h.Keys.SHA256 {
			return nil, ErrBackup
		}
		if data, user, err = with.open(h.Keys); err != nil {
			return nil, err
		}
		fileKey, seal, err = backupKeys(data, h.Salt)
		return seal, err
	}, out)
	if cerr := out.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return Report{}, err
	}
	defer clear(fileKey)
	if err := reencrypt(ctx, copied, fileKey, part, data, opt); err != nil {
		return Report{}, err
	}
	if err := os.RemoveAll(work); err != nil {
		return Report{}, err
	}
	if err := writeKeys(part, h.Keys); err != nil {
		return Report{}, err
	}
	s, err := openKnown(ctx, part, data, h.Record, opt)
	if err != nil {
		return Report{}, err
	}
	r, err := s.verify(ctx)
	if err == nil && len(r.Problems) > 0 {
		err = ErrBackup
	}
	if err == nil {
		err = s.write(ctx, func(t *tx) error {
			return t.event(user, ActRestored, h.Record, map[string]string{"made_at": stamp(h.MadeAt)})
		})
	}
	if cerr := s.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = moveIn(part, dir)
	}
	return r, err
}

// reencrypt copies the database of a backup to its place under the record's key.
func reencrypt(ctx context.Context, from string, fromKey []byte, dir string, data []byte, opt Options) error {
	k, err := newSecrets(data)
	if err != nil {
		return err
	}
	defer clear(k.file)
	defer clear(k.seal)
	source := registerLayer(opt.base, fromKey)
	defer vfs.Unregister(source)
	target := registerLayer(opt.base, k.file)
	defer vfs.Unregister(target)
	db, err := openDatabase(from, source, false)
	if err != nil {
		return err
	}
	s := &Store{db: db}
	err = s.copyTo(ctx, filepath.Join(dir, recordName), target)
	return errors.Join(err, translate(db.Close()))
}

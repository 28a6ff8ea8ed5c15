// Package store keeps the record: encounters, recordings, drafts, and notes
// with all that was decided about them, encrypted in one SQLite file in one
// folder. What it promises: what was reported as written survives a pulled
// plug; what is read is what was written, or an error; nothing is changed or
// taken away unseen by the record itself. docs/record.md explains the form,
// docs/security.md what is protected and what is not.
//
// A Store is an open record, a Session a person at work in it. All that is
// written goes through a Session, so that it has an author:
//
//	x, err := store.Open(ctx, dir, login, passphrase, options) // or Create; Store.SignIn for a second person
//	e, err := x.NewEncounter(ctx, details)
//	w, err := x.StartRecording(ctx, e.ID, confirmed)           // live: w.Append(samples) ... w.Finish()
//	n, err := x.SaveDraft(ctx, e.ID, w.Recording().ID, draft)  // a note begins
//	note, err := x.Note(ctx, n.ID)                             // lines, marks, evidence, transcript
//	note, err = x.Decide(ctx, n.ID, note.Len(), decision)      // Accept, Change, Add, Undo, Amend ...
//	note, err = x.Sign(ctx, n.ID, note.Len(), decision, signing)
//
// Decide and Sign write nothing where somebody else decided meanwhile: the
// *ConflictError holds both versions.
package store

import (
	"context"
	"database/sql"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/driver"
	"github.com/ncruces/go-sqlite3/vfs"
	"github.com/ncruces/go-sqlite3/vfs/adiantum"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

const (
	recordName = "record.db"
	// applicationID marks the database as ours ("Bsd1").
	applicationID = 0x42736431
)

//go:embed migrations/*.sql
var migrations embed.FS

// formVersion is the form of the record that this program writes: the number
// of its last migration.
const formVersion = 2

// Options are what a Store takes from the outside.
type Options struct {
	// Now is the clock; it must not be nil.
	Now func() time.Time
	// Outline gives the names under which notes list findings.
	Outline note.Outline
	// Attention is what the packs' rules say of a finding that a person charted
	// or changed in a note over that transcript; nil asks none, and what was said
	// when the note was drafted stands.
	Attention func(transcript.Transcript, finding.Finding) []finding.Attention

	// base is the file layer below the cipher; nil is the operating system's.
	// Tests put their faults there.
	base vfs.VFS
	// cost is what new passphrases cost; zero is the standard.
	cost cost
}

// Store is an open record. It is safe for use by several goroutines, and
// several processes may have the same record open.
type Store struct {
	dir    string
	opt    Options
	keys   *secrets
	db     *sql.DB
	layer  string // name of the registered cipher layer
	anchor *anchor
	// writing lets one goroutine write at a time; other processes are kept out
	// by the database's own lock.
	writing sync.Mutex
	notices []string
	// anchorLost says that the count of writes was missing and was made anew.
	anchorLost bool
	drafts     drafts
	once       sync.Once
}

// Create sets up a new record in dir, which must be empty or not there, with
// its first user, and opens it for her. The recovery key is to be printed and
// kept in a safe; it is not shown again.
func Create(ctx context.Context, dir string, first NewUser, passphrase string, opt Options) (*Session, RecoveryKey, error) {
	if err := first.check(); err != nil {
		return nil, "", err
	}
	if err := checkPassphrase(passphrase); err != nil {
		return nil, "", err
	}
	// It is made beside its place and moved there whole: a stop in the middle
	// leaves nothing that looks like a record.
	part, err := beside(dir)
	if err != nil {
		return nil, "", err
	}
	defer os.RemoveAll(part)
	data := randomBytes(keySize)
	recovery := newRecoveryKey()
	k := keyFile{Format: keysFormat, Record: newID("r")}
	user := newID("u")
	err = k.lock(user, first.Login, passphrase, data, opt.passphraseCost())
	if err == nil {
		err = k.lock("", "", string(recovery), data, opt.passphraseCost())
	}
	if err != nil {
		return nil, "", err
	}
	s, err := open(ctx, part, data, opt, true)
	if err != nil {
		return nil, "", err
	}
	err = s.write(ctx, func(t *tx) error {
		if err := t.putMeta("record", []byte(k.Record)); err != nil {
			return err
		}
		u := User{ID: user, Login: first.Login, Name: first.Name, Credentials: first.Credentials, Role: first.Role, Manages: true}
		if err := t.putUser(u, 1); err != nil {
			return err
		}
		if err := t.event(user, ActCreated, k.Record, nil); err != nil {
			return err
		}
		return t.event(user, ActUserAdded, user, map[string]string{"role": u.Role.String()})
	})
	if cerr := s.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = writeKeys(part, k)
	}
	if err == nil {
		err = moveIn(part, dir)
	}
	if err != nil {
		return nil, "", fmt.Errorf("set up record: %w", translate(err))
	}
	sess, err := Open(ctx, dir, first.Login, passphrase, opt)
	return sess, recovery, err
}

// beside makes a folder next to dir, which must be empty or not there.
func beside(dir string) (string, error) {
	entries, err := os.ReadDir(dir)
	switch {
	case err == nil && len(entries) > 0:
		return "", ErrExists
	case err != nil && !errors.Is(err, os.ErrNotExist):
		if info, serr := os.Stat(dir); serr == nil && !info.IsDir() {
			return "", ErrExists
		}
		return "", fmt.Errorf("read folder: %w", translate(err))
	}
	parent := filepath.Dir(filepath.Clean(dir))
	if err := os.MkdirAll(parent, 0o700); err != nil {
		return "", fmt.Errorf("make folder: %w", translate(err))
	}
	part, err := os.MkdirTemp(parent, "."+filepath.Base(dir)+"-*") // mode 0700
	if err != nil {
		return "", fmt.Errorf("make folder: %w", translate(err))
	}
	return part, nil
}

// moveIn gives a finished folder its name. It fails where something came to be
// there meanwhile: a rename does not replace a folder that is not empty.
func moveIn(part, dir string) error {
	if err := syncFolder(part); err != nil {
		return err
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, os.ErrNotExist) {
		return ErrExists
	}
	if err := os.Rename(part, dir); err != nil {
		return ErrExists
	}
	return syncFolder(filepath.Dir(dir))
}

// Open opens the record in dir for the user of that login. A wrong name or
// passphrase is ErrWrongPassphrase, and told from a damaged record
// (ErrDamaged, ErrShortened).
func Open(ctx context.Context, dir, login, passphrase string, opt Options) (*Session, error) {
	return openBy(ctx, dir, opt, nil, func(k keyFile) ([]byte, string, error) { return k.unlockUser(login, passphrase) })
}

// openBy opens the record with what unlocks the data key; how goes into the log.
func openBy(ctx context.Context, dir string, opt Options, how any, unlock func(keyFile) (data []byte, user string, err error)) (*Session, error) {
	k, fromCopy, err := readKeys(dir)
	if err != nil {
		return nil, fmt.Errorf("open record: %w", err)
	}
	data, user, err := unlock(k)
	if err != nil {
		return nil, fmt.Errorf("open record: %w", err)
	}
	s, err := openKnown(ctx, dir, data, k.Record, opt)
	if err != nil {
		return nil, fmt.Errorf("open record: %w", err)
	}
	if fromCopy {
		s.notices = append(s.notices, "the key file was damaged; its copy was used and put in its place")
		if err := writeKeys(dir, k); err != nil {
			s.notices = append(s.notices, "the key file is damaged; its copy was used")
		}
	}
	sess, err := s.begin(ctx, user, how)
	if err != nil {
		s.Close()
		return nil, fmt.Errorf("open record: %w", err)
	}
	return sess, nil
}

// openKnown opens a record that must be there, and checks that it is the one
// that the keys belong to.
func openKnown(ctx context.Context, dir string, data []byte, record string, opt Options) (*Store, error) {
	info, err := os.Stat(filepath.Join(dir, recordName))
	if errors.Is(err, os.ErrNotExist) || err == nil && info.Size() == 0 {
		return nil, fmt.Errorf("%w (%s is gone)", ErrDamaged, recordName)
	}
	s, err := open(ctx, dir, data, opt, false)
	if err != nil {
		return nil, err
	}
	var id []byte
	err = s.read(ctx, func(t *tx) error {
		var err error
		id, err = t.meta("record")
		return err
	})
	if err == nil && string(id) != record {
		err = fmt.Errorf("%w (the keys are of another record)", ErrDamaged)
	}
	if err == nil {
		err = s.checkAnchor(ctx)
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// open opens the database, with its form brought up to date.
func open(ctx context.Context, dir string, data []byte, opt Options, fresh bool) (_ *Store, err error) {
	s := &Store{dir: dir, opt: opt}
	if s.keys, err = newSecrets(data); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.Close()
		}
	}()
	s.layer = registerLayer(opt.base, s.keys.file)
	if s.db, err = openDatabase(filepath.Join(dir, recordName), s.layer, fresh); err != nil {
		return nil, err
	}
	if s.anchor, err = openAnchor(dir, s.keys); err != nil {
		return nil, err
	}
	return s, s.migrate(ctx, fresh)
}

// registerLayer makes the cipher known to SQLite under a name of its own.
func registerLayer(base vfs.VFS, key []byte) string {
	if base == nil {
		base = vfs.Find("")
	}
	name := "bedsaid-" + hex.EncodeToString(randomBytes(8))
	vfs.Register(name, adiantum.Wrap(wholeBlocks{base}, cipher{key}))
	return name
}

// address names a database file for SQLite. The key in it is a placeholder
// that the cipher replaces by the record's.
func address(path, layer, more string) string {
	u := url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(path), RawQuery: "vfs=" + layer + "&hexkey=00" + more}
	return u.String()
}

// openDatabase opens the file with the settings that keep its promises. Full
// synchronisation makes a transaction survive a loss of power, and keeps
// blocks of the log that were written from being written again.
func openDatabase(path, layer string, fresh bool) (*sql.DB, error) {
	mode := "&mode=rw"
	if fresh {
		mode = "&mode=rwc"
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("open record: %w", translate(err))
	}
	db, err := driver.Open(address(abs, layer, mode+"&_txlock=immediate"), func(c *sqlite3.Conn) error {
		return c.Exec(`PRAGMA busy_timeout = 20000; PRAGMA temp_store = memory; PRAGMA auto_vacuum = incremental; PRAGMA journal_mode = wal; PRAGMA synchronous = full;
			PRAGMA secure_delete = on; PRAGMA foreign_keys = on; PRAGMA trusted_schema = off; PRAGMA cell_size_check = on`)
	})
	if err != nil {
		return nil, translate(err)
	}
	db.SetMaxOpenConns(4)
	db.SetMaxIdleConns(4)
	return db, nil
}

// migrate brings the form of the record up to date, one number after the other.
func (s *Store) migrate(ctx context.Context, fresh bool) error {
	var app, have int
	if err := s.db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&app); err != nil {
		return translate(err)
	}
	if err := s.db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&have); err != nil {
		return translate(err)
	}
	switch {
	case have > formVersion:
		return fmt.Errorf("%w (its form is %d, this program knows %d)", ErrNewer, have, formVersion)
	case !fresh && (app != applicationID || have == 0):
		return fmt.Errorf("%w (%s)", ErrDamaged, recordName)
	}
	for n := have + 1; n <= formVersion; n++ {
		script, err := migrations.ReadFile(fmt.Sprintf("migrations/%04d.sql", n))
		if err != nil {
			return fmt.Errorf("migrate record: %w", err)
		}
		err = s.write(ctx, func(t *tx) error {
			// Another process may have done it while this one waited.
			if err := t.row("PRAGMA user_version", nil, &have); err != nil || have >= n {
				return err
			}
			_, err := t.q.ExecContext(t.ctx, fmt.Sprintf("%s; PRAGMA application_id = %d; PRAGMA user_version = %d", script, applicationID, n))
			return err
		})
		if err != nil {
			return fmt.Errorf("migrate record: %w", err)
		}
	}
	return nil
}

// checkAnchor compares the count of writes with the one kept beside the
// database.
func (s *Store) checkAnchor(ctx context.Context) error {
	want, ok, err := s.anchor.read()
	if err != nil {
		return err
	}
	var have int64
	err = s.read(ctx, func(t *tx) error {
		var err error
		have, err = t.writes()
		return err
	})
	switch {
	case err != nil:
		return err
	case !ok:
		// Without it a shorter record cannot be told; it is not a reason to keep a
		// nurse from her notes.
		s.anchorLost = true
		s.notices = append(s.notices, "the file "+anchorName+" was missing or damaged and has been made anew; compare the record with the heads printed on exports (bedsaid verify --against)")
		return s.anchor.write(have)
	case have < want:
		return fmt.Errorf("%w (%d of %d writes are there)", ErrShortened, have, want)
	}
	return nil
}

// Notices say what was found amiss and worked around on opening; none where all
// was well. They hold no words of a patient.
func (s *Store) Notices() []string { return s.notices }

// Close closes the record and wipes its keys. Recorders must have been finished
// or flushed.
func (s *Store) Close() error {
	var err error
	s.once.Do(func() {
		s.writing.Lock() // a write that has begun is finished first
		defer s.writing.Unlock()
		if s.db != nil {
			err = s.db.Close()
		}
		if s.anchor != nil {
			err = errors.Join(err, s.anchor.close())
		}
		vfs.Unregister(s.layer)
		s.keys.wipe()
		s.drafts.drop()
	})
	return translate(err)
}

func (o Options) passphraseCost() cost {
	if o.cost == (cost{}) {
		return standardCost
	}
	return o.cost
}

// String keeps keys out of logs.
func (s *Store) String() string { return "record in " + s.dir }

// GoString does the same for %#v.
func (s *Store) GoString() string { return s.String() }

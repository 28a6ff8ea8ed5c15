package store

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/util/vfsutil"
	"github.com/ncruces/go-sqlite3/vfs"
)

// faultVFS lies below the cipher. It counts what changes the disk, can make it
// fail from a given count on, and keeps beside the files what would be left of
// them after a loss of power: what was synced, and of the rest whatever chance
// lets survive, in pieces of a sector.
type faultVFS struct {
	vfs.VFS
	mu sync.Mutex
	// count is the number of changes so far.
	count int
	// fail, where not nil, is asked before each change.
	fail func(count int) error
	// images are the synced contents, by path; nil where power is not cut.
	images map[string]*image
	// onChange, where not nil, is called before each change, unlocked.
	onChange func(count int)
}

type image struct {
	synced  []byte
	exists  bool // its name is safe
	pending []change
}

// change is a write, or with data nil a change of length.
type change struct {
	at   int64
	data []byte
}

const sector = 512

func (c change) apply(b []byte) []byte {
	if c.data == nil {
		if int(c.at) <= len(b) {
			return b[:c.at]
		}
		return append(b, make([]byte, int(c.at)-len(b))...)
	}
	if end := int(c.at) + len(c.data); end > len(b) {
		b = append(b, make([]byte, end-len(b))...)
	}
	copy(b[c.at:], c.data)
	return b
}

func (v *faultVFS) change(f func()) error {
	v.mu.Lock()
	v.count++
	n, fail, call := v.count, v.fail, v.onChange
	v.mu.Unlock()
	if call != nil {
		call(n)
	}
	if fail != nil {
		if err := fail(n); err != nil {
			return err
		}
	}
	if f != nil {
		v.mu.Lock()
		defer v.mu.Unlock()
		f()
	}
	return nil
}

func (v *faultVFS) at(path string) *image {
	if v.images[path] == nil {
		v.images[path] = &image{}
	}
	return v.images[path]
}

func (v *faultVFS) Open(name string, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	return nil, flags, sqlite3.CANTOPEN // OpenFilename is called instead
}

func (v *faultVFS) OpenFilename(name *vfs.Filename, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	if flags&vfs.OPEN_CREATE != 0 {
		if _, err := os.Stat(name.String()); err != nil {
			if err := v.change(nil); err != nil {
				return nil, flags, err
			}
		}
	}
	f, flags, err := vfsutil.WrapOpenFilename(v.VFS, name, flags)
	if err != nil {
		return nil, flags, err
	}
	return &faultFile{through{f}, v, name.String()}, flags, nil
}

func (v *faultVFS) Delete(name string, syncDir bool) error {
	err := v.change(func() {
		if v.images != nil {
			delete(v.images, name)
		}
	})
	if err != nil {
		return err
	}
	return v.VFS.Delete(name, syncDir)
}

type faultFile struct {
	through
	v    *faultVFS
	path string
}

func (f *faultFile) keep(c change) func() {
	return func() {
		if f.v.images != nil {
			im := f.v.at(f.path)
			im.pending = append(im.pending, c)
		}
	}
}

func (f *faultFile) WriteAt(p []byte, at int64) (int, error) {
	if err := f.v.change(f.keep(change{at, append([]byte{}, p...)})); err != nil {
		return 0, err
	}
	return f.File.WriteAt(p, at)
}

func (f *faultFile) Truncate(size int64) error {
	if err := f.v.change(f.keep(change{at: size})); err != nil {
		return err
	}
	return f.File.Truncate(size)
}

func (f *faultFile) Sync(flags vfs.SyncFlag) error {
	err := f.v.change(func() {
		if f.v.images == nil {
			return
		}
		im := f.v.at(f.path)
		im.exists = true
		for _, c := range im.pending {
			im.synced = c.apply(im.synced)
		}
		im.pending = nil
	})
	if err != nil {
		return err
	}
	return f.File.Sync(flags)
}

// begin takes what is on the disk now as synced.
func (v *faultVFS) begin(t *testing.T, dir string) {
	t.Helper()
	v.images = map[string]*image{}
	for _, name := range []string{recordName, recordName + "-wal"} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
		if err == nil {
			v.images[filepath.Join(dir, name)] = &image{synced: data, exists: true}
		}
	}
}

// cut writes into another folder what a loss of power at this moment would
// leave. Files that the database does not write itself (the anchor and the
// keys) are synced by whoever writes them, so they are taken as they are.
func (v *faultVFS) cut(t *testing.T, from, to string, r *rand.Rand) {
	t.Helper()
	v.mu.Lock()
	defer v.mu.Unlock()
	ok(t, os.MkdirAll(to, 0o700))
	for _, name := range []string{keysName, keysCopyName, anchorName} {
		data, err := os.ReadFile(filepath.Join(from, name))
		ok(t, err)
		ok(t, os.WriteFile(filepath.Join(to, name), data, 0o600))
	}
	// How much survives differs from one loss to the next: nothing, most, all.
	luck := []float64{0, 0.1, 0.5, 0.9, 1}[r.IntN(5)]
	for path, im := range v.images {
		b := append([]byte{}, im.synced...)
		for _, c := range im.pending {
			if c.data == nil {
				if r.Float64() < luck {
					b = c.apply(b)
				}
				continue
			}
			for at := 0; at < len(c.data); at += sector {
				if r.Float64() < luck {
					b = change{c.at + int64(at), c.data[at:min(at+sector, len(c.data))]}.apply(b)
				}
			}
		}
		if im.exists || r.Float64() < luck {
			ok(t, os.WriteFile(filepath.Join(to, filepath.Base(path)), b, 0o600))
		}
	}
}

package store

import (
	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/util/vfsutil"
	"github.com/ncruces/go-sqlite3/vfs"
)

// wholeBlocks lies between the files and their cipher, which works on blocks of
// 4 KiB. A loss of power or a full disk can leave part of a block at the end of
// a file. Nothing that was synced is in it, and it cannot be deciphered; but
// SQLite, seeing the size, wants to read it, fails, and opens the record no
// more. So it is not seen.
type wholeBlocks struct{ vfs.VFS }

const blockSize = 4096

// Open is not used: OpenFilename is called instead.
func (b wholeBlocks) Open(string, vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	return nil, 0, sqlite3.CANTOPEN
}

// OpenFilename opens a file of which whole blocks are seen.
func (b wholeBlocks) OpenFilename(name *vfs.Filename, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	f, flags, err := vfsutil.WrapOpenFilename(b.VFS, name, flags)
	if err != nil {
		return nil, flags, err
	}
	return blockFile{through{f}}, flags, nil
}

type blockFile struct{ through }

// Size counts whole blocks.
func (f blockFile) Size() (int64, error) {
	n, err := f.File.Size()
	return n - n%blockSize, err
}

// through hands on what a file may be able to do beside the least that SQLite
// asks for.
type through struct{ vfs.File }

func (f through) Unwrap() vfs.File                { return f.File }
func (f through) SharedMemory() vfs.SharedMemory  { return vfsutil.WrapSharedMemory(f.File) }
func (f through) LockState() vfs.LockLevel        { return vfsutil.WrapLockState(f.File) }
func (f through) PersistWAL() bool                { return vfsutil.WrapPersistWAL(f.File) }
func (f through) SetPersistWAL(keep bool)         { vfsutil.WrapSetPersistWAL(f.File, keep) }
func (f through) ChunkSize(size int)              { vfsutil.WrapChunkSize(f.File, size) }
func (f through) SizeHint(size int64) error       { return vfsutil.WrapSizeHint(f.File, size) }
func (f through) HasMoved() (bool, error)         { return vfsutil.WrapHasMoved(f.File) }
func (f through) Overwrite() error                { return vfsutil.WrapOverwrite(f.File) }
func (f through) SyncSuper(super string) error    { return vfsutil.WrapSyncSuper(f.File, super) }
func (f through) CommitPhaseTwo() error           { return vfsutil.WrapCommitPhaseTwo(f.File) }
func (f through) CheckpointStart()                { vfsutil.WrapCheckpointStart(f.File) }
func (f through) CheckpointDone()                 { vfsutil.WrapCheckpointDone(f.File) }
func (f through) BusyHandler(handler func() bool) { vfsutil.WrapBusyHandler(f.File, handler) }

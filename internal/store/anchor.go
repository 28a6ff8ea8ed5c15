package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

const anchorName = "anchor"

// anchor counts the writes to the record in a file of its own. The database
// alone cannot tell that its end is gone: it takes a log that was cut for one
// that a loss of power ended, and quietly drops what was written last. Two
// places are written in turn, so that one of them is always whole.
type anchor struct {
	f *os.File
	k *secrets
}

// anchorPlace is far enough apart for both never to share a sector of the disk.
const (
	anchorPlace = 4096
	anchorSize  = 8 + 32
)

func openAnchor(dir string, k *secrets) (*anchor, error) {
	f, err := os.OpenFile(filepath.Join(dir, anchorName), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open anchor: %w", translate(err))
	}
	return &anchor{f, k}, nil
}

// read gives the larger count of both places; ok is false where neither is whole.
func (a *anchor) read() (count int64, ok bool, err error) {
	for place := range int64(2) {
		b := make([]byte, anchorSize)
		if _, err := a.f.ReadAt(b, place*anchorPlace); err != nil {
			if errors.Is(err, io.EOF) {
				continue
			}
			return 0, false, fmt.Errorf("read anchor: %w", translate(err))
		}
		n := int64(binary.BigEndian.Uint64(b))
		if a.k.check(b[8:], anchorName, n) == nil {
			count, ok = max(count, n), true
		}
	}
	return count, ok, nil
}

func (a *anchor) write(count int64) error {
	b := binary.BigEndian.AppendUint64(nil, uint64(count))
	b = append(b, a.k.sum(anchorName, count)...)
	_, err := a.f.WriteAt(b, count%2*anchorPlace)
	if err == nil {
		err = a.f.Sync()
	}
	if err != nil {
		return fmt.Errorf("write anchor: %w", translate(err))
	}
	return nil
}

func (a *anchor) close() error { return a.f.Close() }

package store

import (
	"context"
	"fmt"

	"bedsaid/internal/review"
)

// Survey reads the notes of the newest encounters, of as many as the limit says,
// the newest first, to count over them. The log says once that it was done and how
// many notes were read. What visit returns ends it.
func (x *Session) Survey(ctx context.Context, limit int, visit func(NoteInfo, review.Note) error) error {
	var ids []string
	err := x.s.read(ctx, func(t *tx) (err error) {
		ids, err = t.ids("SELECT id FROM notes WHERE encounter IN (SELECT id FROM encounters ORDER BY place DESC LIMIT ?) ORDER BY place DESC", limit)
		return err
	})
	for i := 0; i < len(ids) && err == nil; i++ {
		var l loaded
		err = x.s.read(ctx, func(t *tx) (err error) {
			l, err = t.load(ids[i])
			return err
		})
		if err == nil {
			err = visit(l.info, l.note)
		}
	}
	if err == nil {
		err = x.write(ctx, func(t *tx) error { return t.event(x.user.ID, ActSurveyed, "record", map[string]int{"notes": len(ids)}) })
		if unwritable(err) {
			err = nil // what cannot be written must still be readable
		}
	}
	if err != nil {
		return fmt.Errorf("read notes: %w", err)
	}
	return nil
}

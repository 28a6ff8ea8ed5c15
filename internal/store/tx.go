package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// tx is one transaction, with the keyed hashes at hand.
type tx struct {
	ctx context.Context
	q   *sql.Tx
	s   *Store
}

// read runs f on one consistent state of the record.
func (s *Store) read(ctx context.Context, f func(*tx) error) error {
	q, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return s.fault(err)
	}
	defer q.Rollback()
	return s.fault(f(&tx{ctx, q, s}))
}

// write runs f, whose writes become durable all together, or not at all.
func (s *Store) write(ctx context.Context, f func(*tx) error) error {
	s.writing.Lock()
	defer s.writing.Unlock()
	q, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return s.fault(err)
	}
	defer q.Rollback()
	t := &tx{ctx, q, s}
	if err := f(t); err != nil {
		return s.fault(err)
	}
	count, err := t.writes()
	if err == nil {
		count++
		err = t.putMeta("writes", fmt.Append(nil, count))
	}
	if err == nil {
		err = q.Commit()
	}
	if err != nil {
		return s.fault(err)
	}
	// What is written is written: a failing anchor is told at the next opening.
	_ = s.anchor.write(count)
	return nil
}

func (s *Store) fault(err error) error {
	if err == nil {
		return nil
	}
	if errors.Is(err, sql.ErrConnDone) || err.Error() == "sql: database is closed" {
		return ErrClosed
	}
	return translate(err)
}

// run runs a statement to its end, outside of a transaction.
func (s *Store) run(ctx context.Context, query string) error {
	s.writing.Lock()
	defer s.writing.Unlock()
	rows, err := s.db.QueryContext(ctx, query)
	if err != nil {
		return s.fault(err)
	}
	defer rows.Close()
	for rows.Next() {
	}
	return s.fault(rows.Err())
}

// exec runs one statement that must succeed.
func (t *tx) exec(query string, args ...any) error {
	_, err := t.q.ExecContext(t.ctx, query, args...)
	return err
}

// row reads one row; ErrNotFound where there is none.
func (t *tx) row(query string, args []any, into ...any) error {
	err := t.q.QueryRowContext(t.ctx, query, args...).Scan(into...)
	if errors.Is(err, sql.ErrNoRows) {
		return ErrNotFound
	}
	return err
}

// each reads all rows.
func (t *tx) each(query string, args []any, f func(scan func(...any) error) error) error {
	rows, err := t.q.QueryContext(t.ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

// nextPlace is the place of the next row of a table that keeps the order of
// entry.
func (t *tx) nextPlace(table string) (place int64, err error) {
	err = t.row("SELECT coalesce(max(place), 0) + 1 FROM "+table, nil, &place)
	return place, err
}

// ids reads a column of names.
func (t *tx) ids(query string, args ...any) ([]string, error) {
	var ids []string
	err := t.each(query, args, func(scan func(...any) error) error {
		ids = append(ids, "")
		return scan(&ids[len(ids)-1])
	})
	return ids, err
}

func (t *tx) putMeta(name string, value []byte) error {
	return t.exec("INSERT INTO meta (name, value, mac) VALUES (?, ?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value, mac = excluded.mac",
		name, value, t.s.keys.sum("meta", name, value))
}

func (t *tx) meta(name string) ([]byte, error) {
	var value, mac []byte
	if err := t.row("SELECT value, mac FROM meta WHERE name = ?", []any{name}, &value, &mac); err != nil {
		return nil, err
	}
	return value, t.s.keys.check(mac, "meta", name, value)
}

// writes is the number of write transactions so far.
func (t *tx) writes() (int64, error) {
	b, err := t.meta("writes")
	if errors.Is(err, ErrNotFound) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	var n int64
	if _, err := fmt.Sscan(string(b), &n); err != nil {
		return 0, fmt.Errorf("%w (writes)", ErrDamaged)
	}
	return n, nil
}

// encode and decode are the stored form of what has no form of its own. The
// encoder's text may quote a value: only its kind is kept.
func encode(v any) ([]byte, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encode: %T", err)
	}
	return b, nil
}

func decode(data []byte, into any) error {
	if err := json.Unmarshal(data, into); err != nil {
		return fmt.Errorf("%w (%T)", ErrDamaged, err)
	}
	return nil
}

// stamp is the stored form of a time: with its offset, since a note is read in
// the hours of its ward.
func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339Nano)
}

func unstamp(s string) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return time.Time{}, fmt.Errorf("%w (time)", ErrDamaged)
	}
	return t, nil
}

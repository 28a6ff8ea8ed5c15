package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

// Site is what a site has chosen for its record.
type Site struct {
	// Identifiers are the kinds of the two by which a patient is told from all
	// others.
	Identifiers [2]string
	// KeepSound is how long sound is kept after the last signature of its notes.
	KeepSound time.Duration
	// KeepYears is how many years a whole encounter is kept after the last entry
	// in it; 0 keeps it for ever, which holds until a site has chosen: how long a
	// record of care is kept is for law and policy to say.
	KeepYears int
}

// DefaultSite is what holds until a site has chosen.
func DefaultSite() Site {
	return Site{Identifiers: [2]string{"record number", "date of birth"}, KeepSound: DefaultKeepSound}
}

type siteBody struct {
	Identifiers [2]string `json:"identifiers"`
	KeepSound   int64     `json:"keep_sound_seconds"`
	KeepYears   int       `json:"keep_years"`
}

const siteName = "site"

// Site gives what the site has chosen.
func (x *Session) Site(ctx context.Context) (Site, error) {
	var s Site
	err := x.s.read(ctx, func(t *tx) (err error) {
		s, err = t.site()
		return err
	})
	if err != nil {
		return Site{}, fmt.Errorf("read the site's rules: %w", err)
	}
	return s, nil
}

func (t *tx) site() (Site, error) {
	data, err := t.meta(siteName)
	if errors.Is(err, ErrNotFound) {
		return DefaultSite(), nil
	}
	if err != nil {
		return Site{}, err
	}
	var b siteBody
	err = decode(data, &b)
	return Site{b.Identifiers, time.Duration(b.KeepSound) * time.Second, b.KeepYears}, err
}

// SetSite changes what the site has chosen; the change is written in the log.
func (x *Session) SetSite(ctx context.Context, s Site) error {
	a, b := strings.TrimSpace(s.Identifiers[0]), strings.TrimSpace(s.Identifiers[1])
	switch {
	case !x.user.Manages:
		return fmt.Errorf("set the site's rules: %w", ErrRole)
	case a == "" || b == "" || strings.EqualFold(a, b) || s.KeepSound < 0 || s.KeepYears < 0 || s.KeepYears > 1000:
		return fmt.Errorf("set the site's rules: %w", &problem{"two different kinds of identifiers and times of zero or more are needed", "name them all"})
	}
	body := siteBody{[2]string{a, b}, int64(s.KeepSound / time.Second), s.KeepYears}
	data, err := encode(body)
	if err == nil {
		err = x.write(ctx, func(t *tx) error {
			if err := t.putMeta(siteName, data); err != nil {
				return err
			}
			return t.event(x.user.ID, ActSite, siteName, body)
		})
	}
	if err != nil {
		return fmt.Errorf("set the site's rules: %w", err)
	}
	return nil
}

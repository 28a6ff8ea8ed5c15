package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"github.com/ncruces/go-sqlite3"

	"bedsaid/internal/review"
)

// problem is a sentinel error with a hint.
type problem struct{ text, hint string }

func (p *problem) Error() string { return p.text }

// Hint says what the user can do.
func (p *problem) Hint() string { return p.hint }

// Errors to branch on with errors.Is. Each has a Hint.
var (
	ErrNoRecord        = &problem{"there is no record in this folder", "bedsaid record init sets one up; --data names another folder"}
	ErrExists          = &problem{"there is something in this folder already; nothing was changed", "name a folder that is empty or not there yet"}
	ErrWrongPassphrase = &problem{"the name or the passphrase is wrong", "try again; a lost passphrase is replaced with bedsaid record user recover and the printed recovery key"}
	ErrRecoveryKey     = &problem{"this is not the recovery key of this record", "compare each letter with the printed key; the key of a restored record is the one of its backup"}
	ErrWeakPassphrase  = &problem{fmt.Sprintf("the passphrase has fewer than %d characters", MinPassphrase), "take four or more words that nobody would guess"}
	ErrDamaged         = &problem{"the record is damaged; what is damaged is not shown", "copy the whole folder to another disk first, then bedsaid verify says what is whole; restore the last backup beside it"}
	ErrShortened       = &problem{"the record is shorter than it was when it was last used; something was lost from its end", "copy the whole folder to another disk first; restore the last backup beside it and compare; docs/record.md says how to read it all the same"}
	ErrNewer           = &problem{"the record was written by a newer program", "use the newer program; this one would harm it"}
	ErrNotFound        = &problem{"there is none of that id in the record", "bedsaid record list shows what is there"}
	ErrFull            = &problem{"the disk is full; what was saved before is safe", "free some space and try again"}
	ErrReadOnly        = &problem{"the record cannot be written to", "check that the disk is not write-protected and that the folder is yours"}
	ErrDisk            = &problem{"the disk failed to read or write; what was saved before is kept", "check the disk and its connection, then try again; back up to another disk"}
	ErrBusy            = &problem{"another program holds the record", "close other windows of this program, wait a minute and try again"}
	ErrRole            = &problem{"your role does not do this", "ask the examiner, or whoever set up the record"}
	ErrConsent         = &problem{"there is no consent to recording, or it was withdrawn", "ask for it, and note from whom and how; without it, type what you found"}
	ErrConsentHolds    = &problem{"the consent was not withdrawn", "the site's rule says how long sound is kept; withdraw the consent first if the patient did"}
	ErrHeld            = &problem{"the encounter is on hold: nothing of it is deleted", "ask who manages the record; bedsaid record hold list says why it is held"}
	ErrIdentity        = &problem{"the two identifiers are not those of this encounter", "read both off the patient's wristband again"}
	ErrIncomplete      = &problem{"something that is needed is empty", "give both patient identifiers with their kinds, and the time of the examination"}
	ErrUserExists      = &problem{"there is a user of that name already", "choose another name"}
	ErrClosed          = &problem{"the record is closed", "sign in again"}
	ErrPurged          = &problem{"the sound was deleted by the site's rule", "bedsaid record log tells when, and by whom"}
	ErrFinished        = &problem{"the recording was ended", "start another one for the same encounter"}
	ErrLastUser        = &problem{"this is the last user who can manage users", "add another one first"}
)

// ConflictError says that a note was changed by somebody else after the caller
// had read it; nothing was written. It holds both versions.
type ConflictError struct {
	// Seen is the note that the caller decided on, Now the note as it stands.
	Seen, Now review.Note
	// Yours is the decision that was not written.
	Yours review.Decision
}

func (e *ConflictError) Error() string {
	return fmt.Sprintf("the note has been changed since you read it: it had %d decisions and has %d", e.Seen.Len(), e.Now.Len())
}

// Hint says what the user can do.
func (e *ConflictError) Hint() string {
	return "look at what was changed, then decide again; nothing of yours was written over it"
}

// EncounterConflict says that an encounter was changed by somebody else after
// the caller had read it; nothing was written.
type EncounterConflict struct {
	// Yours is what the caller wanted, Now the encounter as it stands.
	Yours Details
	Now   Encounter
}

func (e *EncounterConflict) Error() string {
	return fmt.Sprintf("the encounter has been changed since you read it: it stands at version %d", e.Now.Version)
}

// Hint says what the user can do.
func (e *EncounterConflict) Hint() string { return "look at what was changed, then change it again" }

// translate turns an error of the database or the disk into one of ours. The
// database's own text may quote values, so only its code is kept.
func translate(err error) error {
	if err == nil {
		return nil
	}
	var own *problem
	if errors.As(err, &own) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	var code sqlite3.ErrorCode
	var path *fs.PathError
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return ErrFull
	case errors.Is(err, syscall.EROFS), errors.Is(err, os.ErrPermission):
		return ErrReadOnly
	case errors.As(err, &code):
		return fmt.Errorf("%w (%s)", ofCode(code), code.Error())
	case errors.As(err, &path):
		return ErrDisk
	}
	return err
}

func ofCode(c sqlite3.ErrorCode) *problem {
	switch c {
	case sqlite3.FULL:
		return ErrFull
	case sqlite3.READONLY, sqlite3.PERM, sqlite3.CANTOPEN:
		return ErrReadOnly
	case sqlite3.BUSY, sqlite3.LOCKED:
		return ErrBusy
	case sqlite3.CORRUPT, sqlite3.NOTADB:
		return ErrDamaged
	}
	return ErrDisk
}

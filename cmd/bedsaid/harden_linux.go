package main

import (
	"errors"

	"golang.org/x/sys/unix"
)

// harden forbids core dumps, which would hold keys and patients' words, and
// keeps other programs of the same user from reading this one's memory.
func harden() error {
	return errors.Join(forbidCoreDumps(), unix.Prctl(unix.PR_SET_DUMPABLE, 0, 0, 0, 0))
}

//go:build unix

package main

import "golang.org/x/sys/unix"

func forbidCoreDumps() error {
	return unix.Setrlimit(unix.RLIMIT_CORE, &unix.Rlimit{})
}

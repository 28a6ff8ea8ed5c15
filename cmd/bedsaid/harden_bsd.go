//go:build unix && !linux

package main

// harden forbids core dumps: they would hold keys and patients' words.
func harden() error { return forbidCoreDumps() }

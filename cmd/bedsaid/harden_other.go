//go:build !unix

package main

// harden does nothing here: docs/security.md says so.
func harden() error { return nil }

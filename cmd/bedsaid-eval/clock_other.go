//go:build !unix

package main

import "time"

var begun = time.Now()

// processorTime stands for the time a process used of processors, where the
// system does not tell: the time that went by.
func processorTime() time.Duration { return time.Since(begun) }

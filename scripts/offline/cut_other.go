//go:build !linux

package main

import (
	"errors"
	"os"
	"os/exec"
)

// cutOff uses macOS's sandbox; not tried.
func cutOff(args []string) error {
	sandbox, err := exec.LookPath("sandbox-exec")
	if err != nil {
		return errors.New("the network cannot be cut off on this system")
	}
	self, err := os.Executable()
	if err != nil {
		return err
	}
	profile := "(version 1)(allow default)(deny network*)"
	return command(append([]string{sandbox, "-p", profile, self, inside}, args...)).Run()
}

func runInside(args []string) error {
	if err := probe(); err != nil {
		return err
	}
	return command(args).Run()
}

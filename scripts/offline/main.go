// Command offline runs a program, and all that it starts, where no internet
// can be reached, after proving that none can:
//
//	offline COMMAND [ARGUMENT...]
//
// On Linux that is a network namespace of its own with nothing but loopback
// or, where namespaces are forbidden, a seccomp filter that refuses internet
// sockets. On macOS (not tried) it is sandbox-exec. Where none can be had it
// fails: it never runs the command with a network.
package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"time"
)

// inside marks the second stage, which is already cut off.
const inside = "--cut-off-now-run"

func main() {
	if len(os.Args) < 2 {
		fmt.Fprintln(os.Stderr, "usage: offline COMMAND [ARGUMENT...]")
		os.Exit(2)
	}
	var err error
	if os.Args[1] == inside {
		err = runInside(os.Args[2:])
	} else {
		err = cutOff(os.Args[1:])
	}
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		os.Exit(exit.ExitCode())
	case err != nil:
		fmt.Fprintln(os.Stderr, "offline:", err)
		os.Exit(125)
	}
}

// probe returns an error unless an attempt to reach out fails at once. The
// addresses are set aside for documentation (RFC 5737, RFC 3849): nobody is
// disturbed where the attempt goes through.
func probe() error {
	for _, target := range []string{"192.0.2.1:443", "[2001:db8::1]:443"} {
		conn, err := net.DialTimeout("tcp", target, 2*time.Second)
		if err == nil {
			_ = conn.Close()
			return fmt.Errorf("the network is not cut off: %s answered", target)
		}
		var timeout net.Error
		if errors.As(err, &timeout) && timeout.Timeout() {
			return fmt.Errorf("the network is not cut off: a packet to %s was sent", target)
		}
	}
	return nil
}

func command(args []string) *exec.Cmd {
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	return cmd
}

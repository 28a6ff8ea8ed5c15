package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// The ways are tried in this order; OFFLINE_WAY forces one.
const (
	wayNamespace = "namespace"
	wayFilter    = "filter"
)

// cutOff starts this program again where the network is cut off.
func cutOff(args []string) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	again := append([]string{self, inside}, args...)
	forced := os.Getenv("OFFLINE_WAY")

	if forced != wayFilter {
		cmd := command(again)
		cmd.Env = append(os.Environ(), "OFFLINE_WAY="+wayNamespace)
		cmd.SysProcAttr = &syscall.SysProcAttr{
			Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNET,
			UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
			GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
		}
		err := cmd.Run()
		var exit *exec.ExitError
		if err == nil || errors.As(err, &exit) {
			return err
		}
		if forced == wayNamespace {
			return fmt.Errorf("no network namespace can be had: %w", err)
		}
		fmt.Fprintln(os.Stderr, "offline: no network namespace can be had; refusing internet sockets instead")
	}
	cmd := command(again)
	cmd.Env = append(os.Environ(), "OFFLINE_WAY="+wayFilter)
	return cmd.Run()
}

// runInside finishes the cutting off, proves it, and becomes the command.
func runInside(args []string) error {
	runtime.LockOSThread() // the filter holds for this thread, and it execs
	switch way := os.Getenv("OFFLINE_WAY"); way {
	case wayNamespace:
		if err := raiseLoopback(); err != nil {
			return err
		}
	case wayFilter:
		if err := refuseSockets(); err != nil {
			return err
		}
	default:
		return fmt.Errorf("unknown way %q", way)
	}
	if err := probe(); err != nil {
		return err
	}
	path, err := exec.LookPath(args[0])
	if err != nil {
		return err
	}
	return syscall.Exec(path, args, os.Environ())
}

func raiseLoopback() error {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return fmt.Errorf("raise loopback: %w", err)
	}
	defer unix.Close(fd)
	request, err := unix.NewIfreq("lo")
	if err != nil {
		return fmt.Errorf("raise loopback: %w", err)
	}
	request.SetUint16(unix.IFF_UP)
	if err := unix.IoctlIfreq(fd, unix.SIOCSIFFLAGS, request); err != nil {
		return fmt.Errorf("raise loopback: %w", err)
	}
	return nil
}

// refuseSockets installs a filter, kept through fork and exec, under which
// socket(AF_INET or AF_INET6) fails, as do io_uring, which could make sockets
// unseen, and calls of another architecture.
func refuseSockets() error {
	arch, ok := map[string]uint32{
		"amd64": unix.AUDIT_ARCH_X86_64,
		"arm64": unix.AUDIT_ARCH_AARCH64,
	}[runtime.GOARCH]
	if !ok {
		return fmt.Errorf("refuse sockets: not known how on %s", runtime.GOARCH)
	}
	const (
		load   = unix.BPF_LD | unix.BPF_W | unix.BPF_ABS
		equal  = unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K
		atMost = unix.BPF_JMP | unix.BPF_JGE | unix.BPF_K
		ret    = unix.BPF_RET | unix.BPF_K
		refuse = unix.SECCOMP_RET_ERRNO | uint32(unix.EACCES)
		x32    = 0x40000000 // marks x32 calls on amd64; no number elsewhere
	)
	// Offsets in struct seccomp_data: call 0, architecture 4, first argument 16.
	filter := []unix.SockFilter{
		{Code: load, K: 4},
		{Code: equal, K: arch, Jt: 1},
		{Code: ret, K: refuse},
		{Code: load, K: 0},
		{Code: atMost, K: x32, Jt: 6},
		{Code: equal, K: unix.SYS_IO_URING_SETUP, Jt: 5},
		{Code: equal, K: unix.SYS_SOCKET, Jf: 3},
		{Code: load, K: 16},
		{Code: equal, K: unix.AF_INET, Jt: 2},
		{Code: equal, K: unix.AF_INET6, Jt: 1},
		{Code: ret, K: unix.SECCOMP_RET_ALLOW},
		{Code: ret, K: refuse},
	}
	program := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return fmt.Errorf("refuse sockets: %w", err)
	}
	if _, _, errno := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER,
		unix.SECCOMP_FILTER_FLAG_TSYNC, uintptr(unsafe.Pointer(&program))); errno != 0 {
		return fmt.Errorf("refuse sockets: %w", errno)
	}
	return nil
}

package main

import (
	"fmt"
	"runtime"

	"github.com/spf13/cobra"
)

// version is the release; scripts/build may set another with -ldflags -X.
var version = "0.1.0-dev"

// program is the name and version that a draft carries.
func program() string { return "bedsaid " + version }

func (m *Main) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "version",
		Short:   "Print the version",
		Example: "  bedsaid version",
		Args:    exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := fmt.Fprintf(m.Stdout, "%s (%s, %s/%s)\n", program(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
			return err
		},
	}
}

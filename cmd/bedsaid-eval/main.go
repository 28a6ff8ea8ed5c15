// Command bedsaid-eval measures how well examinations are understood, against
// data whose answers are known. scripts/eval-* run it; the program itself never
// does.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
)

const usage = `usage:
  bedsaid-eval cases [-v] [-floor FILE [-raise]] FILE|FOLDER...
                                        drafts of cases, against their findings
  bedsaid-eval negation [-v] [-repeat N] FILE.tsv
                                        denials, against rows of the NegEx test kit
  bedsaid-eval live -model FILE [-speed N] RECORDING|FOLDER...
                                        hearing while somebody speaks
  bedsaid-eval speed FILE|FOLDER...     how time grows with the length of a text
`

func main() {
	if err := run(os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "bedsaid-eval:", err)
		if errors.Is(err, errUsage) {
			fmt.Fprint(os.Stderr, usage)
			os.Exit(2)
		}
		os.Exit(1)
	}
}

var errUsage = errors.New("wrong arguments")

func run(args []string, out io.Writer) error {
	if len(args) == 0 {
		return errUsage
	}
	commands := map[string]func([]string, io.Writer) error{"cases": cases, "live": live, "negation": negation, "speed": speed}
	command, ok := commands[args[0]]
	if !ok {
		return fmt.Errorf("%w: there is no %q", errUsage, args[0])
	}
	return command(args[1:], out)
}

// parse reads a command's flags and gives the arguments after them.
func parse(flags *flag.FlagSet, args []string) ([]string, error) {
	flags.SetOutput(io.Discard)
	if err := flags.Parse(args); err != nil {
		return nil, fmt.Errorf("%w: %w", errUsage, err)
	}
	return flags.Args(), nil
}

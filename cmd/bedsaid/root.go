package main

import (
	"os"
	"strings"

	"github.com/spf13/cobra"
)

const rootLong = `Bedsaid turns a recording of a bedside examination, in which the nurse says
aloud what she does and finds, into a structured DRAFT NOTE: each finding with
its side, value and unit, every doubt marked, and what nobody mentioned listed.
It works on this machine alone; nothing is sent anywhere.

A draft is for review by the licensed nurse who examined the patient. It is not
a diagnosis. The law and your local policy on consent to recording, and on
keeping recordings and drafts, come first.`

const exitCodes = `Exit codes:
  0    done
  1    could not be finished (such as a full disk)
  2    the command line is wrong, or would write over a file
  3    an input could not be read, or a pack has complaints
  4    the speech engine or a model is missing or damaged
  5    drafted, but the recording has speech that gave no words: listen to it
  6    the record refuses: wrong passphrase, a rule, or it is damaged
  130  stopped by Ctrl-C`

func (m *Main) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "bedsaid",
		Short: "Turn a spoken bedside examination into a draft note, offline",
		Long:  rootLong + "\n\n" + exitCodes,
		Example: `  bedsaid draft exam.wav              print the draft note of a recording
  bedsaid draft exam.txt --json       the same from typed words, for a program
  bedsaid lexicon try "Gag present."  what would be charted of a sentence
  bedsaid export exam.draft.json --to pdf --out notes/   the draft, for print
  bedsaid serve                       check, correct and sign on a page; before
                                      that, once: bedsaid record init
  bedsaid doctor                      what is installed, and does it work`,
		Version:       version,
		SilenceErrors: true,
		SilenceUsage:  true,
		// Suggestions are made in Args, from one place for all kinds of names.
		DisableSuggestions: true,
	}
	root.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		if _, err := os.Stat(args[0]); err == nil || strings.Contains(args[0], ".") {
			return usage("unknown command %q", args[0]).hint("to draft a note from it: bedsaid draft %s", args[0])
		}
		var names []string
		for _, c := range cmd.Commands() {
			if c.IsAvailableCommand() {
				names = append(names, c.Name())
			}
		}
		return usage("unknown command %q", args[0]).hint("%s", didYouMean(args[0], names, "bedsaid --help lists the commands"))
	}
	root.RunE = func(cmd *cobra.Command, _ []string) error { return cmd.Help() }
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		// What the parser of numbers says of itself helps nobody.
		text, _, isNumber := strings.Cut(err.Error(), ": strconv.")
		if isNumber {
			text += ": a whole number is wanted"
		}
		return usage("%s", text).hint("%s --help lists the flags", cmd.CommandPath())
	})
	root.SetVersionTemplate("bedsaid {{.Version}}\n")
	// Flags, as all else, fit on 80 columns.
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), ".FlagUsages ", ".FlagUsagesWrapped 80 "))
	root.AddCommand(m.draftCommand(), m.serveCommand(), m.exportCommand(), m.importCommand(), m.recordCommand(), m.backupCommand(), m.restoreCommand(), m.verifyCommand(), m.purgeCommand(),
		m.lexiconCommand(), m.modelCommand(), m.doctorCommand(), m.versionCommand())
	return root
}

// group is a command that only holds others.
func group(c *cobra.Command) *cobra.Command {
	c.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		var names []string
		for _, sub := range cmd.Commands() {
			names = append(names, sub.Name())
		}
		return usage("unknown command %q", cmd.CommandPath()+" "+args[0]).
			hint("%s", didYouMean(args[0], names, cmd.CommandPath()+" --help lists the commands"))
	}
	c.RunE = func(cmd *cobra.Command, _ []string) error { return cmd.Help() }
	return c
}

// exactly is cobra's ExactArgs with a usage error that names what is wanted.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != n {
			return usage("%s takes %s", cmd.CommandPath(), what).hint("%s --help shows examples", cmd.CommandPath())
		}
		return nil
	}
}

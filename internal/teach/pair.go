package teach

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"bedsaid/internal/extract"
	"bedsaid/internal/note"
	"bedsaid/internal/packcheck"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Pair is what a site's pack takes of a proposal: a word, the term of the packs
// that it stands for, and a sentence that shows it. The sentence is typed by who
// takes it.
type Pair struct {
	Said, For string
	// Misheard words stay marked wherever they are read as the term; others are the
	// site's own word for it.
	Misheard bool
	Example  string
}

// Refusal says why a pair cannot be taken. It holds words of packs, and none of a
// patient.
type Refusal struct {
	What, Help string
	// Problems are complaints of the check of packs.
	Problems []lexicon.Problem
}

func (r *Refusal) Error() string { return r.What }

// Hint says what to do.
func (r *Refusal) Hint() string { return r.Help }

// Trial is what a pair would give.
type Trial struct {
	// Draft is the example as it would be drafted with the pair.
	Draft note.Draft
	// Pack is the site's pack with the pair in it.
	Pack lexicon.File
}

// Head of a pack that this program begins.
const packHead = `# Words that reviewers kept mending, taken one by one by a person. Each line may be
# changed or deleted by hand; bedsaid lexicon check tells what is wrong with it.
name = "%s"
title = "Taken from corrections"
version = "1"
`

// PackName is the name of the pack that takes what corrections teach.
const PackName = "taken_from_corrections"

// Try lays a pair into the site's pack and runs every example of every pack with
// it, its own included. others are the site's other packs; old is the pack so far,
// with no data where it is begun. Where anything complains that did not before,
// the error is a *Refusal, and nothing is to be written.
func Try(old lexicon.File, others []lexicon.File, p Pair) (Trial, error) {
	p.Said, p.For, p.Example = strings.TrimSpace(p.Said), strings.TrimSpace(p.For), strings.Join(strings.Fields(p.Example), " ")
	switch {
	case p.Said == "" || p.For == "":
		return Trial{}, &Refusal{What: "a word, or what it stands for, is missing", Help: "name a term that the program understands"}
	case len(normal(p.Example)) == 0:
		return Trial{}, &Refusal{What: "there is no example", Help: "type a sentence of your own in which the word stands"}
	case !contains(normal(p.Example), normal(p.Said)):
		return Trial{}, &Refusal{What: "the word does not stand in the example", Help: "type a sentence of your own in which the word stands"}
	}
	before, minor := lexicon.Check(append(slices.Clone(others), some(old)...)...)
	if slices.ContainsFunc(minor, func(p lexicon.Problem) bool { return !p.Minor }) {
		return Trial{}, &Refusal{What: "the packs of the site have mistakes already", Help: "mend them first; bedsaid lexicon check lists them", Problems: minor}
	}
	next := lexicon.File{Name: old.Name, Data: lay(old.Data, p)}
	after, err := lexicon.With(append(slices.Clone(others), next)...)
	if err != nil {
		return Trial{}, &Refusal{What: "the program does not know what the word should stand for", Help: "name a term that it understands by itself, such as pupils"}
	}
	words := transcript.FromText(p.Example)
	set := extract.New(after).Extract(words, extract.Options{})
	expect, leftOut := packcheck.Spell(set)
	was, _ := packcheck.Spell(extract.New(before).Extract(words, extract.Options{}))
	switch {
	case len(expect) == 0:
		return Trial{}, &Refusal{What: "nothing is understood of the example", Help: "say what was found, as to a colleague, with the word in it"}
	case slices.Equal(expect, was):
		return Trial{}, &Refusal{What: "the example is understood the same without the word", Help: "type one that needs the word to be understood"}
	}
	next.Data = example(next.Data, p.Example, expect, leftOut)
	known := packcheck.Check(append(slices.Clone(others), some(old)...)...)
	var fresh []lexicon.Problem
	for _, x := range packcheck.Check(append(slices.Clone(others), next)...) {
		if !slices.ContainsFunc(known, func(k lexicon.Problem) bool { return k.File == x.File && k.What == x.What }) {
			fresh = append(fresh, x)
		}
	}
	if len(fresh) > 0 {
		return Trial{}, &Refusal{What: "with this word, sentences that were understood before would not be", Help: "choose another term, or leave the word as it is", Problems: fresh}
	}
	return Trial{Draft: note.Compose(note.Source{Transcript: words}, set, note.OutlineOf(after)), Pack: next}, nil
}

// lay adds the pair of terms to a pack.
func lay(old []byte, p Pair) []byte {
	var b bytes.Buffer
	b.Write(old)
	if len(bytes.TrimSpace(old)) == 0 {
		fmt.Fprintf(&b, packHead, PackName)
	}
	table := "alias"
	if p.Misheard {
		table = "heard"
	}
	fmt.Fprintf(&b, "\n[[%s]]\nfor = %s\nterms = [%s]\n", table, quote(p.For), quote(p.Said))
	return b.Bytes()
}

func example(pack []byte, say string, expect, leftOut []string) []byte {
	var b bytes.Buffer
	b.Write(pack)
	fmt.Fprintf(&b, "[[example]]\nsay = %s\nexpect = [%s]\n", quote(say), list(expect))
	if len(leftOut) > 0 {
		fmt.Fprintf(&b, "left_out = [%s]\n", list(leftOut))
	}
	return b.Bytes()
}

func list(all []string) string {
	quoted := make([]string, len(all))
	for i, s := range all {
		quoted[i] = quote(s)
	}
	return strings.Join(quoted, ", ")
}

// quote writes a basic string of TOML: the escapes that Go and TOML share, and no
// control character.
func quote(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < 0x20 || r == 0x7f {
			return ' '
		}
		return r
	}, s)
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(strings.ToValidUTF8(s, "?")) + `"`
}

func contains(all, some []string) bool {
	for i := 0; i+len(some) <= len(all); i++ {
		if slices.Equal(all[i:i+len(some)], some) {
			return len(some) > 0
		}
	}
	return false
}

// some is a pack that has something in it, or none.
func some(f lexicon.File) []lexicon.File {
	if len(f.Data) == 0 {
		return nil
	}
	return []lexicon.File{f}
}

package archtest

import (
	"go/ast"
	"slices"
	"strings"
	"testing"
)

// mayImport is the order of the stages: data flows down the list, and no stage
// knows one below it. A package that is not here has no place yet: give it one.
// Commands (cmd/...) may import anything; nothing imports them.
var mayImport = map[string][]string{
	"lexicon":                    {},
	"models":                     {},
	"internal/audio":             {},
	"internal/transcript":        {},
	"internal/finding":           {"internal/transcript", "lexicon"},
	"internal/speech":            {"internal/audio", "internal/transcript"},
	"internal/speech/whisper":    {"internal/speech", "internal/audio", "internal/transcript"},
	"internal/speech/speechtest": {"lexicon"},
	"internal/extract":           {"internal/transcript", "lexicon", "internal/finding"},
	"internal/note":              {"internal/transcript", "lexicon", "internal/finding"},
	"internal/notation":          {},
	"internal/export":            {"internal/transcript", "lexicon", "internal/finding", "internal/note"},
	"internal/review":            {"internal/transcript", "internal/finding", "internal/note"},
	"internal/store":             {"internal/transcript", "internal/finding", "internal/note", "internal/review", "internal/export"},
	"internal/course":            {"internal/transcript", "internal/finding", "internal/review", "lexicon"},
	"internal/teach": {"internal/transcript", "internal/finding", "internal/note", "internal/review", "internal/extract", "internal/packcheck",
		"lexicon"},
	"internal/export/fhir":       {"internal/transcript", "lexicon", "internal/finding", "internal/note", "internal/export"},
	"internal/export/print":      {"internal/transcript", "lexicon", "internal/finding", "internal/note", "internal/export"},
	"internal/export/forms":      {"lexicon", "internal/note", "internal/export", "internal/export/fhir", "internal/export/print"},
	"internal/export/exporttest": {"internal/transcript", "lexicon", "internal/finding", "internal/note", "internal/extract"},
	"internal/pipeline": {"internal/audio", "internal/speech", "internal/transcript", "lexicon", "internal/finding",
		"internal/extract", "internal/note", "internal/export"},
	"internal/web": {"internal/audio", "internal/transcript", "lexicon", "internal/finding", "internal/note", "internal/export", "internal/review",
		"internal/store", "internal/pipeline", "internal/export/forms", "internal/course", "internal/teach"},
	"internal/corpus": {"internal/transcript", "internal/finding", "internal/note", "lexicon"},
	"internal/eval": {"internal/corpus", "internal/pipeline", "internal/audio", "internal/speech", "internal/transcript",
		"lexicon", "internal/finding", "internal/extract", "internal/note"},
	"internal/audio/audiotest": {},
	"internal/archtest":        {},
	"internal/packcheck":       {"lexicon", "internal/transcript", "internal/finding", "internal/extract"},
	// A command for scripts/eval-speech, kept beside what it measures.
	"internal/speech/speecheval": {"internal/speech", "internal/speech/whisper", "internal/audio", "internal/transcript", "internal/speech/speechtest",
		"internal/corpus", "internal/eval", "internal/pipeline", "internal/extract", "internal/note", "internal/export", "lexicon"},
}

func TestImportsFollowTheStages(t *testing.T) {
	for _, f := range goFiles(t) {
		if f.test || strings.HasPrefix(f.pkg, "cmd/") || strings.HasPrefix(f.pkg, "scripts") {
			continue
		}
		allowed, ok := mayImport[f.pkg]
		if !ok {
			t.Errorf("%s: package %s has no place in the order of the stages (mayImport)", f.name, f.pkg)
			continue
		}
		for _, im := range f.imports {
			own, ok := strings.CutPrefix(im, module+"/")
			if ok && !slices.Contains(allowed, own) {
				t.Errorf("%s: %s may not import %s", f.name, f.pkg, own)
			}
		}
	}
}

// The program never reaches out: no part of it opens a connection. The page
// alone listens, on this machine's own address (TestNothingDialsOut).
// Only the engine's adapter may use C, so that all else builds anywhere.
func TestForbiddenImports(t *testing.T) {
	for _, f := range goFiles(t) {
		// The tool that takes the network away from a test must name it.
		tool := strings.HasPrefix(f.pkg, "scripts/")
		for _, im := range f.imports {
			switch {
			case f.pkg == "internal/web" && (im == "net" || im == "net/http"): // it listens
			case !f.test && !tool && (im == "net" || strings.HasPrefix(im, "net/") && im != "net/url" || strings.HasPrefix(im, "golang.org/x/net")):
				t.Errorf("%s imports %s: the program must not reach a network", f.name, im)
			case im == "C" && f.pkg != "internal/speech/whisper":
				t.Errorf("%s uses C: only internal/speech/whisper may", f.name)
			case !f.test && im == "testing" && !strings.HasSuffix(f.pkg, "test"):
				t.Errorf("%s imports testing outside of tests", f.name)
			case im == "unsafe" && !tool && f.pkg != "internal/speech/whisper":
				t.Errorf("%s imports unsafe", f.name)
			case !f.test && strings.HasPrefix(im, module+"/cmd/"):
				t.Errorf("%s imports a command", f.name)
			}
		}
	}
}

// The page listens on one address of this machine and never dials: of net it may
// name what follows, and of net/http no client.
func TestNothingDialsOut(t *testing.T) {
	listens := 0
	for _, f := range goFiles(t) {
		if f.test || f.pkg != "internal/web" {
			continue
		}
		ast.Inspect(f.ast, func(n ast.Node) bool {
			if call, ok := n.(*ast.CallExpr); ok {
				if s, ok := call.Fun.(*ast.SelectorExpr); ok && s.Sel.Name == "Listen" {
					address, _ := call.Args[1].(*ast.BasicLit)
					if address == nil || address.Value != `"127.0.0.1:0"` {
						t.Errorf("%s listens on something else than this machine's own address", f.name)
					}
					listens++
				}
			}
			s, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			from, ok := s.X.(*ast.Ident)
			if !ok {
				return true
			}
			dials := from.Name == "http" && slices.Contains([]string{"Get", "Head", "Post", "PostForm", "Client", "DefaultClient", "Transport",
				"DefaultTransport", "NewRequest", "NewRequestWithContext", "RoundTripper", "ProxyFromEnvironment", "ListenAndServe", "ListenAndServeTLS"}, s.Sel.Name) ||
				from.Name == "net" && s.Sel.Name != "Listen" || from.Name == "websocket" && s.Sel.Name == "Dial"
			if dials {
				t.Errorf("%s names %s.%s: the page must reach nobody", f.name, from.Name, s.Sel.Name)
			}
			return true
		})
	}
	if listens != 1 {
		t.Errorf("the page listens in %d places, want one", listens)
	}
}

func TestEachPackageHasOneComment(t *testing.T) {
	comments := map[string][]string{}
	for _, f := range goFiles(t) {
		if f.test {
			continue
		}
		comments[f.pkg] = append(comments[f.pkg], nil...)
		if f.ast.Doc != nil && strings.TrimSpace(f.ast.Doc.Text()) != "" {
			comments[f.pkg] = append(comments[f.pkg], f.name)
			want := "Package " + f.ast.Name.Name + " "
			if f.ast.Name.Name == "main" {
				want = "Command "
			}
			if !strings.HasPrefix(f.ast.Doc.Text(), want) {
				t.Errorf("%s: the package comment begins with %q, not %q", f.name, strings.SplitN(f.ast.Doc.Text(), "\n", 2)[0], want)
			}
		}
	}
	for pkg, in := range comments {
		if len(in) != 1 {
			t.Errorf("package %s has %d package comments %v, want one that says its job", pkg, len(in), in)
		}
	}
}

// maxLines keeps a file to one noun that can be read at a sitting.
const maxLines = 500

func TestFilesAreShort(t *testing.T) {
	for _, f := range goFiles(t) {
		if !f.test && f.lines > maxLines {
			t.Errorf("%s has %d lines, more than %d: split it by the nouns it owns", f.name, f.lines, maxLines)
		}
	}
}

// Hidden wiring: nothing runs before main, and no package is imported for its
// side effects (embed excepted, which has none).
func TestNoHiddenWiring(t *testing.T) {
	for _, f := range goFiles(t) {
		if f.test {
			continue
		}
		for _, d := range f.ast.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv == nil && fn.Name.Name == "init" {
				t.Errorf("%s has an init function", f.name)
			}
		}
		for _, im := range f.ast.Imports {
			if im.Name != nil && im.Name.Name == "_" && im.Path.Value != `"embed"` {
				t.Errorf("%s imports %s for its side effects", f.name, im.Path.Value)
			}
		}
	}
}

// The repository names no registry's host (a fork's mirror must serve as well)
// and no folder of the machine it was made on. The words are put together here,
// so that this file does not hold them.
func TestForbiddenWords(t *testing.T) {
	forbidden := []string{
		"registry.npmjs" + ".org", "registry.yarnpkg" + ".com", "pypi" + ".org", "pythonhosted" + ".org", "proxy.golang" + ".org",
		"sum.golang" + ".org", "deb.debian" + ".org", "archive.ubuntu" + ".com", "crates" + ".io", "/wo" + "rk/", "/ro" + "ot/",
	}
	textFiles(t, func(name string, data []byte) {
		text := strings.ToLower(string(data))
		words := forbidden
		if strings.HasSuffix(name, ".go") { // documents may show such a folder in an example
			words = append(words[:len(words):len(words)], "/t"+"mp/")
		}
		for _, w := range words {
			if i := strings.Index(text, w); i >= 0 {
				t.Errorf("%s, line %d: %q must not stand in the repository", name, 1+strings.Count(text[:i], "\n"), w)
			}
		}
	})
}

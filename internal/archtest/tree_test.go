package archtest

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

const module = "bedsaid"

// root is the folder of go.mod.
func root(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test")
		}
		dir = up
	}
}

// file is a Go file of the repository.
type file struct {
	name    string // from the root, with slashes
	pkg     string // folder from the root
	test    bool
	lines   int
	ast     *ast.File
	imports []string
}

// textFiles walks all files that are text, what set-up fetches and builds aside.
func textFiles(t *testing.T, visit func(name string, data []byte)) {
	t.Helper()
	top, n := root(t), 0
	err := filepath.WalkDir(top, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			switch d.Name() {
			case ".git", ".cache", "bin", "node_modules":
				return filepath.SkipDir
			}
			return nil
		}
		if !d.Type().IsRegular() {
			return nil
		}
		data, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		if bytes.IndexByte(data[:min(len(data), 8000)], 0) >= 0 {
			return nil
		}
		rel, err := filepath.Rel(top, p)
		if err != nil {
			return err
		}
		n++
		visit(filepath.ToSlash(rel), data)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if n == 0 {
		t.Fatal("no files found")
	}
}

func goFiles(t *testing.T) []file {
	t.Helper()
	var out []file
	textFiles(t, func(name string, data []byte) {
		if path.Ext(name) != ".go" {
			return
		}
		set := token.NewFileSet()
		a, err := parser.ParseFile(set, name, data, parser.ParseComments)
		if err != nil {
			t.Fatalf("parse %s: %v", name, err)
		}
		f := file{name: name, pkg: path.Dir(name), test: strings.HasSuffix(name, "_test.go"), lines: bytes.Count(data, []byte("\n")), ast: a}
		for _, im := range a.Imports {
			p, err := strconv.Unquote(im.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			f.imports = append(f.imports, p)
		}
		out = append(out, f)
	})
	if len(out) < 20 {
		t.Fatalf("found %d Go files only", len(out))
	}
	return out
}

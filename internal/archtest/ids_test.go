package archtest

import (
	"go/ast"
	"go/token"
	"strconv"
	"testing"

	"bedsaid/lexicon"
)

// The engine knows kinds of sentences; what can be found, and where, stands in
// the packs. No id of a finding stands in its code, and it never asks whether an
// id or a region is a certain word.
func TestEngineNamesNoFindingOrSite(t *testing.T) {
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	ids := map[string]bool{}
	for _, f := range lex.Findings() {
		ids[f.ID] = true
	}
	literals := 0
	for _, f := range goFiles(t) {
		if f.pkg != "internal/extract" || f.test {
			continue
		}
		ast.Inspect(f.ast, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.BasicLit:
				if s, ok := literal(n); ok {
					literals++
					if ids[s] {
						t.Errorf("%s names the finding %s: make it data of a pack", f.name, s)
					}
				}
			case *ast.BinaryExpr:
				if n.Op != token.EQL && n.Op != token.NEQ {
					return true
				}
				if identity(n.X) && isWord(n.Y) || identity(n.Y) && isWord(n.X) {
					t.Errorf("%s compares an id or a region with a word: make it data of a pack", f.name)
				}
			case *ast.SwitchStmt:
				if identity(n.Tag) {
					t.Errorf("%s chooses by an id or a region: make it data of a pack", f.name)
				}
			}
			return true
		})
	}
	if literals < 100 {
		t.Fatalf("%d string literals, too few to have been read", literals)
	}
}

func literal(e ast.Expr) (string, bool) {
	l, ok := e.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return "", false
	}
	s, err := strconv.Unquote(l.Value)
	return s, err == nil
}

// isWord reports a literal; the empty one only says that there is none.
func isWord(e ast.Expr) bool {
	s, ok := literal(e)
	return ok && s != ""
}

// identity reports x.ID and x.Region.
func identity(e ast.Expr) bool {
	s, ok := e.(*ast.SelectorExpr)
	return ok && (s.Sel.Name == "ID" || s.Sel.Name == "Region")
}

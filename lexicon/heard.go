package lexicon

import (
	"fmt"
	"strings"
)

// heardAt is a mishearing that waits until all terms are known, or with sure an
// alias.
type heardAt struct {
	heardDef
	at   place
	sure bool
}

// mishearings enters what the packs list as common ones, each with the senses of
// the term that was meant.
func (b *builder) mishearings() {
	for _, h := range b.heard {
		b.at = h.at
		n := b.lex.root
		for k, w := range normalWords(h.For) {
			if k > 0 && Article(w) {
				continue
			}
			if n = n.child(w); n == nil {
				break
			}
		}
		if n == nil || len(n.senses) == 0 {
			what := "mishearing of"
			if h.sure {
				what = "alias for"
			}
			b.complain(h.For, fmt.Sprintf("%s unknown term %q", what, h.For), "write a term of a pack")
			continue
		}
		for _, id := range h.Near {
			if b.lex.sites[id] == nil {
				b.complain(id, fmt.Sprintf("mishearing near unknown site %q", id), "check the id")
			}
		}
		senses := append([]Sense(nil), n.senses...)
		if k := senses[0].Kind; !h.sure && (k == SideSense || k == CueSense && senses[0].Cue == CueNegate) {
			for _, t := range h.Terms { // everyday words: what comes next decides
				b.lex.heardSmall[strings.Join(normalWords(t), " ")] = SmallWord{Normalize(h.For)[0], k}
			}
			continue
		}
		for _, t := range h.Terms {
			for _, s := range senses {
				if !h.sure {
					s.Respelled, s.Near = h.For, h.Near
				}
				b.term(t, s)
			}
		}
	}
}

// SmallWord is a side or a cue that everyday words are heard in place of.
type SmallWord struct {
	Form
	Kind SenseKind
}

// HeardSmall gives the side or cue that words are known to be a mishearing of.
func (l *Lexicon) HeardSmall(words string) (SmallWord, bool) {
	w, ok := l.heardSmall[words]
	return w, ok
}

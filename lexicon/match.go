package lexicon

// node is a word of a term, after the words before it. Most have one word after
// them, so only the second and later ones stand in a map.
type node struct {
	word   string
	only   *node
	next   map[string]*node
	senses []Sense
}

// child is the node of the word after n, or nil.
func (n *node) child(word string) *node {
	if n.only != nil && n.only.word == word {
		return n.only
	}
	return n.next[word]
}

// empty reports that no term ends at n, which may be nil.
func (n *node) empty() bool { return n == nil || len(n.senses) == 0 }

// grow is child, made where there is none.
func (n *node) grow(word string) *node {
	c := n.child(word)
	if c != nil {
		return c
	}
	c = &node{word: word}
	switch {
	case n.only == nil:
		n.only = c
	case n.next == nil:
		n.next = map[string]*node{word: c}
	default:
		n.next[word] = c
	}
	return c
}

// Match finds the longest term that begins at forms[i]. Articles may stand
// inside any term, and side words inside a site term. It returns the senses, the index after the term, and the indices
// of side words passed over.
func (l *Lexicon) Match(forms []Form, i int, side func(int) bool) (senses []Sense, end int, sides []int) {
	senses, end, sides = walk(l.root, forms, i, i, nil, side)
	if len(sides) > 0 { // only sites may hold a side word inside
		var only []Sense
		for _, s := range senses {
			if s.Kind == SiteSense || s.Kind == PlaceSense || s.Kind == NameSense {
				only = append(only, s)
			}
		}
		if only == nil {
			return l.Match(forms, i, func(int) bool { return false })
		}
		senses = only
	}
	return senses, end, sides
}

// site reports that the words so far name a site: what follows an article or a
// side there is another one ("ear, the canal", not "ear canal").
func (n *node) site() bool {
	for i := range n.senses {
		if n.senses[i].Kind == SiteSense {
			return true
		}
	}
	return false
}

// walk follows a term that began at token i from the node that the tokens before
// j led to. An article may end a term ("change that") or be passed over in a
// longer one ("change that to").
func walk(n *node, forms []Form, i, j int, passed []int, side func(int) bool) (senses []Sense, end int, sides []int) {
	for ; j < len(forms); j++ {
		next := n.child(forms[j].Text)
		if j > i && Article(forms[j].Text) && !n.site() {
			if next.empty() {
				continue
			}
			if s, e, p := walk(n, forms, i, j+1, passed, side); e > j+1 {
				senses, end, sides = s, e, p
			}
		}
		if next == nil && j > i && intensifier(forms[j].Text) && !n.site() {
			continue
		}
		if next == nil && j > i && side(j) && !n.site() {
			passed = append(passed[:len(passed):len(passed)], j)
			continue
		}
		if next == nil {
			break
		}
		n = next
		if len(n.senses) > 0 && j >= end {
			senses, end, sides = n.senses, j+1, passed
		}
	}
	return senses, end, sides
}

// intensifier reports a word that a term may hold without meaning less: "goes a
// bit to the right".
func intensifier(word string) bool {
	switch word {
	case "bit", "little", "slightly", "just", "somewhat", "clearly", "definitely", "quite", "far":
		return true
	}
	return false
}

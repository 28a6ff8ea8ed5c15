package extract

import (
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Whole gives the senses of a text that is read as one term by itself; nil where
// it is read as a number, as several terms, or not at all. A pack's author asks
// so whether a term can be reached.
func (x *Extractor) Whole(text string) []lexicon.Sense {
	ts := x.repair(tokenize(transcript.FromText(text).Words))
	items := x.itemize(ts)
	// an article before the term is an item of its own
	for len(items) > 1 && len(items[0].senses) == 0 && lexicon.Article(ts[items[0].a].Text) {
		items = items[1:]
	}
	if len(items) != 1 || items[0].num != nil {
		return nil
	}
	return items[0].senses
}

package note

// ShortCaution stands at the very top, where there is room for one line.
const ShortCaution = "For the licensed nurse who examined to review, line by line. Not a diagnosis."

// Cautions gives the sentences that belong beside every draft, the most
// important first. A fresh slice each time, so that nobody can change the text
// for somebody else.
func Cautions() []string {
	return []string{
		"This is a draft for review by the licensed nurse who examined the patient. Compare every line with what you saw, heard and felt before you use any of it.",
		"It is not a diagnosis and gives no treatment advice. Words can be misheard and sides, values and negations mistaken, also where nothing is marked.",
		"What nobody said is not filled in: a finding that is not listed was not charted as normal.",
		"Scales differ between sources: a grade is shown as it was said.",
		"Consent to recording, how long the recording and this draft are kept, and who may see them follow the law and your local policy, which come first.",
	}
}

// Cautions are those that belong beside the note as far as it has come: what is
// signed is no draft any more, and says how it came about.
func (h Head) Cautions() []string {
	out := Cautions()
	if h.Watermark() == "" {
		out[0] = "This note was drafted by a program from what was said, and read line by line and signed by the nurse named above."
	}
	return out
}

package extract

import (
	"strings"

	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// speaker is who a transcript with names before each turn says is talking.
type speaker uint8

const (
	speakerUnknown speaker = iota // no names: the nurse
	speakerNurse
	speakerPatient
	speakerOther
	// speakerStudent examines too: what a student finds counts where the nurse agrees.
	speakerStudent
)

var speakers = map[string]speaker{
	"nurse": speakerNurse, "clinician": speakerNurse, "examiner": speakerNurse, "doctor": speakerNurse, "dr": speakerNurse, "provider": speakerNurse,
	"rn": speakerNurse, "gp": speakerNurse, "practitioner": speakerNurse,
	"patient": speakerPatient, "pt": speakerPatient, "client": speakerPatient, "resident": speakerPatient,
	"mother": speakerOther, "mom": speakerOther, "mum": speakerOther, "father": speakerOther, "dad": speakerOther, "son": speakerOther, "daughter": speakerOther,
	"wife": speakerOther, "husband": speakerOther, "partner": speakerOther, "visitor": speakerOther, "relative": speakerOther, "family": speakerOther,
	"caregiver": speakerOther, "student": speakerStudent, "trainee": speakerStudent, "learner": speakerStudent, "preceptor": speakerNurse, "aide": speakerOther, "parent": speakerOther,
}

// label gives the speaker whom a word names as "Patient:" or "[Nurse]".
func label(word string) speaker {
	if !strings.HasSuffix(word, ":") && !(strings.HasPrefix(word, "[") && strings.Contains(word, "]")) {
		return speakerUnknown
	}
	name := strings.ToLower(strings.TrimRight(strings.Trim(word, "[]:().,"), "_-0123456789"))
	return speakers[strings.TrimPrefix(name, "guest_")]
}

// labelled reports a transcript that names its speakers; one "Patient:" alone is a
// heading.
func labelled(t transcript.Transcript) bool {
	turns, seen := 0, map[speaker]bool{}
	for _, w := range t.Words {
		if who := label(w.Text); who != speakerUnknown {
			turns++
			seen[who] = true
		}
	}
	return turns > 2 && len(seen) > 1
}

// turn takes the speaker's name off the front of a sentence, and gives what a
// patient tells in a turn of his own, other than an answer, its act: history. A
// finding is charted from the examiner's words.
func (p *parser) turn(s *sentence, rest []sentence) {
	if !p.labelled {
		return
	}
	it := &s.chunks[0].items[0]
	if who := label(p.t.Words[p.ts[it.a].end].Text); who != speakerUnknown && it.b-it.a == 1 {
		p.who = who
		it.senses, it.num = []lexicon.Sense{{Kind: lexicon.CueSense, Cue: lexicon.CueFiller}}, nil
	}
	if p.who == speakerStudent && p.agreed(rest) {
		return
	}
	if p.who != speakerPatient && p.who != speakerOther && p.who != speakerStudent {
		return
	}
	for i := range s.chunks {
		if c := &s.chunks[i]; c.act == actState || c.act == actAsk {
			c.act = actPast
			if p.who != speakerPatient {
				c.act = actOther
			}
		}
	}
}

// agreed reports that the nurse's next turn begins with a word of assent.
func (p *parser) agreed(rest []sentence) bool {
	for i := range rest {
		items := rest[i].chunks[rest[i].opening()].items
		who := label(p.t.Words[p.ts[items[0].a].end].Text)
		if who == speakerUnknown || who == speakerStudent {
			continue
		}
		if who != speakerNurse {
			return false
		}
		k := items[0].b
		if at(p.ts, k, "it", "is") && p.ts[k+1].after >= stop || at(p.ts, k, "i", "see", "it") || at(p.ts, k, "so", "it", "is") {
			return true
		}
		switch text(p.ts, k) {
		case "agreed", "yes", "correct", "exactly", "yep", "yeah", "true":
			return true
		}
		return false
	}
	return false
}

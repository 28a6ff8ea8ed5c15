package export

import (
	"strings"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// The sample draft is invented, and holds every feature that the forms must
// show. Its words are placed two a second.
type sampler struct {
	words []transcript.Word
	set   finding.Set
}

func (s *sampler) say(text string) transcript.Span {
	from := len(s.words)
	for _, w := range strings.Fields(text) {
		at := float64(len(s.words)) / 2
		s.words = append(s.words, transcript.Word{Text: w, Start: at, End: at + 0.5, P: 0.9})
	}
	return transcript.Span{Start: from, End: len(s.words)}
}

func (s *sampler) find(text string, f finding.Finding) {
	f.Evidence = append(f.Evidence, s.say(text))
	if f.Status == finding.StatusUnknown {
		f.Status = finding.Assessed
	}
	if f.Source == finding.SourceUnknown {
		f.Source = finding.Observed
	}
	s.set.Findings = append(s.set.Findings, f)
}

func (s *sampler) leave(why finding.Why, text string) {
	s.set.LeftOut = append(s.set.LeftOut, finding.LeftOut{Why: why, Span: s.say(text)})
}

func sampleOutline() note.Outline {
	return note.NewOutline(
		[]note.Region{{ID: "eyes", Title: "Eyes"}, {ID: "ears", Title: "Ears"}, {ID: "neck", Title: "Neck and nodes"}},
		[]note.Item{
			{ID: "eye.sclera", Region: "eyes", Name: "sclera colour", Organ: "eye", Paired: true},
			{ID: "eye.pupil_size", Region: "eyes", Name: "pupil size", Organ: "eye", Paired: true},
			{ID: "eye.light_reaction", Region: "eyes", Name: "light reaction", Organ: "eye", Paired: true},
			{ID: "ear.cone_of_light", Region: "ears", Name: "cone of light", Organ: "ear", Paired: true, Clock: true},
			{ID: "ear.mastoid_tenderness", Region: "ears", Name: "mastoid tenderness", Organ: "ear", Paired: true},
			{ID: "neck.trachea", Region: "neck", Name: "trachea"},
			{ID: "neck.mass", Region: "neck", Name: "neck mass"},
			{ID: "carotid.pulse", Region: "neck", Name: "carotid pulse", Paired: true},
			{ID: "node.supraclavicular", Region: "neck", Name: "supraclavicular lymph node", Paired: true},
		})
}

// sample is spoken where timed, typed otherwise.
func sample(timed bool) note.Draft {
	s := &sampler{}
	s.leave(finding.SmallTalk, "Okay, hello there.")
	s.leave(finding.SmallTalk, "Um,")
	s.leave(finding.Instruction, "look straight at my nose please.")
	s.find("Right pupil is three millimeters,", finding.Finding{ID: "eye.pupil_size", Side: finding.Right, Value: finding.Number(3), Unit: "mm", Interpretation: finding.Unclear})
	s.find("left is maybe point five or four and a half,", finding.Finding{ID: "eye.pupil_size", Side: finding.Left, Value: finding.Number(0.5), High: finding.Number(4.5), Unit: "mm",
		Marks: []finding.Mark{{Kind: finding.UnsureValue, Why: `"maybe" was said with it`}, {Kind: finding.Implausible, Why: "a pupil of this size is hardly possible.", Alternatives: []string{"5 mm", "4 mm"}}}})
	s.find("left pupil does not react", finding.Finding{ID: "eye.light_reaction", Side: finding.Left, Value: finding.Word("nonreactive"), Interpretation: finding.Unexpected})
	s.leave(finding.Question, "Does it hurt when I press behind the ear?")
	s.find("Only on the left.", finding.Finding{ID: "ear.mastoid_tenderness", Side: finding.Left, Value: finding.Word("present"), Source: finding.Reported, Interpretation: finding.Unexpected, Qualifiers: map[string]string{"severity": "mild", "onset": "new"}})
	s.find("Cone of light at five on the right.", finding.Finding{ID: "ear.cone_of_light", Side: finding.Right, Value: finding.Number(5), Interpretation: finding.Expected})
	s.find("I cannot see the left one because of wax,", finding.Finding{ID: "ear.cone_of_light", Side: finding.Left, Status: finding.NotAssessed, Reason: "I cannot see the left one because of wax,"})
	s.leave(finding.TooGeneral, "otherwise ENT unremarkable.")
	s.leave(finding.Unrecognized, "Panic membrane turkey.")
	s.find("Trachea deviated to the right.", finding.Finding{ID: "neck.trachea", Side: finding.Right, Value: finding.Word("deviated"), Interpretation: finding.Unexpected})
	s.find("A lump on the right cheek side of the neck, two by three centimeters, firm, fixed, not tender.", finding.Finding{ID: "neck.mass", Zone: "right side", Value: finding.Word("present"), Interpretation: finding.Unexpected,
		Qualifiers: map[string]string{"size": "2 x 3 cm", "consistency": "firm", "mobility": "fixed", "tenderness": "absent", "angle": "45 deg"}})
	s.find("Carotids two plus of four.", finding.Finding{ID: "carotid.pulse", Side: finding.Both, Value: finding.Number(2), Qualifiers: map[string]string{"sign": "+", "of": "4"}, Interpretation: finding.Expected})
	s.find("Supraclavicular nodes none.", finding.Finding{ID: "node.supraclavicular", Side: finding.Both, Value: finding.Word("absent"), Interpretation: finding.Expected})
	s.find("And a thing that no pack knows.", finding.Finding{ID: "skin.odd_thing", Value: finding.Word("not_yellow")})
	danger := s.say("I feel like I cannot breathe.")
	s.set.LeftOut = append(s.set.LeftOut, finding.LeftOut{Why: finding.History, Span: danger})
	s.set.Unmentioned = []finding.Missing{{ID: "eye.light_reaction", Side: finding.Right}, {ID: "eye.sclera"}}
	s.set.Attention = []finding.Attention{
		{ID: "neck.mass", Why: "A fixed lump: have it looked at, per local protocol.", Urgency: finding.Prompt, Source: "common practice, no source", Evidence: s.set.Findings[7].Evidence},
		{Why: "The patient's words may mean danger: assess now, per local protocol.", Urgency: finding.Now, Source: "common practice, no source", Evidence: []transcript.Span{danger}},
		{ID: "eye.light_reaction", Side: finding.Left, Why: "A pupil that does not react: tell the clinician now, per local protocol.", Urgency: finding.Now, Evidence: s.set.Findings[2].Evidence},
	}
	src := note.Source{Name: "sample.txt", Provenance: note.Provenance{
		Program: "bedsaid 0.1.0", Packs: []note.Pack{{Name: "head_and_neck", Version: "0.1.0", SHA256: strings.Repeat("ab", 32)}},
		DraftedAt: time.Date(2031, 2, 3, 4, 5, 6, 0, time.UTC),
	}}
	src.Transcript.Words = s.words
	if timed {
		src.Name = "sample.wav"
		s.words[4].Heard = "luck"
		src.Transcript.Timed = true
		src.Transcript.Recording = &transcript.Recording{Seconds: 75.5, VoicedSeconds: 60.25,
			Untranscribed: []transcript.Interval{{Start: 27.5, End: 30}, {Start: 66, End: 75.25}}}
		src.Notices = []string{"The recording ends early: the file is cut off at 1:15."}
		src.Provenance.Engine, src.Provenance.Model, src.Provenance.ModelSHA256 = "whisper.cpp 1.9.1", "base-q8_0", strings.Repeat("0f", 32)
	} else {
		for i := range s.words {
			s.words[i] = transcript.Word{Text: s.words[i].Text}
		}
	}
	return note.Compose(src, s.set, sampleOutline())
}

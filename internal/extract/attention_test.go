package extract

import (
	"slices"
	"strings"
	"testing"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
)

// Wordings beside those of testdata/cases/danger, invented by thinking of how
// people say it.
var dangerous = []string{
	"I can't breathe, nurse.",
	"He says he has chest pain.",
	"This is the worst headache I ever had.",
	"Nurse, I can't see.",
	"I just want to die.",
	"My husband hits me at home.",
	"My throat is closing up.",
	"I can't see out of my left eye.",
	"Trachea midline. Please, I can't get any air in. Let me sit you up.",
	"I can't catch my breath, nurse.",
	"She says she's struggling to breathe at night.",
	"It's getting harder to breathe lying here.",
	"I feel like I'm suffocating.",
	"There's this awful pressure in my chest.",
	"My chest feels really tight.",
	"It's like an elephant sitting on my chest.",
	"I get a pain in my chest when I walk.",
	"He told me that his chest hurts.",
	"I think I'm having a heart attack.",
	"My head hurts so bad, it's the worst pain I've ever had in my head.",
	"This headache came on suddenly in the shower.",
	"It felt like something popped in my head.",
	"I suddenly couldn't see out of my right eye.",
	"My vision went blurry all of a sudden.",
	"I lost the sight in my left eye this morning.",
	"It's like a shade coming down over my eye.",
	"I woke up blind in one eye.",
	"I don't want to live anymore.",
	"Sometimes I think about killing myself.",
	"I just wish I could fall asleep and never wake up.",
	"There's no point in living.",
	"I've been thinking about suicide.",
	"My family would be better off without me.",
	"I tried to kill myself last year.",
	"My boyfriend punched me in the face.",
	"He chokes me when he's drunk.",
	"I'm scared to go home.",
	"My wife throws things at me and hits me.",
	"Do you feel safe at home? Not really.",
	"My daughter-in-law slaps me when I'm slow.",
	"I'm allergic to penicillin.",
	"She's got a peanut allergy.",
	"Any allergies? Yes, sulfa.",
	"Are you allergic to anything? Shellfish.",
	"I broke out in hives after that antibiotic.",
	"I feel like I'm choking.",
	"Something's stuck in my throat and I can't swallow.",
	"My tongue feels thick.",
	"My throat is swelling up.",
	"I've been coughing up blood since yesterday.",
	"I threw up blood last night.",
	"I fainted in the shower this morning.",
	"I think I'm going to faint.",
	"I passed out twice yesterday.",
	"I feel like I'm going to pass out.",
	"My whole left side went numb.",
	"I can't move my right arm.",
	"My face feels droopy and I can't get my words out.",
	"I took a whole bottle of Tylenol.",
	"I swallowed thirty pills.",
	"I think I'm dying.",
	"Any trouble breathing? A little, when I lie down.",
	"Have you had any chest pain? On and off since Tuesday.",
	"Do you have thoughts of hurting yourself? Sometimes.",
	"any chest pain yeah it comes and goes okay trachea midline",
	"He can't breathe, he's going blue!",
	"Mom can't breathe, please do something.",
	"My dad can't breathe!",
	"Why can't I breathe?",
	"Am I going to die?",
	"I can't see anything, it all went black.",
	"No, I can't breathe.",
	"No fever, but I have chest pain.",
	"Not good, nurse, chest pain all night.",
	"My heart is racing and I feel dizzy.",
	"I'm so short of breath I can't finish a sentence.",
	"She's been vomiting blood.",
	"My nose won't stop bleeding.",
	"My lips are swelling.",
	"I've got a crushing pain across my chest.",
	"He said he'd kill me if I told anyone.",
	"My neighbor touched me, down there.",
	"I haven't eaten in days, I don't see the point, I'd rather be dead.",
	"I don't feel safe at home.",
	"Penicillin makes me swell up.",
	"Eggs make my throat close.",
}

// Denials, questions without an answer, teaching, other people, figures of speech
// and what an examiner says of her own work.
var harmless = []string{
	"Denies chest pain.",
	"Any chest pain?",
	"No allergies.",
	"Pupils equal and round.",
	"No trouble breathing.",
	"He denies chest pain, shortness of breath and palpitations.",
	"No headache, vision loss or chest pain.",
	"She has never fainted.",
	"Do you have any chest pain? No.",
	"Any trouble swallowing or choking? No, none.",
	"Are you having thoughts of hurting yourself? No, never.",
	"Do you feel safe at home? Yes, I do.",
	"If you have trouble breathing, press the button.",
	"Tell me if you feel faint.",
	"Patients with epiglottitis will be drooling, so watch for stridor.",
	"The worst headache of my life is what we look for in a bleed.",
	"My brother had chest pain last week.",
	"My mother is allergic to penicillin.",
	"My last patient couldn't breathe.",
	"The lady in bed four has chest pain.",
	"Next door's gentleman wants to die, poor thing.",
	"I'm dying for a coffee.",
	"This charting is killing me.",
	"Don't make me laugh, I can't breathe for laughing.",
	"Can't see this drum at all.",
	"I can't see the drum because of the wax.",
	"I can't see anything in here, the canal is full of wax.",
	"I can't feel any nodes.",
	"I can't feel the thyroid.",
	"I can't hear a bruit.",
	"Take a deep breath and hold your breath.",
	"Any allergies? No.",
	"No known allergies.",
	"Allergies reviewed.",
	"Put your chin on your chest. Does that hurt? No.",
	"There is a faint bruit on the left.",
	"He is not short of breath.",
	"Lips pink, no swelling. Tongue midline. Uvula midline, not swollen.",
	"No stridor, no drooling.",
	"Trachea midline, neck supple.",
	"Swallow intact, no choking.",
	"No bruising behind the ears.",
	"Eyes: no pain, vision intact.",
	"That hurts me a little when you press.",
	"I'm checking for stridor now.",
	"Feeding tube in the right naris at fifty five centimeters.",
	"Breathing easy, no distress.",
	"He takes my breath away when he smiles.",
	"Does the light hurt your eyes? No.",
	"I feel like a million bucks.",
	"The hit song of the summer.",
	"Lips are pink, gums swollen.",
	"Swollen neck glands on the right.",
	"I would kill for a sandwich.",
}

func TestWordsOfDangerAreQuoted(t *testing.T) {
	x := newForTest(t)
	for _, text := range dangerous {
		set := x.Extract(transcript.FromText(text), Options{})
		quoted := false
		for _, a := range set.Attention {
			quoted = quoted || a.ID == "" && a.Urgency == finding.Now && len(a.Evidence) > 0
		}
		if !quoted {
			t.Errorf("%q was not quoted", text)
		}
	}
	for _, text := range harmless {
		for _, a := range x.Extract(transcript.FromText(text), Options{}).Attention {
			if a.ID == "" {
				t.Errorf("%q was quoted as danger", text)
			}
		}
	}
}

// Words of danger do not depend on full stops: between two findings said without
// any, they are quoted too.
func TestWordsOfDangerInOneBreath(t *testing.T) {
	x := newForTest(t)
	for _, text := range dangerous {
		if strings.Contains(text, "?") || strings.Contains(text, "can't see.") {
			continue // these need their end
		}
		run := strings.ToLower(strings.NewReplacer(".", "", ",", "", "!", "").Replace("trachea midline " + text + " pupils equal"))
		set := x.Extract(transcript.FromText(run), Options{})
		if !slices.ContainsFunc(set.Attention, func(a finding.Attention) bool { return a.ID == "" }) {
			t.Errorf("%q was not quoted", run)
		}
	}
}

func TestAttentionRanksFindings(t *testing.T) {
	x := newForTest(t)
	set := x.Extract(transcript.FromText("There is a node above the right clavicle. Facial droop on the left."), Options{})
	if len(set.Attention) != 2 || set.Attention[0].ID != "face.droop" || set.Attention[1].ID != "node.supraclavicular" {
		t.Errorf("attention %+v", len(set.Attention))
	}
	for _, a := range set.Attention {
		if a.Source == "" || a.Why == "" {
			t.Errorf("%s has no source or reason", a.ID)
		}
	}
}

// A reason said apart belongs to what was left out.
func TestReasonSaidApart(t *testing.T) {
	f, ok := say(newForTest(t), "I am leaving out the gag reflex, because he ate ten minutes ago.")["mouth.gag@=not_assessed"]
	if !ok || f.Reason != "he ate ten minutes ago" {
		t.Errorf("reason %q, found %v", f.Reason, ok)
	}
}

// What is not known to be old counts as new; what is known is less urgent; a
// possible sign of a stroke tells when the patient was last known well.
func TestOnsetAndTimeLastKnownWell(t *testing.T) {
	x := newForTest(t)
	for _, c := range []struct {
		say     string
		urgency finding.Urgency
		tells   []string
	}{
		{"Facial droop on the left.", finding.Now, []string{"onset: not stated, counts as new", "time last known well: not stated"}},
		{"Facial droop on the left, new since this morning. Last known well at nine thirty this morning.", finding.Now, []string{"onset: new", "time last known well: nine thirty this morning"}},
		{"Facial droop on the left, known.", finding.Prompt, []string{"onset: known"}},
		{"Neck is stiff.", finding.Prompt, []string{"stiff neck"}},
		{"He has a fever. Neck is stiff.", finding.Now, []string{"with fever"}},
		{"No fever. Neck is stiff.", finding.Prompt, []string{"stiff neck"}},
	} {
		list := x.Extract(transcript.FromText(c.say), Options{}).Attention
		if len(list) != 1 || list[0].ID == "" || list[0].Urgency != c.urgency {
			t.Errorf("%s: %d lines", c.say, len(list))
			continue
		}
		for _, want := range c.tells {
			if !strings.Contains(list[0].Why, want) {
				t.Errorf("%s: %q lacks %q", c.say, list[0].Why, want)
			}
		}
	}
}

// Where another patient begins the examination ends: what follows is left out, and
// the draft says from which word.
func TestAnotherPatientBegins(t *testing.T) {
	x := newForTest(t)
	for text, from := range map[string]int{
		"Trachea midline. Next, bed seven. Pupils unequal. Left facial droop.":  2,
		"Trachea midline. Okay, moving on to bed 12. Pupils unequal.":           3,
		"Trachea midline. Next patient. No bruits. Facial droop on the left.":   2,
		"Trachea midline. Next, bed seven's drip needs changing. Gums healthy.": -1,
		"Trachea midline. Next, head of the bed at thirty. Gums healthy.":       -1,
		"Trachea midline. I'll go to bed seven next. Gums healthy.":             -1,
		"Trachea midline. He came from bed seven. Gums healthy.":                -1,
	} {
		tr := transcript.FromText(text)
		set := x.Extract(tr, Options{})
		if n := unplaced(tr, set); n > 0 {
			t.Errorf("%s: %d words out of place", text, n)
		}
		i := slices.IndexFunc(set.Attention, func(a finding.Attention) bool { return strings.HasPrefix(a.Why, "another patient") })
		if from < 0 {
			if i >= 0 || len(set.Findings) < 2 {
				t.Errorf("%s: ended, with %d findings", text, len(set.Findings))
			}
			continue
		}
		if i < 0 || len(set.Findings) != 1 || len(set.Attention) != 1 {
			t.Errorf("%s: not ended, with %d findings", text, len(set.Findings))
			continue
		}
		if s := set.Attention[i].Evidence[0]; s.Start > from+1 || s.Start < from {
			t.Errorf("%s: parted at word %d", text, s.Start)
		}
		for _, l := range set.LeftOut {
			if l.Span.Start >= from+2 && l.Why != finding.OtherPerson && l.Why != finding.SmallTalk {
				t.Errorf("%s: left out as %s", text, l.Why)
			}
		}
	}
}

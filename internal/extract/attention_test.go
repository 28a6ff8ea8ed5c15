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
	"I can hardly breathe.",
	"It hurts to breathe and I can't take a deep breath in.",
	"Nurse, I'm having trouble getting air.",
	"He woke up gasping for air last night.",
	"I've got this tightness right here in the middle of my chest.",
	"There's a heavy weight on my chest.",
	"My chest is pounding.",
	"It feels like someone is squeezing my heart.",
	"I've got the worst pain in my head ever.",
	"My head feels like it's going to explode.",
	"All of a sudden I couldn't see.",
	"Everything's gone dark.",
	"I've lost half my vision.",
	"My sight is going.",
	"I want to end it.",
	"I don't see any reason to go on.",
	"I've been cutting myself.",
	"I'd like to just disappear and die.",
	"Life isn't worth living.",
	"I'm thinking of ending my life.",
	"He hits the kids and he hits me.",
	"My partner beats me.",
	"Somebody here hurt me.",
	"She pinches me and calls me names, she hit me yesterday.",
	"I'm afraid of my husband.",
	"He threatened me with a knife.",
	"My stepdad touches me at night.",
	"Last time I had penicillin I stopped breathing.",
	"I get hives from aspirin.",
	"I have an allergy to contrast dye.",
	"Bee stings make my throat swell.",
	"I'm choking on it!",
	"I can't swallow, it won't go down.",
	"My throat is getting tight.",
	"There's blood in my spit.",
	"I spat out a lot of blood.",
	"I brought up blood this morning.",
	"I keep blacking out.",
	"I feel like I'm about to faint.",
	"The room's spinning, I'm going down.",
	"My arm's gone numb.",
	"I can't lift my left arm.",
	"I took all my sleeping pills.",
	"I drank some bleach.",
	"I'm not okay, I want to die.",
	"Not really hungry, I have chest pain.",
	"Are you short of breath? Yes, very.",
	"Have you ever thought about suicide? I have, yes.",
	"Does anyone hurt you at home? My son does.",
	"Any pain in your chest? Just when I climb the stairs.",
	"Do you have any allergies? Just latex.",
	"trachea midline nurse my chest is hurting okay try to relax pupils equal",
	"I feel something's really wrong with me.",
	"I can't feel my face.",
	"He's turning blue and he can't breathe.",
	"I had a seizure this morning.",
	"Grandma says she can't breathe.",
	"My husband says I stopped breathing in the night.",
	"The pain goes down my left arm.",
	"I woke up and couldn't move my legs.",
	"I think I'm having a stroke.",
	"I've been bleeding from my nose for two hours and it won't stop.",
	"I just don't want to wake up tomorrow.",
	"I've got pills at home and I know how many it takes.",
	"I'm finding it really difficult to breathe.",
	"Nurse! Air! I need air!",
	"I'm getting more and more breathless.",
	"She says her breathing's been terrible since last night.",
	"Ooh, that pain in my chest again.",
	"It's a crushing feeling, right under my breastbone.",
	"There's a burning pain going up into my jaw and down my arm.",
	"I've had chest pains all morning.",
	"This is the worst headache I've ever had.",
	"The headache hit me like a bolt out of the blue.",
	"I can't see properly out of this eye, it's like a fog.",
	"It's as if somebody drew a curtain over my left eye.",
	"I've gone blind in my right eye.",
	"I wish I wasn't here anymore.",
	"I don't want to go on living like this.",
	"I've thought about hanging myself.",
	"Nobody would care if I died.",
	"He said he wants to kill himself.",
	"She told me she took an overdose on Friday.",
	"My husband grabs me by the throat.",
	"My carer shouts and pushes me around.",
	"I'm frightened of my son.",
	"He forces me to have sex.",
	"I come out in a rash if I have penicillin.",
	"I'm deathly allergic to peanuts.",
	"She can't have morphine, she stopped breathing with it.",
	"I can feel my throat closing.",
	"My tongue's swollen up.",
	"I keep choking on my food.",
	"I vomited a lot of blood.",
	"I've been spitting blood.",
	"I nearly passed out getting up.",
	"I came over all faint.",
	"My leg's gone weak all of a sudden.",
	"I can't feel anything on my left side.",
	"I swallowed a whole packet of paracetamol.",
	"Something terrible is happening to me.",
	"I think I'm going to die.",
	"any trouble breathing yes at night mostly pupils equal",
	"Do you feel unsafe with anyone? Yes, my brother.",
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
	"Denies any shortness of breath.",
	"No complaints of chest pain.",
	"She reports no headache or vision changes.",
	"Any thoughts of harming yourself? No.",
	"Have you fainted? Never.",
	"The textbook says drooling and stridor mean epiglottitis.",
	"Watch for any trouble breathing.",
	"If he starts choking, call me.",
	"I would ask about chest pain next.",
	"My daughter is allergic to cats.",
	"His wife has chest pain too, she's seeing someone.",
	"Room twelve passed out this morning.",
	"The patient in four tried to kill himself.",
	"I'm starving to death.",
	"You scared me to death.",
	"That's a killer headache of a schedule.",
	"I was choked with laughter.",
	"He's blind in the family joke.",
	"Breath sounds clear.",
	"Take a breath in.",
	"Hold your breath for me.",
	"Neck supple, no swelling.",
	"Tongue midline, not swollen.",
	"No crepitus at the jaw.",
	"I can't see the back of the throat.",
	"I could not feel the thyroid.",
	"She's no longer short of breath.",
	"Chest is clear.",
	"Nothing hits me about the ears.",
	"Swallows without choking.",
	"I can't find the otoscope.",
	"Are you afraid of needles? No.",
	"Are you safe at home? Yes.",
	"Blood pressure one twenty over eighty.",
	"We'll check for allergies later.",
	"The light reaction is brisk.",
	"She has no chest pain today.",
	"No shortness of breath or cough.",
	"Not suicidal, denies any plan.",
	"Any blood when you cough? No, nothing like that.",
	"We ask everyone if they feel safe at home.",
	"When patients can't breathe they sit forward.",
	"Her father had a stroke at fifty.",
	"The man next door is choking, somebody go.",
	"I'm dying to sit down.",
	"My phone died.",
	"Dead skin on the scalp.",
	"He is deaf and blind.",
	"Pupils react to light.",
	"Left arm strong, moves his legs well.",
	"I can't move the light any closer.",
	"Face symmetric, no weakness.",
	"Lift your arm for me. Lower it.",
	"He bit his tongue last week.",
	"No bleeding from the gums.",
	"Airway clear, voice clear.",
	"Okay, it's only me, don't wake up.",
	"Left, I can't feel one.",
	"Left cone I couldn't see.",
	"Palate I can't see, he's closing on me.",
	"Sats ninety on two liters nasal cannula, pain eight out of ten.",
	"Carotids, one side at a time, or he'll pass out on you.",
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

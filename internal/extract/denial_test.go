package extract

import (
	"strings"
	"testing"

	"bedsaid/internal/transcript"
)

// Denials by class, in sentences of our own; the phrase asked about stands in
// brackets. The classes are those of Chapman et al. 2001 (doi
// 10.1006/jbin.2001.1029) and Harkema et al. 2009 (PMC2757457).
func TestDeniedByClass(t *testing.T) {
	x := newForTest(t)
	for _, c := range []struct {
		class  string
		denied bool
		text   string
	}{
		{"before", true, "There was no [wheezing]."},
		{"before", true, "She denies [blurred vision]."},
		{"before", true, "Abdomen without [guarding]."},
		{"before", true, "He has never had [gout]."},
		{"before", true, "The scan did not show any [bleeding]."},
		{"before", true, "The patient is not [febrile]."},
		{"before", true, "The patient was free of [pain]."},
		{"before", true, "The wound shows no evidence of [dehiscence]."},
		{"before", true, "Negative for [chills]."},
		{"before", true, "She has had no episodes of [syncope]."},
		{"before", true, "He does not have [asthma]."},
		{"before", true, "There is absence of [bowel sounds]."},
		{"before", true, "He was ruled out for [myocardial infarction]."},
		{"before", true, "The patient did not complain of [itching]."},
		{"before", true, "There is no apparent [injury] to the wrist."},
		{"before", true, "She was not in any [distress]."},
		{"before", true, "The film failed to reveal a [fracture]."},
		{"before", true, "No [enlarged liver] was felt."},
		{"before", true, "The patient has not had [vomiting] since Tuesday."},
		{"before", true, "There has been no recurrence of her [seizures]."},
		{"list", true, "No cough, sputum, wheeze or [hemoptysis]."},
		{"list", true, "He denied fever, chills, night sweats, and [weight loss]."},
		{"list", true, "She denies headache, dizziness, or any other [neurological symptom]."},
		{"list", true, "There were no masses, lesions, or [ulcers] seen."},
		{"list", true, "The lungs showed no rales, no rhonchi and no [wheezes]."},
		{"list", true, "Without nausea or [vomiting]."},
		{"list", true, "Neither fever nor [rash] was noted."},
		{"list", true, "He was not confused or [disoriented]."},
		{"list", true, "No recent travel, sick contacts, pets at home, or [tick bites]."},
		{"after", true, "[Edema] is absent."},
		{"after", true, "[Pneumonia] was ruled out."},
		{"after", true, "[Clonus] not elicited."},
		{"after", true, "[Fever]: none."},
		{"after", true, "Her [fever] has resolved."},
		{"after", true, "The [stool culture] came back negative."},
		{"after", true, "[Redness] and swelling were not seen."},
		{"after", true, "[Bleeding] has not been observed."},
		{"seeming", false, "There has been no increase in [swelling]."},
		{"seeming", false, "[Pneumonia] cannot be ruled out."},
		{"seeming", false, "We could not exclude a [hairline fracture]."},
		{"seeming", false, "Not only [fever] but rigors too."},
		{"seeming", false, "No change in the [effusion]."},
		{"seeming", false, "Gram negative [sepsis] was treated."},
		{"seeming", false, "It is not clear whether the [nodule] is new."},
		{"seeming", false, "She walked without difficulty despite the [sprain]."},
		{"seeming", false, "There was no relief of her [chest pain]."},
		{"seeming", false, "It is not certain that he has [epilepsy]."},
		{"seeming", false, "It is unclear why the [pain] has not gone."},
		{"seeming", false, "The [headache] has not resolved."},
		{"seeming", false, "There is no doubt about the [fracture]."},
		{"seeming", false, "No treatment for the [infection] was given."},
		{"seeming", false, "The [mass] has not changed."},
		{"seeming", false, "The [ulcer] did not heal."},
		{"seeming", false, "The [bleeding] was not controlled."},
		{"seeming", false, "He was not aware of his [hypertension]."},
		{"seeming", false, "She was admitted with [chest pain], which was not relieved by rest."},
		{"after", true, "A [pulmonary embolus] could be excluded."},
		{"before", true, "No obvious external [signs of trauma] were noted."},
		{"before", true, "Lungs are clear without any [crackles]."},
		{"before", true, "She never smoked and reports no [alcohol use]."},
		{"before", true, "The patient denied having [palpitations]."},
		{"before", true, "There was nothing to suggest [meningitis]."},
		{"before", true, "I see no reason to suspect [abuse]."},
		{"before", true, "The patient has had no further [angina]."},
		{"before", true, "Examination is unremarkable, with no [hernia]."},
		{"before", true, "Patient with no known [heart disease]."},
		{"before", true, "No significant past [medical illness]."},
		{"before", true, "She is without [complaints]."},
		{"before", true, "The test excludes a [deep vein thrombosis]."},
		{"before", true, "He can walk without [pain]."},
		{"list", true, "Denies: fever, [itching], chills."},
		{"list", true, "Review is negative for cough, fever, or [chills]."},
		{"list", true, "There was no hepatomegaly, no splenomegaly, and no [ascites]."},
		{"list", true, "No chest pain at rest or [on exertion]."},
		{"list", true, "She has no fever, chills, or cough, nor [night sweats]."},
		{"end", false, "She has no fever but reports [chills] and sweats."},
		{"end", false, "No masses. The [spleen] is enlarged."},
		{"end", false, "The patient is not diabetic and takes [aspirin] daily."},
		{"end", false, "No fractures of the ribs; [pneumothorax] on the left."},
		{"end", false, "There was no response to treatment of the [arrhythmia]."},
		{"end", false, "She does not smoke, has [asthma]."},
		{"end", false, "He was not given heparin for his [thrombosis]."},
		{"end", false, "There is no surgery planned for the [tumor]."},
		{"end", false, "The patient did not return for her [anemia]."},
		{"end", false, "He never took medication for [gout]."},
		{"end", false, "Not on oxygen, [short of breath] on walking."},
		{"end", false, "No fever but a [cough] for a week."},
		{"end", false, "She denies chest pain, however she has [palpitations]."},
		{"end", false, "No vomiting; she does have [heartburn]."},
		{"end", false, "There is no fracture, although there is [soft tissue swelling]."},
		{"end", false, "No bleeding, except for a [small ooze] at the site."},
		{"end", false, "He is not eating because of [nausea]."},
		{"end", false, "No cyanosis, and the [ankles] were swollen."},
		{"end", false, "Denies smoking. [Wheezing] at both bases."},
		{"end", false, "Without chest pain, he presented with [dyspnea]."},
		{"end", false, "There was no murmur and she developed a [rash]."},
		{"end", false, "Not tender, positive for [bruising]."},
		{"end", false, "No hernia. Skin: [warm]."},
		{"end", false, "No complaints apart from [back pain]."},
		{"end", false, "The patient is unable to walk due to [weakness], denies falls."},
		{"end", false, "Allergies: none. Illnesses: [diabetes]."},
		{"end", false, "No rales are heard, but there is [dullness] on the left."},
		{"plain", false, "There is a [murmur]."},
		{"plain", false, "[Rash] on the trunk, no itching."},
		{"plain", false, "He has [lice], denies itching."},
		{"plain", false, "[Swelling] present, redness absent."},
	} {
		plain := strings.NewReplacer("[", "", "]", "").Replace(c.text)
		before, rest, _ := strings.Cut(c.text, "[")
		phrase, _, _ := strings.Cut(rest, "]")
		first := len(strings.Fields(before))
		span := transcript.Span{Start: first, End: first + len(strings.Fields(phrase))}
		if got := x.Denied(transcript.FromText(plain), span); got != c.denied {
			t.Errorf("%s: %q: denied %t", c.class, c.text, got)
		}
	}
}

// What a denial reaches in charting: lists of terms that chart by themselves,
// names that share one denial, and swelling that has not gone. Each charted the
// contrary once; common practice, no source.
func TestDenialsReachTheirList(t *testing.T) {
	x := newForTest(t)
	for _, c := range []struct{ text, want, never string }{
		{"No lymphadenopathy, thyromegaly or JVD.", "neck.thyroid@=not_enlarged", "neck.jugular_distention@both=present"},
		{"Right ear redness and drainage absent.", "ear.redness@right=absent", "ear.redness@right=present"},
		{"The redness of the right ear has not resolved.", "ear.redness@right=present", "ear.redness@right=absent"},
		{"No cause for the hoarse voice.", "mouth.hoarseness@=present", "mouth.hoarseness@=absent"},
		{"Carotid bruits have been ruled out.", "carotid.bruit@both=absent", "carotid.bruit@both=present"},
	} {
		got := say(x, c.text)
		if _, ok := got[c.want]; !ok {
			t.Errorf("%q: want %s, got %s", c.text, c.want, keys(got))
		}
		if _, bad := got[c.never]; bad {
			t.Errorf("%q charted %s", c.text, c.never)
		}
	}
}

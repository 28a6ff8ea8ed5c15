package speech

import (
	"bytes"
	"compress/zlib"
	"slices"
	"strings"

	"bedsaid/internal/transcript"
)

// What may be wrong with a decoding, and how it is told. The thresholds were
// found on synthetic voices by an earlier study and are quoted in docs/speech.md.
const (
	loopRatio    = 2.4  // text that packs better than this repeats itself
	loopTimes    = 4    // so many times the same words in a row
	fastWords    = 4.2  // words a voiced second: faster is no speech
	slowWords    = 1.5  // slower, and something was left out
	lowLogProb   = -1.0 // a mean below which the text is guessed
	hopeless     = -1.5 // a mean below which, heard twice, it is not believed at all
	gapSeconds   = 1.5  // voiced seconds in a row without a word
	echoWords    = 5    // words in a row that stand so in the prompt
	littleVoice  = 1.0  // seconds of voice below which stock phrases are not believed
	likelySilent = 0.3  // the engine's own probability of silence: 0.03 at most in speech, 0.36 and more in noise
	doubtInNoise = -0.7 // a mean below which text is not believed where silence is likely
)

// verdict is what speaks against a decoding.
type verdict struct {
	loop   bool // it repeats itself or ran to the limit
	hasty  bool // more words than the time holds
	echo   bool // it may be the prompt's words, not the speaker's
	sparse bool // voice without words
	guess  bool // the engine itself doubts it
	noise  bool // a loop or a guess where the engine itself hears no speech
	phrase bool // a phrase that silence is known to bring forth
	// uncovered is how many voiced seconds have no word.
	uncovered float64
}

func (v verdict) fine() bool {
	return !v.loop && !v.hasty && !v.echo && !v.sparse && !v.guess && !v.noise && !v.phrase
}

// judge looks at the words of one decoding; voiced are the voiced stretches of
// the piece, prompt the bare terms that it was primed with.
func judge(d Decoded, words []transcript.Word, voiced []transcript.Interval, prompt []string) verdict {
	text := normals(words)
	seconds := lengthOf(voiced)
	gaps := uncovered(words, voiced)
	v := verdict{
		loop:      d.HitLimit || repeats(text),
		hasty:     seconds > 1 && float64(len(words)) > fastWords*seconds,
		echo:      echoes(text, prompt),
		guess:     len(words) > 0 && d.AvgLogProb < lowLogProb,
		phrase:    stockPhrase(text) && (seconds < littleVoice || d.NoSpeech > likelySilent || d.AvgLogProb < lowLogProb),
		uncovered: lengthOf(gaps),
	}
	v.noise = d.NoSpeech > likelySilent && (v.loop || len(words) > 0 && d.AvgLogProb < doubtInNoise)
	for _, g := range gaps {
		v.sparse = v.sparse || g.End-g.Start >= gapSeconds
	}
	if seconds > 3 && float64(len(words)) < slowWords*seconds && v.uncovered > 0 {
		v.sparse = true
	}
	if len(words) == 0 && seconds >= leastGap {
		v.sparse = true
	}
	return v
}

// repeats says whether the text goes round in circles.
func repeats(text []string) bool {
	for size := 1; size <= 12; size++ {
		times := loopTimes
		if size == 1 {
			times = loopTimes + 1 // "no, no, no, no" can be said
		}
		run := size
		for i := size; i < len(text); i++ {
			if text[i] != text[i-size] {
				run = size
				continue
			}
			if run++; run >= times*size {
				return true
			}
		}
	}
	joined := strings.Join(text, " ")
	if len(joined) < 80 {
		return false
	}
	var b bytes.Buffer
	z := zlib.NewWriter(&b)
	_, _ = z.Write([]byte(joined)) // a buffer takes everything
	_ = z.Close()
	return float64(len(joined)) > loopRatio*float64(b.Len())
}

// echoes says whether the text holds a run of the prompt's words, in its order,
// or consists of nothing but its words.
func echoes(text, prompt []string) bool {
	if len(prompt) == 0 || len(text) == 0 {
		return false
	}
	var flat []string
	in := map[string]bool{}
	for _, term := range prompt {
		for _, w := range strings.Fields(term) {
			flat = append(flat, normal(w))
			in[normal(w)] = true
		}
	}
	if echoRun(text, flat) {
		return true
	}
	return !slices.ContainsFunc(text, func(w string) bool { return !in[w] })
}

// echoRun says whether echoWords of the text stand in the same row in flat.
func echoRun(text, flat []string) bool {
	for i := 0; i+echoWords <= len(text); i++ {
		for j := 0; j+echoWords <= len(flat); j++ {
			if slices.Equal(text[i:i+echoWords], flat[j:j+echoWords]) {
				return true
			}
		}
	}
	return false
}

// stockPhrase knows what Whisper is known to write down for silence (Koenecke et
// al. 2024; "Whisper hallucinations on non-speech", arXiv 2501.11378: a small
// bag of phrases makes most of them). The choice here is from memory.
func stockPhrase(text []string) bool {
	switch strings.Join(text, " ") {
	case "you", "you you", "bye", "bye bye", "thank you", "thank you very much", "thank you so much",
		"thanks", "thanks for watching", "thank you for watching", "thank you for listening",
		"please subscribe", "subscribe", "like and subscribe", "see you next time", "see you later",
		"the end", "so", "oh", "hmm", "okay", "i", "uh", "um", "yeah", "and", "the", "music",
		"subtitles by the amaraorg community", "ill see you in the next video",
		"i will see you in the next video", "thank you for watching and see you next time":
		return true
	}
	return false
}

package models

import (
	"encoding/json"
	"fmt"
	"io"
)

// endOfText is the one control token that tokenizer files list among the
// words; ggml files leave it out, as the engine makes control tokens itself.
const endOfText = "<|endoftext|>"

// readVocabulary reads the words of a Hugging Face tokenizer.json in the order
// of their ids, each as the bytes it stands for.
func readVocabulary(r io.Reader) ([][]byte, error) {
	var file struct {
		Model struct {
			Vocab map[string]int `json:"vocab"`
		} `json:"model"`
	}
	if err := json.NewDecoder(r).Decode(&file); err != nil {
		return nil, fmt.Errorf("read tokenizer.json: %w", err)
	}
	delete(file.Model.Vocab, endOfText)
	words := make([][]byte, len(file.Model.Vocab))
	if len(words) == 0 {
		return nil, fmt.Errorf("read tokenizer.json: no vocabulary in it")
	}
	letters := byteLetters()
	for text, id := range file.Model.Vocab {
		if id < 0 || id >= len(words) || words[id] != nil {
			return nil, fmt.Errorf("read tokenizer.json: token ids are not 0 to %d, each once", len(words)-1)
		}
		word := make([]byte, 0, len(text))
		for _, r := range text {
			b, ok := letters[r]
			if !ok {
				return nil, fmt.Errorf("read tokenizer.json: token %d holds a character that stands for no byte", id)
			}
			word = append(word, b)
		}
		words[id] = word
	}
	return words, nil
}

// byteLetters inverts the byte-level BPE alphabet of GPT-2: printable Latin-1
// stands for itself, every other byte for a letter from U+0100 on, in order.
func byteLetters() map[rune]byte {
	letters := make(map[rune]byte, 256)
	next := rune(0x100)
	for b := rune(0); b < 256; b++ {
		printable := b >= '!' && b <= '~' || b >= 0xa1 && b <= 0xac || b >= 0xae
		if printable {
			letters[b] = byte(b)
			continue
		}
		letters[next] = byte(b)
		next++
	}
	return letters
}

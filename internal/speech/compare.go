package speech

import (
	"strings"

	"bedsaid/internal/transcript"
)

// difference is a stretch where two texts differ: words [a0, a1) of one stand
// where the other has [b0, b1). Either may be empty.
type difference struct{ a0, a1, b0, b1 int }

// differences aligns two texts by their longest common subsequence and gives
// where they differ, in order, and how many words they share.
func differences(a, b []string) (out []difference, same int) {
	long := make([][]int, len(a)+1) // of a[i:] and b[j:]
	for i := range long {
		long[i] = make([]int, len(b)+1)
	}
	for i := len(a) - 1; i >= 0; i-- {
		for j := len(b) - 1; j >= 0; j-- {
			if a[i] == b[j] {
				long[i][j] = long[i+1][j+1] + 1
			} else {
				long[i][j] = max(long[i+1][j], long[i][j+1])
			}
		}
	}
	at := difference{}
	for at.a1 < len(a) || at.b1 < len(b) {
		i, j := at.a1, at.b1
		switch {
		case i < len(a) && j < len(b) && a[i] == b[j]:
			if i > at.a0 || j > at.b0 {
				out = append(out, at)
			}
			at = difference{i + 1, i + 1, j + 1, j + 1}
		case j == len(b) || i < len(a) && long[i+1][j] >= long[i][j+1]:
			at.a1++
		default:
			at.b1++
		}
	}
	if at.a1 > at.a0 || at.b1 > at.b0 {
		out = append(out, at)
	}
	return out, long[0][0]
}

// agree says whether two texts are mostly the same words in the same order.
func agree(a, b []transcript.Word) bool {
	_, same := differences(normals(a), normals(b))
	return 3*same >= 2*max(len(a), len(b))
}

// withFirst notes, at the words of a second hearing that took the place of the
// first, what was heard there first: nothing is mended silently. Where the first
// had words and the second has none, the word before them keeps them.
func withFirst(second, first []transcript.Word) []transcript.Word {
	diffs, same := differences(normals(first), normals(second))
	if 3*same < max(len(first), len(second)) {
		return second // two different texts: no word of one stands for one of the other
	}
	for _, d := range diffs {
		was := wording(first[d.a0:d.a1])
		switch {
		case d.a0 == d.a1: // nothing was heard there first
		case d.b0 < d.b1:
			for k := d.b0; k < d.b1; k++ {
				second[k].Heard = was
			}
		case d.b0 > 0:
			second[d.b0-1].Heard = second[d.b0-1].Text + " " + was
		default:
			second[0].Heard = was + " " + second[0].Text
		}
	}
	return second
}

func wording(words []transcript.Word) string {
	texts := make([]string, len(words))
	for i, w := range words {
		texts[i] = w.Text
	}
	return strings.Join(texts, " ")
}

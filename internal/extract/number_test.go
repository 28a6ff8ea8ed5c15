package extract

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"bedsaid/internal/transcript"
)

// Numbers as the Python library num2words 0.5.14 speaks them are read back:
// every integer from 0 to 10,000, decimals and fractions; and where text2num
// 2.5.2 reads one number in them, it reads the same. scripts/checks/install
// makes the table.
func TestNumbersAsSpoken(t *testing.T) {
	dir := os.Getenv("BEDSAID_CHECKS")
	f, err := os.Open(filepath.Join(dir, "numbers.tsv"))
	if dir == "" || err != nil {
		t.Skip("skipped: scripts/checks/install has not run, or scripts/env is not sourced")
	}
	defer f.Close()
	read, peers, wrong := map[string]int{}, 0, 0
	in := bufio.NewScanner(f)
	for in.Scan() {
		cells := strings.Split(in.Text(), "\t")
		if len(cells) != 4 {
			t.Fatalf("row with %d cells", len(cells))
		}
		want, err := strconv.ParseFloat(cells[2], 64)
		if err != nil {
			t.Fatal(err)
		}
		ts := tokenize(transcript.FromText(cells[1]).Words)
		n, end := readNumber(ts, 0)
		if end != len(ts) || math.Abs(n.value-want) > 1e-6 || n.isRange || n.isBy || n.hasOf {
			if wrong++; wrong <= 20 {
				t.Errorf("%s %q: read %g from %d of %d words, want %g", cells[0], cells[1], n.value, end, len(ts), want)
			}
			continue
		}
		read[cells[0]]++
		if cells[3] != "" {
			peer, err := strconv.ParseFloat(cells[3], 64)
			if err != nil {
				t.Fatal(err)
			}
			if peers++; peer != n.value {
				t.Errorf("%q: read %g, text2num %g", cells[1], n.value, peer)
			}
		}
	}
	if err := in.Err(); err != nil {
		t.Fatal(err)
	}
	t.Logf("read back %v; %d read by text2num too; wrong %d", read, peers, wrong)
	if read["integer"] < 10001 || peers < 10001 || read["decimal"] == 0 || read["fraction"] == 0 {
		t.Errorf("too few: %v, %d by text2num", read, peers)
	}
}

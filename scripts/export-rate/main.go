// Command export-rate writes many generated notes to FHIR, one after the other,
// and prints how fast that goes and how much memory it takes: constant memory
// means that the figures of the first thousand and of the last are alike.
//
// Usage: go run ./scripts/export-rate [-n 10000] [-out FOLDER]
package main

import (
	"bufio"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"bedsaid/internal/export/exporttest"
	"bedsaid/internal/export/fhir"
	"bedsaid/lexicon"
)

func main() {
	n := flag.Uint64("n", 10000, "number of notes")
	out := flag.String("out", "", "folder to write them to; without it they are written and thrown away")
	flag.Parse()
	if err := run(*n, *out); err != nil {
		fmt.Fprintln(os.Stderr, "export-rate:", err)
		os.Exit(1)
	}
}

func run(n uint64, out string) error {
	lex, err := lexicon.Builtin()
	if err != nil {
		return err
	}
	var bytes, findings int
	var spent time.Duration
	for i := range n {
		doc := exporttest.Generated(lex, i)
		findings += len(doc.Draft.Findings())
		began := time.Now()
		size, err := write(out, i, func(w io.Writer) error { return fhir.Write(w, doc, lex) })
		if err != nil {
			return err
		}
		spent += time.Since(began)
		bytes += size
		if (i+1)%1000 == 0 || i+1 == n {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			fmt.Printf("%6d notes, %8d findings, %7.1f MB, %6.1f notes/s, heap %4.1f MB, %s\n",
				i+1, findings, float64(bytes)/1e6, float64(i+1)/spent.Seconds(), float64(m.HeapAlloc)/1e6, peak())
		}
	}
	return nil
}

type counter struct {
	w io.Writer
	n int
}

func (c *counter) Write(p []byte) (int, error) {
	c.n += len(p)
	return c.w.Write(p)
}

func write(folder string, i uint64, to func(io.Writer) error) (int, error) {
	if folder == "" {
		c := counter{w: io.Discard}
		err := to(&c)
		return c.n, err
	}
	f, err := os.OpenFile(filepath.Join(folder, fmt.Sprintf("%06d.fhir.json", i)), os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return 0, err
	}
	b := bufio.NewWriter(f)
	c := counter{w: b}
	err = to(&c)
	for _, end := range []func() error{b.Flush, f.Close} {
		if e := end(); err == nil {
			err = e
		}
	}
	return c.n, err
}

// peak is the most memory that the process held, where Linux says it.
func peak() string {
	data, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return "peak not known"
	}
	for _, l := range strings.Split(string(data), "\n") {
		if rest, ok := strings.CutPrefix(l, "VmHWM:"); ok {
			return "peak " + strings.Join(strings.Fields(rest), " ")
		}
	}
	return "peak not known"
}

package main

import (
	"fmt"
	"io"
	"time"

	"bedsaid/internal/pipeline"
)

// progress shows one line on a terminal, rewritten in place: the stage, the
// share done, the time left. On anything else it shows nothing.
type progress struct {
	w       io.Writer
	now     func() time.Time
	width   int
	name    string
	stage   pipeline.Stage
	began   time.Time
	last    time.Time
	showing bool
}

func (m *Main) progress() *progress {
	width, ok := m.Width(m.Stderr)
	if !ok || m.Env("TERM") == "dumb" {
		return &progress{}
	}
	return &progress{w: m.Stderr, now: m.Now, width: width}
}

// of starts a new input.
func (p *progress) of(name string) { p.name, p.stage = name, "" }

// at reports a share done, 0 to 1, of a stage.
func (p *progress) at(stage pipeline.Stage, share float64) {
	if p.w == nil {
		return
	}
	now := p.now()
	switch {
	case stage != p.stage:
		p.stage, p.began = stage, now
	case now.Sub(p.last) < 100*time.Millisecond:
		return
	}
	p.last = now
	line := []rune(progressLine(p.name, stage, share, now.Sub(p.began)))
	if len(line) > p.width-1 {
		line = line[:max(p.width-1, 0)]
	}
	fmt.Fprintf(p.w, "\r\x1b[K%s", plainLine(string(line)))
	p.showing = true
}

// clear takes the line away, before anything else is printed.
func (p *progress) clear() {
	if p.showing {
		fmt.Fprint(p.w, "\r\x1b[K")
		p.showing = false
	}
}

func progressLine(name string, stage pipeline.Stage, share float64, spent time.Duration) string {
	line := fmt.Sprintf("%s: %s", name, stage)
	if share <= 0 {
		return line
	}
	line += fmt.Sprintf(", %d %% done", int(share*100))
	// A guess from the first moments jumps about and misleads.
	if spent >= 2*time.Second && share >= 0.02 && share < 1 {
		left := time.Duration(float64(spent) * (1 - share) / share)
		s := int(left.Round(time.Second).Seconds())
		line += fmt.Sprintf(", about %d:%02d left", s/60, s%60)
	}
	return line
}

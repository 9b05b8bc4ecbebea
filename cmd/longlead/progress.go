package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/jedib0t/go-pretty/v6/progress"
	"golang.org/x/term"
)

// quietEvery is how often progress is told where there is no terminal to draw on.
const quietEvery = 5 * time.Second

// progressView shows how far long work is: a bar on a terminal, now and then a line elsewhere.
type progressView struct {
	out     io.Writer
	what    string
	writer  progress.Writer
	tracker *progress.Tracker
	drawn   sync.WaitGroup
	told    time.Time
}

func newProgress(out io.Writer, what string) *progressView {
	p := &progressView{out: out, what: what, told: time.Now()}
	file, ok := out.(*os.File)
	if !ok || !term.IsTerminal(int(file.Fd())) {
		return p
	}
	p.writer = progress.NewWriter()
	p.writer.SetOutputWriter(out)
	p.writer.SetAutoStop(false)
	p.writer.SetUpdateFrequency(100 * time.Millisecond)
	p.writer.SetMessageLength(60)
	p.writer.Style().Visibility.Value = false
	p.writer.Style().Visibility.ETA = false
	p.tracker = &progress.Tracker{Message: what}
	p.writer.AppendTracker(p.tracker)
	p.drawn.Go(p.writer.Render)
	return p
}

// update says what is being done, and how much of it is done; a whole of 0 is unknown.
func (p *progressView) update(text string, done, whole int64) {
	if p.tracker != nil {
		p.tracker.UpdateMessage(p.what + ": " + text)
		p.tracker.UpdateTotal(whole)
		p.tracker.SetValue(min(done, whole))
		return
	}
	if time.Since(p.told) < quietEvery {
		return
	}
	p.told = time.Now()
	if whole > 0 {
		text = fmt.Sprintf("%s (%d %%)", text, 100*min(done, whole)/whole)
	}
	fmt.Fprintf(p.out, "%s: %s\n", p.what, text)
}

func (p *progressView) stop() {
	if p.tracker == nil {
		return
	}
	p.tracker.MarkAsDone()
	p.writer.Stop()
	p.drawn.Wait()
}

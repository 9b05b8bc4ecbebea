package requests

import (
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"mime/multipart"
	"slices"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/entry"
	"github.com/longlead/longlead/services/console/frame"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

const (
	// shelfBytes is how much all files on the shelf may take together; the oldest go first.
	shelfBytes = 256 << 20
	// shelfTime is how long files lie on the shelf after they were last looked at.
	shelfTime = 2 * time.Hour
	// shownRows is how many rows with a fault a page shows.
	shownRows = 50
	// checkTime is the longest that a check or an import may take.
	checkTime = 30 * time.Minute
)

// shelf holds files that people have sent and are mending. It is in the memory of this process: when that ends, or another process answers, the file
// has to be sent again, and the page says so. Nothing of it is written down before it is taken.
type shelf struct {
	mu  sync.Mutex
	all []*parcel
}

func newShelf() *shelf { return &shelf{} }

// parcel is the files that somebody has sent together.
type parcel struct {
	id, login, dates string
	files            []*exchangev1.ImportFile
	size             int
	used             time.Time

	mu sync.Mutex
	// news is closed, and made anew, whenever something changes.
	news     chan struct{}
	working  bool
	progress *exchangev1.ImportResponse
	report   *exchangev1.ImportReport
	failed   error
}

// put lays files on the shelf.
func (s *shelf) put(login, dates string, files []*exchangev1.ImportFile, now time.Time) *parcel {
	p := &parcel{id: rand.Text(), login: login, dates: dates, files: files, used: now, news: make(chan struct{})}
	for _, f := range files {
		p.size += len(f.GetContent())
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all = append(slices.DeleteFunc(s.all, func(old *parcel) bool { return now.Sub(old.used) > shelfTime }), p)
	total := 0
	for i := len(s.all) - 1; i >= 0; i-- {
		if total += s.all[i].size; total > shelfBytes && i < len(s.all)-1 {
			s.all = slices.Delete(s.all, 0, i+1)
			break
		}
	}
	return p
}

// take finds what the person has on the shelf.
func (s *shelf) take(v *frame.Visit) (*parcel, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, p := range s.all {
		if p.id == v.Path("id") && p.login == v.Person.Login && v.Now().Sub(p.used) <= shelfTime {
			p.used = v.Now()
			return p, nil
		}
	}
	return nil, apperr.NotFoundf("FILES_GONE", "These files are not here any more: they are kept for two hours, and not beyond a restart of the server. Send them again. Nothing was taken of them.")
}

// start checks the files, or takes them, and returns when that is done or, with long lists, after a moment.
func (p *parcel) start(v *frame.Visit, req *exchangev1.ImportRequest) {
	p.mu.Lock()
	if p.working {
		p.mu.Unlock()
		return
	}
	p.working, p.progress, p.failed = true, nil, nil
	req.Files, req.Dates, req.ShowRows = p.files, p.dates, shownRows
	p.mu.Unlock()
	done := make(chan struct{})
	ctx, cancel := context.WithTimeout(context.WithoutCancel(v.Context()), checkTime)
	go func() {
		defer cancel()
		defer close(done)
		report, err := p.run(ctx, v.Conn, req)
		p.say(func() {
			p.working, p.failed = false, err
			if err == nil {
				p.report = report
			}
			if report.GetImported() {
				p.files = nil
			}
		})
	}()
	select {
	case <-done:
	case <-time.After(1500 * time.Millisecond):
	}
}

func (p *parcel) run(ctx context.Context, conn *grpc.ClientConn, req *exchangev1.ImportRequest) (*exchangev1.ImportReport, error) {
	stream, err := exchangev1.NewExchangeServiceClient(conn).Import(ctx, req)
	if err != nil {
		return nil, err
	}
	return entry.ReportOf(stream, func(got *exchangev1.ImportResponse) { p.say(func() { p.progress = got }) })
}

// say changes the parcel and wakes who follows it.
func (p *parcel) say(change func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	change()
	close(p.news)
	p.news = make(chan struct{})
}

// words say how far the work is; next is closed when there is news.
func (p *parcel) words() (text string, working bool, next <-chan struct{}) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if g := p.progress; g.GetKind() != "" {
		return fmt.Sprintf("%s: %s of %s rows", g.GetKind(), frame.Points(g.GetRowsDone()), frame.Points(g.GetRows())), p.working, p.news
	}
	return "reading the files", p.working, p.news
}

// fileOf finds the file that a part of a report is about, whose name has the sheet behind it for a workbook.
func (p *parcel) fileOf(r *exchangev1.FileReport) *exchangev1.ImportFile {
	for _, f := range p.files {
		if r.GetName() == f.GetName() || r.GetSheet() != "" && r.GetName() == f.GetName()+" sheet "+r.GetSheet() {
			return f
		}
	}
	return nil
}

// filesOf reads what a form brings.
func filesOf(form *multipart.Form) ([]*exchangev1.ImportFile, error) {
	if form == nil {
		return nil, apperr.InvalidField("files", "no file was chosen", "choose at least one")
	}
	var out []*exchangev1.ImportFile
	for _, head := range form.File["files"] {
		f, err := head.Open()
		if err != nil {
			return nil, fmt.Errorf("open what was sent: %w", err)
		}
		content, err := io.ReadAll(f)
		_ = f.Close() // read whole
		if err != nil {
			return nil, fmt.Errorf("read what was sent: %w", err)
		}
		out = append(out, &exchangev1.ImportFile{Name: strings.ToValidUTF8(cut(head.Filename, 200), "?"), Content: content})
	}
	if len(out) == 0 || len(out) == 1 && out[0].GetName() == "" {
		return nil, apperr.InvalidField("files", "no file was chosen", "choose at least one")
	}
	return out, nil
}

package graduation_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http/httptest"
	"net/mail"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	letters "github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/refsolve/venv"
)

// newBrowser starts a headless Chromium. Where it is missing the test fails and says how to come by one, or is skipped when it is left out on
// purpose.
func newBrowser(t *testing.T) context.Context {
	t.Helper()
	program, err := venv.Browser()
	if errors.Is(err, venv.ErrNoBrowser) {
		t.Skip(err)
	}
	require.NoError(t, err)
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.UserDataDir(t.TempDir()),
		// The sandbox does not start for root, as whom CI runs, and the pages are ours.
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	t.Cleanup(cancel)
	ctx, stop := chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(stop)
	ctx, closeTab := chromedp.NewContext(ctx)
	t.Cleanup(closeTab)
	return ctx
}

// write sends all letters that wait to a folder, as a worker does.
func (s *school) write(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	folder, err := letters.NewFolder(dir)
	require.NoError(t, err)
	worker := letters.NewWorker(letters.WorkerDeps{Pool: s.pool, Jobs: s.jobs, Now: func() time.Time { return s.now }, Log: slog.New(slog.DiscardHandler), Sender: folder})
	waiting, err := postgres.List[struct {
		ID ids.LetterID `db:"id"`
	}](t.Context(), s.pool, "list letters", `select id from mail.letter where state = 'waiting'`)
	require.NoError(t, err)
	for _, l := range waiting {
		require.NoError(t, worker.Send(t.Context(), l.ID))
	}
	require.Zero(t, s.count(t, `select count(*) from mail.letter where state not in ('sent', 'superseded')`))
	return dir
}

var pageLink = regexp.MustCompile(regexp.QuoteMeta(publicURL) + `(/handover/[\w-]+)`)

// linkIn finds the letter about an appointment in the folder, and the path of the owner's page in it.
func linkIn(t *testing.T, dir string, a handover.Appointment) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.eml"))
	require.NoError(t, err)
	for _, name := range files {
		file, err := os.Open(name)
		require.NoError(t, err)
		defer file.Close()
		message, err := mail.ReadMessage(file)
		require.NoError(t, err, name)
		body, err := io.ReadAll(message.Body)
		require.NoError(t, err)
		// Long lines of quoted-printable text are broken with "=".
		text := strings.ReplaceAll(strings.ReplaceAll(string(body), "=\r\n", ""), "=3D", "=")
		if found := pageLink.FindStringSubmatch(text); found != nil && strings.Contains(text, a.UID()) {
			return found[1]
		}
	}
	t.Fatalf("no letter in %d files has the link of %s", len(files), a.ID)
	return ""
}

// planDay plans the day of an appointment by the schedule.
func (s *school) planDay(t *testing.T, a handover.Appointment, day calendar.Date) {
	t.Helper()
	s.exec(t, `insert into dayplan.evening (site_id, day, due_at, outcome, note, queued_at, attempts, fingerprint) values ($1, $2, now(), 'waiting', '', now(), 0, '')`, a.SiteID, day.String())
	require.NoError(t, s.evenings.Plan(t.Context(), a.SiteID, day))
}

// handoverIn is when a trainer's planned day has the handover of a dog.
func (s *school) handoverIn(t *testing.T, a handover.Appointment, day calendar.Date) []time.Time {
	t.Helper()
	held, err := dayplan.ListHeld(t.Context(), s.pool, a.TrainerID, calendar.Span{From: day, To: day.AddDays(1)})
	require.NoError(t, err)
	var found []time.Time
	for _, h := range held {
		if h.Kind == dayplan.KindHandover && h.DogID == a.DogID {
			found = append(found, h.From, h.To)
		}
		require.False(t, h.Kind == dayplan.KindSession && h.DogID == a.DogID && h.To.After(a.Begins), "the dog goes home then: %v", h)
	}
	return found
}

// TestFromTheLetterToTheTrainersDay is the whole way in a real browser: March is arranged, the owner opens the link that is in the letter,
// confirms with one tap and takes another time with two, and the trainer's planned day follows. Opening the page answers nothing.
func TestFromTheLetterToTheTrainersDay(t *testing.T) {
	t.Parallel()
	ctx := newBrowser(t)
	s := newSchool(t)
	s.arrange(t, "TARN")
	a := s.live(t, "TARN")[0]
	day := calendar.DateIn(a.Begins, zoneOf(t, "America/Denver"))
	s.planDay(t, a, day)
	require.Equal(t, []time.Time{a.Begins, a.Ends}, utc(s.handoverIn(t, a, day)))
	path := linkIn(t, s.write(t), a)
	web := httptest.NewServer(s.web)
	t.Cleanup(web.Close)

	response, err := chromedp.Run(ctx, chromedp.NavigateResponse(web.URL+path))
	require.NoError(t, err)
	require.Equal(t, int64(200), response.Status)
	require.Equal(t, handover.Offered, s.stateOf(t, a), "opening the page answers nothing")
	s.press(t, ctx, `button[value="confirm"]`)
	require.Equal(t, handover.Confirmed, s.stateOf(t, a))

	offers, err := handover.ListOffers(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	require.NotEmpty(t, offers)
	_, err = chromedp.Run(ctx, chromedp.Click(chromedp.CSS(`input[name="offer"][value="`+offers[len(offers)-1].ID.String()+`"]`)))
	require.NoError(t, err)
	s.press(t, ctx, `button[value="choose"]`)
	moved, err := handover.Find(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	require.Equal(t, offers[len(offers)-1].Slot, moved.Slot)
	require.Equal(t, handover.Confirmed, moved.State)

	require.Positive(t, s.count(t, `select count(*) from river_job where kind = 'fit_day_to_appointments' and args ->> 'day' = $1 and state = 'available'`, day.String()))
	require.NoError(t, s.evenings.Fit(t.Context(), a.SiteID, day))
	require.Equal(t, []time.Time{moved.Begins, moved.Ends}, utc(s.handoverIn(t, moved, day)), "the trainer's day has followed")
	require.Equal(t, 2, s.count(t, `select count(*) from dayplan.plan where site_id = $1 and day = $2`, a.SiteID, day.String()))

	dir := s.write(t)
	files, err := filepath.Glob(filepath.Join(dir, "*handover-changed*.eml"))
	require.NoError(t, err)
	require.Len(t, files, 1, "and the owner has the new time in writing")
}

func utc(times []time.Time) []time.Time {
	for i := range times {
		times[i] = times[i].UTC()
	}
	return times
}

func (s *school) stateOf(t *testing.T, a handover.Appointment) handover.State {
	t.Helper()
	now, err := handover.Find(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	return now.State
}

// press gives an answer, after which the browser is sent back to the page.
func (s *school) press(t *testing.T, ctx context.Context, button string) {
	t.Helper()
	response, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.CSS(button)))
	require.NoError(t, err, button)
	require.Equal(t, int64(200), response.Status)
}

package frame_test

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
	"github.com/longlead/longlead/services/console/frame"
)

// A stream that is open when a person is shut out says no more than where the door is.
func TestAStreamEndsForWhomIsShutOut(t *testing.T) {
	t.Parallel()
	door, now := consoletest.NewDoor(), time.Date(2027, 3, 1, 9, 0, 0, 0, time.UTC)
	secret, err := door.SignIn(t.Context(), "rosa", consoletest.Password, "")
	require.NoError(t, err)
	f := frame.New(frame.Deps{Door: door, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler),
		As: func(ctx context.Context, _, _ string) (context.Context, error) { return ctx, nil }}, nil)
	var sent []error
	pages := f.Mount(nil, frame.Page{Pattern: "GET /follow", Serve: func(v *frame.Visit) error {
		events := v.Events()
		say := func(after time.Duration, words string) {
			now = now.Add(after)
			sent = append(sent, events.Send("news", words))
		}
		say(0, "first")
		say(59*time.Second, "second")
		say(2*time.Second, "third, after she was asked for")
		require.NoError(t, door.SignOut(t.Context(), secret))
		say(59*time.Second, "fourth, before she is asked for again")
		say(2*time.Second, "not for her")
		say(time.Second, "nor this")
		return nil
	}})
	page := pages[len(pages)-1]
	request := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/follow", nil)
	request.AddCookie(&http.Cookie{Name: "longlead", Value: secret})
	answer := httptest.NewRecorder()
	page.Serve(answer, request)

	require.Len(t, sent, 6)
	for _, err := range sent[:4] {
		require.NoError(t, err)
	}
	require.Error(t, sent[4])
	require.Error(t, sent[5])
	require.Equal(t, "event: news\ndata: first\n\nevent: news\ndata: second\n\nevent: news\ndata: third, after she was asked for\n\n"+
		"event: news\ndata: fourth, before she is asked for again\n\nevent: away\ndata: /sign-in\n\nevent: away\ndata: /sign-in\n\n", answer.Body.String())
}

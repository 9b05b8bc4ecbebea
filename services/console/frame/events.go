package frame

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
)

// Events is a stream of server-sent events. In the page an element with data-follow="/path" listens: an event named after the ID of an element
// replaces what is in it, "away" sends the browser to the path in its data.
//
// Every askEvery the stream asks again who is there: it ends for a person who was shut out, signed out or given another role meanwhile.
type Events struct {
	visit *Visit
	w     http.ResponseWriter
	flush *http.ResponseController
	asked time.Time
}

// askEvery is how long a stream trusts what it knows of the person who reads it.
const askEvery = time.Minute

// errNobody says that whoever began to read a stream may not go on.
var errNobody = errors.New("the person who reads the stream is signed in no more")

// Events begins to answer with a stream. What goes wrong afterwards can no longer be shown as a page: send it.
func (v *Visit) Events() *Events {
	h := v.w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no")
	v.w.WriteHeader(http.StatusOK)
	return &Events{visit: v, w: v.w, flush: http.NewResponseController(v.w), asked: v.Now()}
}

// Send sends one event; it fails when the browser is gone or the person signed in no more.
func (e *Events) Send(name, data string) error {
	if err := e.ask(); err != nil {
		if errors.Is(err, errNobody) { // else it could not be found out: the browser asks again by itself
			_ = e.write("away", "/sign-in")
		}
		return err
	}
	return e.write(name, data)
}

// ask finds out whether the person may still read, if that was not asked for a while.
func (e *Events) ask() error {
	v := e.visit
	if v.secret == "" || v.Now().Sub(e.asked) < askEvery {
		return nil
	}
	person, err := v.frame.deps.Door.Who(v.Request.Context(), v.secret)
	switch {
	case apperr.KindOf(err) == apperr.Unauthenticated:
		return errNobody
	case err != nil:
		return err
	case person.Login != v.Person.Login || person.Role != v.Person.Role:
		return errNobody
	}
	e.asked = v.Now()
	return nil
}

func (e *Events) write(name, data string) error {
	var b strings.Builder
	fmt.Fprintf(&b, "event: %s\n", name)
	for _, line := range strings.Split(strings.ReplaceAll(data, "\r", ""), "\n") {
		fmt.Fprintf(&b, "data: %s\n", line)
	}
	b.WriteString("\n")
	if _, err := e.w.Write([]byte(b.String())); err != nil {
		return fmt.Errorf("send an event: %w", err)
	}
	return e.flush.Flush()
}

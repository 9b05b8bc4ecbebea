package frame

import (
	"fmt"
	"net/http"
	"strings"
)

// Events is a stream of server-sent events. In the page an element with data-follow="/path" listens: an event named after the ID of an element
// replaces what is in it, "away" sends the browser to the path in its data.
type Events struct {
	w    http.ResponseWriter
	stop *http.ResponseController
}

// Events begins to answer with a stream. What goes wrong afterwards can no longer be shown as a page: send it.
func (v *Visit) Events() *Events {
	h := v.w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no")
	v.w.WriteHeader(http.StatusOK)
	return &Events{w: v.w, stop: http.NewResponseController(v.w)}
}

// Send sends one event; it fails when the browser is gone.
func (e *Events) Send(name, data string) error {
	var b strings.Builder
	fmt.Fprintf(&b, "event: %s\n", name)
	for _, line := range strings.Split(strings.ReplaceAll(data, "\r", ""), "\n") {
		fmt.Fprintf(&b, "data: %s\n", line)
	}
	b.WriteString("\n")
	if _, err := e.w.Write([]byte(b.String())); err != nil {
		return fmt.Errorf("send an event: %w", err)
	}
	return e.stop.Flush()
}

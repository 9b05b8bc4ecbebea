package frame

import (
	"errors"
	"net/http"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/rpc"
)

// Trouble is an error as a person reads it.
type Trouble struct {
	// Status is that of HTTP.
	Status int
	// Head is what kind of trouble it is, in a few words.
	Head string
	// Text says what is wrong and what to do.
	Text string
	// Reason is the machine word.
	Reason string
	// Fields are the parts of a form that have to change.
	Fields []Fault
	// Request is the name of the request, as the log has it, for faults of ours.
	Request string
}

// Fault is one part of a form that has to change.
type Fault struct {
	// Path is the field as the call knows it.
	Path string
	// Text says what is wrong with it and what to do.
	Text string
}

// Of returns the fault of a field, or nothing; for templates.
func (t *Trouble) Of(path string) string {
	if t == nil {
		return ""
	}
	for _, f := range t.Fields {
		if f.Path == path {
			return f.Text
		}
	}
	return ""
}

var troubles = map[codes.Code]struct {
	status int
	head   string
}{
	codes.InvalidArgument:    {http.StatusUnprocessableEntity, "Something has to be corrected"},
	codes.NotFound:           {http.StatusNotFound, "This is not here"},
	codes.AlreadyExists:      {http.StatusConflict, "This clashes with what is there"},
	codes.FailedPrecondition: {http.StatusConflict, "Not as things are now"},
	codes.PermissionDenied:   {http.StatusForbidden, "Not open to you"},
	codes.Unauthenticated:    {http.StatusUnauthorized, "Please sign in"},
	codes.Unavailable:        {http.StatusServiceUnavailable, "Not reachable at the moment"},
	codes.ResourceExhausted:  {http.StatusRequestEntityTooLarge, "Too large"},
	codes.DeadlineExceeded:   {http.StatusGatewayTimeout, "This took too long"},
	codes.Canceled:           {499, "Stopped"},
}

// TroubleOf turns the error of a call, or one of apperr, into words. Faults of ours are told in no detail.
func TroubleOf(err error) Trouble {
	told := status.Convert(rpc.ToStatus(err))
	kind, ok := troubles[told.Code()]
	if !ok {
		kind.status, kind.head = http.StatusInternalServerError, "Something went wrong on our side"
	}
	t := Trouble{Status: kind.status, Head: kind.head, Text: told.Message()}
	for _, d := range told.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			t.Reason = d.GetReason()
		case *errdetails.BadRequest:
			for _, f := range d.GetFieldViolations() {
				t.Fields = append(t.Fields, Fault{Path: f.GetField(), Text: f.GetDescription()})
			}
		}
	}
	return t
}

// Mendable reports whether a person can do something about an error on the page where it came up: show the form again with Trouble. Other
// errors are returned, and get a page of their own.
func Mendable(err error) (*Trouble, bool) {
	if err == nil {
		return nil, false
	}
	t := TroubleOf(err)
	return &t, t.Status == http.StatusUnprocessableEntity || t.Status == http.StatusConflict
}

// troublePage is the frame as it stands: without a page it shows trouble.
var troublePage = Parse(nil, "")

// fail shows an error as a page, or as a part of one.
func (v *Visit) fail(err error) {
	if errors.Is(err, errAway) {
		return
	}
	t := TroubleOf(err)
	if t.Status >= http.StatusInternalServerError && t.Status != http.StatusServiceUnavailable && t.Status != http.StatusGatewayTimeout {
		v.frame.deps.Log.ErrorContext(v.Request.Context(), "page failed", "pattern", v.Request.Pattern, "request", v.Request.Header.Get("X-Request-Id"), "error", err.Error())
		t.Request = v.Request.Header.Get("X-Request-Id")
	}
	name := "frame.html"
	if v.IsPart() {
		// htmx shows errors in the page's place for them.
		v.w.Header().Set("HX-Retarget", "#trouble")
		v.w.Header().Set("HX-Reswap", "innerHTML")
		name = "trouble"
	}
	if shownErr := v.write(t.Status, troublePage, name, v.shown(t)); shownErr != nil {
		v.frame.deps.Log.ErrorContext(v.Request.Context(), "the error page failed", "error", shownErr.Error())
		http.Error(v.w, t.Text, t.Status)
	}
}

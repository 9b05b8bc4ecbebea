package handover

import (
	"bytes"
	"context"
	"crypto/hmac"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const (
	pagePrefix = "/handover/"
	// mostForm is the largest form that is read, in bytes: a note of 500 characters, each written as %XX%XX%XX%XX, and room to spare.
	mostForm = 16 << 10
	// mostNote is the longest note, in characters.
	mostNote = 500
)

// servePage shows the page of a link.
func (s *Server) servePage(w http.ResponseWriter, r *http.Request) {
	s.show(w, r, http.StatusOK, nil)
}

// show answers with the page of a link, with a problem above it or without. Where the link opens nothing that is all it tells.
func (s *Server) show(w http.ResponseWriter, r *http.Request, code int, problem *pageProblem) {
	token := r.PathValue("token")
	v, err := s.readView(r.Context(), token)
	if err != nil {
		code, problem = s.problemOf(r.Context(), err)
		s.write(w, code, page{Title: "Appointments", Problem: problem})
		return
	}
	p := v.page(token)
	p.Problem = problem
	if problem != nil {
		problem.Back = LinkPath(token)
	}
	s.write(w, code, p)
}

func (s *Server) write(w http.ResponseWriter, code int, p page) {
	var out bytes.Buffer
	if err := writePage(&out, p); err != nil {
		s.deps.Log.Error("an owner's page could not be written", "error", err.Error())
		code = http.StatusInternalServerError
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", pagePolicy)
	h.Set("X-Robots-Tag", "noindex, nofollow")
	// The address is a secret and goes to no other server. To this one it may go, as browsers send an opaque origin with forms otherwise.
	h.Set("Referrer-Policy", "same-origin")
	w.WriteHeader(code)
	_, _ = w.Write(out.Bytes())
}

// problemOf is what an owner is told of an error.
func (s *Server) problemOf(ctx context.Context, err error) (code int, p *pageProblem) {
	known, ok := apperr.From(err)
	if !ok {
		if !errors.Is(err, context.Canceled) {
			s.deps.Log.ErrorContext(ctx, "an owner's page could not be made", "error", err.Error())
		}
		return http.StatusInternalServerError, &pageProblem{Head: "Something went wrong on our side", Text: "Nothing was changed. Try again in a few minutes, or call the school."}
	}
	switch known.Kind {
	case apperr.NotFound:
		return http.StatusNotFound, &pageProblem{Head: "This link does not work", Text: known.Message}
	case apperr.Denied:
		return http.StatusForbidden, &pageProblem{Head: "This was not done", Text: known.Message}
	case apperr.Invalid:
		return http.StatusBadRequest, &pageProblem{Head: "This was not done", Text: known.Message}
	case apperr.Unavailable:
		return http.StatusServiceUnavailable, &pageProblem{Head: "This was not done", Text: known.Message}
	}
	return http.StatusConflict, &pageProblem{Head: "This was not done", Text: known.Message}
}

// readView reads what the page of a token shows.
func (s *Server) readView(ctx context.Context, token string) (*view, error) {
	v := &view{now: s.deps.Book.now(), offers: map[string][]Offer{}}
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		link, err := openLink(ctx, tx, token, v.now)
		if err != nil {
			return err
		}
		all, err := ListOf(ctx, tx, []ids.RequestID{link.RequestID})
		if err != nil {
			return err
		}
		v.all = nil
		for _, a := range all {
			// Of handovers the open or latest one counts, which comes first.
			if a.Purpose == PurposeHandover && len(v.all) > 0 {
				continue
			}
			v.all = append(v.all, a)
		}
		return s.fill(ctx, tx, v, link)
	})
	return v, err
}

func (s *Server) fill(ctx context.Context, tx postgres.Tx, v *view, link Link) (err error) {
	if v.names, err = s.known().readNames(ctx, tx, []ids.RequestID{link.RequestID}); err != nil {
		return err
	}
	v.stay = v.names.stays[link.RequestID]
	v.site = v.names.sites[v.stay.SiteID]
	if len(v.all) > 0 {
		v.site = v.names.sites[v.all[0].SiteID] // the stay may have gone to another site, and its appointment not yet
	}
	if v.zone, err = calendar.LoadZone(v.site.Zone); err != nil {
		return err
	}
	if v.setting, err = ReadSetting(ctx, tx, v.site.ID); err != nil {
		return err
	}
	for _, a := range v.all {
		if v.offers[a.ID.String()], err = s.deps.Book.FreeOffers(ctx, tx, a); err != nil {
			return err
		}
	}
	v.skills, err = s.known().Skills(ctx, tx, v.stay.ProgramID)
	return err
}

// answer is what an owner sends with a form.
type answer struct {
	do, note string
	id       ids.AppointmentID
	revision int
	offer    ids.OfferID
	form     string
}

// errForm is told of a form that the page did not make, or not for this link.
var errForm = apperr.Deniedf("FORM_FOREIGN", "This answer did not come from the page of this link, so nothing was changed. Open the link again and answer there.")

// readAnswer reads a form. It takes no more than mostForm bytes.
func readAnswer(w http.ResponseWriter, r *http.Request) (a answer, err error) {
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	if err := r.ParseForm(); err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return a, apperr.Invalidf("FORM_TOO_LARGE", "This answer is far too long, so nothing was changed. Write up to %d characters.", mostNote)
		}
		return a, apperr.Invalidf("FORM_UNREADABLE", "This answer cannot be read, so nothing was changed.").Because(err)
	}
	f := r.PostForm
	a.do, a.note, a.form = f.Get("do"), strings.TrimSpace(f.Get("note")), f.Get("form")
	if a.id, err = ids.Parse[ids.AppointmentID](f.Get("appointment")); err != nil {
		return a, errForm
	}
	if a.revision, err = strconv.Atoi(f.Get("revision")); err != nil || a.revision < 1 {
		return a, errForm
	}
	switch a.do {
	case "confirm":
	case "choose":
		if a.offer, err = ids.Parse[ids.OfferID](f.Get("offer")); err != nil {
			return a, apperr.Invalidf("OFFER_MISSING", "No time was chosen, so nothing was changed: choose one of the times.")
		}
	case "ask":
		return a, checkNote(a.note)
	default:
		return a, errForm
	}
	return a, nil
}

func checkNote(note string) error {
	switch {
	case note == "":
		return apperr.Invalidf("NOTE_MISSING", "No time was named, so nothing was changed: write when you could come.")
	case !utf8.ValidString(note) || strings.ContainsRune(note, 0):
		return apperr.Invalidf("NOTE_UNREADABLE", "This answer cannot be read, so nothing was changed.")
	case utf8.RuneCountInString(note) > mostNote:
		return apperr.Invalidf("NOTE_TOO_LONG", "This is longer than %d characters, so nothing was changed: write less, or call.", mostNote)
	}
	return nil
}

// serveAnswer does what an owner answers and sends the browser back to the page.
func (s *Server) serveAnswer(w http.ResponseWriter, r *http.Request) {
	token := r.PathValue("token")
	a, err := readAnswer(w, r)
	if err == nil {
		err = s.do(r.Context(), token, a)
	}
	if err != nil {
		code, problem := s.problemOf(r.Context(), err)
		if apperr.ReasonOf(err) == "FORM_TOO_LARGE" {
			code = http.StatusRequestEntityTooLarge
		}
		s.show(w, r, code, problem)
		return
	}
	http.Redirect(w, r, LinkPath(token), http.StatusSeeOther)
}

// do does what an owner answers, if the form is one that the page of this link made.
func (s *Server) do(ctx context.Context, token string, a answer) error {
	book := s.deps.Book
	return postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		link, err := openLink(ctx, tx, token, book.now())
		if err != nil {
			return err
		}
		want := formToken(token, Appointment{ID: a.id, Revision: a.revision})
		if !hmac.Equal([]byte(want), []byte(a.form)) {
			return errForm
		}
		there, err := Find(ctx, tx, a.id)
		if err != nil || there.RequestID != link.RequestID {
			return errForm
		}
		w := Word{By: ByOwner, Why: "answered through private link " + link.ID.String(), Revision: a.revision}
		switch a.do {
		case "confirm":
			_, err = book.Confirm(ctx, tx, a.id, w)
		case "choose":
			_, err = book.Choose(ctx, tx, a.id, a.offer, w)
		default:
			_, err = book.Ask(ctx, tx, a.id, a.note, w)
		}
		return err
	})
}

package daysheet

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/rpc"
)

// Paths over HTTP.
const (
	feedPrefix, feedSuffix = "/feeds/", ".ics"
	sheetPattern           = "GET /sheets/{site}/{day}"
)

// feedPath is the path of a feed. It is a secret, and so stands in no log of ours; a proxy in front must not log it either.
func feedPath(token string) string { return feedPrefix + token + feedSuffix }

// printer makes the page of a request on behalf of whoever asks.
type printer func(r *http.Request, site, day string, q pageQuery) (media string, content []byte, err error)

// pageQuery is what the query of a page says.
type pageQuery struct {
	trainer, row string
	rows         bool
	paper        Paper
}

// queryOf reads the query of a page; what it does not know it refuses, so that a slip of the pen does not become a default.
func queryOf(r *http.Request) (pageQuery, error) {
	q := pageQuery{paper: PaperA4}
	for key, values := range r.URL.Query() {
		value := values[0]
		switch {
		case key == "trainer":
			q.trainer = value
		case key == "row":
			q.row = value
		case key == "by" && (value == "trainer" || value == "row"):
			q.rows = value == "row"
		case key == "by":
			return q, apperr.InvalidField("by", "is neither trainer nor row", "write by=trainer or by=row")
		case key == "paper" && strings.EqualFold(value, string(PaperA4)):
		case key == "paper" && strings.EqualFold(value, string(PaperLetter)):
			q.paper = PaperLetter
		case key == "paper":
			return q, apperr.InvalidField("paper", "is neither A4 nor Letter", "write paper=A4 or paper=Letter")
		default:
			return q, apperr.InvalidField("query", "has a part that is not known", "use paper, by, trainer and row")
		}
	}
	return q, nil
}

// serveSheet answers with a page to print.
func serveSheet(print printer) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		q, err := queryOf(r)
		if err != nil {
			rpc.WriteError(w, err)
			return
		}
		media, content, err := print(r, r.PathValue("site"), r.PathValue("day"), q)
		if err != nil {
			rpc.WriteError(w, err)
			return
		}
		w.Header().Set("Content-Type", media)
		w.Header().Set("Content-Security-Policy", pagePolicy(q.paper))
		_, _ = w.Write(content)
	}
}

// serveFeed answers with a trainer's calendar. Nothing of the address goes into a log or a reply.
func (s *Server) serveFeed(w http.ResponseWriter, r *http.Request) {
	token, ok := strings.CutSuffix(r.PathValue("file"), feedSuffix)
	if !ok {
		token = ""
	}
	content, err := s.readFeed(r.Context(), token)
	if err != nil {
		if !errors.Is(err, apperr.NotFound) && !errors.Is(err, context.Canceled) {
			s.deps.Log.ErrorContext(r.Context(), "a calendar feed could not be made", "error", err.Error())
		}
		rpc.WriteError(w, err)
		return
	}
	sum := sha256.Sum256(content)
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Content-Disposition", `inline; filename="longlead.ics"`)
	h.Set("Cache-Control", "private, no-cache")
	h.Set("ETag", `"`+hex.EncodeToString(sum[:16])+`"`)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(content))
}

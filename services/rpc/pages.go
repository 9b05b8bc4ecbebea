package rpc

import (
	"context"
	"net/http"

	"google.golang.org/grpc/metadata"
)

// Page is something that is served over HTTP beside the calls, such as a page to print.
type Page struct {
	// Pattern is one of http.ServeMux: "GET /sheets/{site}/{day}". A page at "/" answers for all paths that do not exist.
	Pattern string
	// Open lets everybody in. It is for addresses that are secrets themselves; all other pages ask for a token.
	Open bool
	// Serve answers. The headers that every reply has are set before; it may set others.
	Serve http.HandlerFunc
}

// handler is the page behind its door.
func (p Page) handler(tokens *Tokens) http.Handler {
	if p.Open {
		return p.Serve
	}
	return onlyKnown(tokens, p.Serve)
}

// CallContext is for calls that a page makes for whoever asked for it: it passes their token and the name of the request on, so that
// the call decides what they may do, as it does with any caller.
func CallContext(r *http.Request) context.Context {
	return metadata.AppendToOutgoingContext(r.Context(), "authorization", r.Header.Get("Authorization"), requestIDHeader, r.Header.Get(requestIDHeader))
}

// WriteError answers a request for a page with the error of a call, in the form that all errors over HTTP have. An error that is no
// apperr.Error and no status is told in no detail; log it.
func WriteError(w http.ResponseWriter, err error) { writeGatewayError(w, toStatus(err)) }

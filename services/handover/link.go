package handover

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"strings"
	"time"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// linkDays is for how many days after the appointment, or after it was made, a private link stays open.
const linkDays = 30

// tokenBytes is the random part of a link: 256 bits.
const tokenBytes = 32

// tokenLetters has small letters and digits alone: no sign at the end of an address that a mail program would leave out of the link.
var tokenLetters = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

// newLinkToken makes a token that nobody can guess.
func newLinkToken() string {
	var random [tokenBytes]byte
	_, _ = rand.Read(random[:]) // it never fails: crypto/rand ends the program instead
	return tokenLetters.EncodeToString(random[:])
}

// LinkPath is the path of an owner's page on the HTTP server. It is a secret, and so stands in no log of ours; a proxy in front must not log it
// either.
func LinkPath(token string) string { return pagePrefix + token }

// LinkURL is the address of an owner's page on the public server, whose own address is publicURL.
func LinkURL(publicURL, token string) string {
	return strings.TrimRight(publicURL, "/") + LinkPath(token)
}

// MakeLink makes a private link to the page of an appointment's stay. The token is not kept.
func (b *Book) MakeLink(ctx context.Context, tx postgres.Tx, a Appointment, by string) (token string, l Link, err error) {
	now := b.now()
	until := now
	if a.Ends.After(until) {
		until = a.Ends
	}
	token = newLinkToken()
	l = Link{ID: ids.LinkID(b.deps.Mint()), RequestID: a.RequestID, MadeAt: now, MadeBy: by, ExpiresAt: until.Add(linkDays * 24 * time.Hour)}
	return token, l, insertLink(ctx, tx, l, token)
}

package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/mail"

	gomail "github.com/wneessen/go-mail"
)

// compose writes the message of a letter: a text part, an HTML part and, where an event comes with it, a calendar part with its method (RFC 6047
// section 2.4), as alternatives of one another. The same letter gives the same bytes, however often it is tried.
func compose(k Kept) ([]byte, error) {
	for _, fault := range []string{plainAddress(k.FromAddress), plainAddress(k.ToAddress)} {
		if fault != "" {
			return nil, fmt.Errorf("compose a letter: an address %s", fault)
		}
	}
	m := gomail.NewMsg(gomail.WithNoDefaultUserAgent(), gomail.WithBoundary(boundary(k.MessageID)))
	m.FromMailAddress(&mail.Address{Name: oneLine(k.FromName), Address: k.FromAddress})
	m.ToMailAddress(&mail.Address{Name: oneLine(k.ToName), Address: k.ToAddress})
	m.Subject(oneLine(k.Subject))
	m.SetMessageIDWithValue(k.MessageID)
	m.SetDateWithValue(k.dated())
	// A machine wrote it: programs that answer by themselves should not (RFC 3834 section 5).
	m.SetGenHeader("Auto-Submitted", "auto-generated")
	m.SetBodyString(gomail.TypeTextPlain, k.BodyText)
	m.AddAlternativeString(gomail.TypeTextHTML, k.BodyHTML)
	if content, method := k.calendar(); content != "" {
		m.AddAlternativeString(gomail.ContentType("text/calendar; method="+method), content)
	}
	var out bytes.Buffer
	if _, err := m.WriteTo(&out); err != nil {
		return nil, fmt.Errorf("compose a letter: %w", err)
	}
	return out.Bytes(), nil
}

// boundary is the same for every attempt, and nothing that a letter's words could hold by chance. It needs no quotation marks, which the library
// does not write.
func boundary(messageID string) string {
	sum := sha256.Sum256([]byte(messageID))
	return "part-" + hex.EncodeToString(sum[:15])
}

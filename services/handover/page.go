package handover

import (
	"crypto/hmac"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
)

//go:embed page.html
var pageText string

//go:embed page.css
var pageStyle string

var pageTemplate = template.Must(template.New("page").Parse(pageText))

// pagePolicy is the Content-Security-Policy of the owner's page: nothing is loaded and nothing runs, the one style is known by its digest, and
// forms go to this server alone.
var pagePolicy = func() string {
	sum := sha256.Sum256([]byte(strings.TrimSpace(pageStyle)))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
}()

// page is what the template shows. Everything in it but Style is text, which the template escapes.
type page struct {
	Title, Site string
	Style       template.HTML
	Problem     *pageProblem
	Cards       []pageCard
	Lists       []pageList
	Phone       string
	Dial        template.URL
}

// pageProblem says why something was not done.
type pageProblem struct {
	Head, Text string
	// Back is the path of the page; empty where there is none to go back to.
	Back string
}

// pageCard is an appointment.
type pageCard struct {
	ID       string
	Revision int
	// Form binds the forms to the link and to what the owner saw.
	Form string
	// Mark is a class: agreed, asked, open, missed or ended. The look of each is that of the console (DEVELOPERS.md, "Design language").
	Mark, Label, State, Heading, Begins, Day, Hours, Zone, Where, Trainer, Wish, Moving string
	// Confirm and Ask say that there are such forms.
	Confirm, Ask, Missed bool
	Offers               []pageOffer
	// Calendar is a path; empty for an appointment that is not to be held.
	Calendar string
}

type pageOffer struct{ ID, Day, Hours, Extra string }

type pageList struct {
	Heading, Text string
	Items         []string
}

func writePage(out io.Writer, p page) error {
	p.Style = template.HTML("<style>" + strings.TrimSpace(pageStyle) + "</style>")
	if err := pageTemplate.Execute(out, p); err != nil {
		return fmt.Errorf("write the page of an appointment: %w", err)
	}
	return nil
}

// formToken binds a form to a link, an appointment and the revision that the owner saw: only who knows the link can make one, and it is of no
// use once the appointment has changed.
func formToken(linkToken string, a Appointment) string {
	mac := hmac.New(sha256.New, []byte(linkToken))
	fmt.Fprintf(mac, "handover form/%s/%d", a.ID, a.Revision)
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// dialOf is a telephone number as an address; empty where it has no digit.
func dialOf(phone string) template.URL {
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '+' {
			return r
		}
		return -1
	}, phone)
	if digits == "" {
		return ""
	}
	return template.URL("tel:" + digits) // digits and plus signs only
}

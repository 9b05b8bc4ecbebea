package mail

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/mail"
	"net/textproto"
	"regexp"
	"strings"

	"github.com/longlead/longlead/services/apperr"
)

// LargestBounce is how many bytes a message that came back may have. Reports that bring the whole letter along have some tens of thousands.
const LargestBounce = 1 << 20

// mostParts is how many parts of a message are looked at.
const mostParts = 20

// Report is what a delivery report (RFC 3464) says about one recipient.
type Report struct {
	// MessageID is that of the letter, without brackets.
	MessageID string
	Recipient string
	// Action is failed, delayed, delivered, relayed or expanded (section 2.3.3).
	Action string
	// Status is the code of RFC 3463, such as 5.1.1.
	Status string
	// Diagnostic is what the other server said.
	Diagnostic string
}

// words are status and diagnostic on one line.
func (r Report) words() string {
	return strings.TrimSpace(r.Status + " " + oneLine(r.Diagnostic))
}

var statusCode = regexp.MustCompile(`^[245]\.[0-9]{1,3}\.[0-9]{1,3}$`)

func notAReport(why string) error {
	return apperr.Invalidf("NOT_A_DELIVERY_REPORT", "This is no delivery report: %s. Give the message as it came, header and all; what an owner has written is for a person to read.", why)
}

// ParseReports reads the delivery reports in a message. Anything else is refused.
func ParseReports(content []byte) ([]Report, error) {
	if len(content) > LargestBounce {
		return nil, apperr.Invalidf("MESSAGE_TOO_LARGE", "The message has %d KB, and a delivery report has at most %d: it is something else, and was not read.", len(content)>>10, LargestBounce>>10)
	}
	m, err := mail.ReadMessage(bytes.NewReader(content))
	if err != nil {
		return nil, notAReport("it has no header that can be read")
	}
	kind, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/report" || !strings.EqualFold(params["report-type"], "delivery-status") || params["boundary"] == "" {
		return nil, notAReport("its type is not multipart/report with report-type=delivery-status (RFC 3464 section 2)")
	}
	var (
		reports  []Report
		original string
	)
	parts := multipart.NewReader(m.Body, params["boundary"])
	for range mostParts {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, notAReport("its parts cannot be told apart")
		}
		kind, _, _ := mime.ParseMediaType(part.Header.Get("Content-Type"))
		switch kind {
		case "message/delivery-status", "message/global-delivery-status":
			reports, err = readStatus(part)
		case "message/rfc822", "text/rfc822-headers", "message/global", "message/global-headers":
			original, err = readOriginal(part)
		}
		if err != nil {
			return nil, err
		}
	}
	switch {
	case len(reports) == 0:
		return nil, notAReport("it says of no recipient what became of it")
	case original == "":
		return nil, notAReport("it does not bring the header of the letter along, so nobody can tell which one it is about")
	}
	for i := range reports {
		reports[i].MessageID = original
	}
	return reports, nil
}

// readStatus reads the fields of all recipients; the first group is about the message (RFC 3464 section 2.1).
func readStatus(part io.Reader) ([]Report, error) {
	in := textproto.NewReader(bufio.NewReader(part))
	var all []Report
	for first := true; ; first = false {
		fields, err := in.ReadMIMEHeader()
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, notAReport("its status cannot be read")
		}
		if action := strings.ToLower(strings.TrimSpace(fields.Get("Action"))); action != "" && !(first && fields.Get("Final-Recipient") == "") {
			r := Report{Action: action, Recipient: typed(fields.Get("Final-Recipient")), Status: strings.TrimSpace(fields.Get("Status")), Diagnostic: typed(fields.Get("Diagnostic-Code"))}
			if to := typed(fields.Get("Original-Recipient")); to != "" {
				r.Recipient = to
			}
			if !statusCode.MatchString(r.Status) {
				return nil, notAReport("the status of a recipient is none (RFC 3463)")
			}
			all = append(all, r)
		}
		if err != nil {
			return all, nil
		}
	}
}

// typed drops the type that stands before a value: "rfc822; freya@example.org".
func typed(value string) string {
	_, after, ok := strings.Cut(value, ";")
	if !ok {
		after = value
	}
	return oneLine(strings.TrimSpace(after))
}

// readOriginal reads the Message-ID of the letter that a report is about.
func readOriginal(part io.Reader) (string, error) {
	fields, err := textproto.NewReader(bufio.NewReader(part)).ReadMIMEHeader()
	if err != nil && !errors.Is(err, io.EOF) {
		return "", notAReport("the letter's header that it brings along cannot be read")
	}
	return strings.Trim(strings.TrimSpace(fields.Get("Message-Id")), "<>"), nil
}

// outcomes says what an action means for a letter; others mean nothing.
var outcomes = map[string]string{"failed": "bounced", "delayed": "delayed", "delivered": "sent", "relayed": "sent", "expanded": "sent"}

// about picks the report that is about a letter's recipient.
func about(reports []Report, k Kept) (Report, error) {
	for _, r := range reports {
		if strings.EqualFold(r.Recipient, k.ToAddress) && outcomes[r.Action] != "" {
			return r, nil
		}
	}
	return Report{}, apperr.Preconditionf("REPORT_ABOUT_ANOTHER", "The report names the letter %s, but another recipient than the letter went to: nothing was noted.", k.ID)
}

// note is what the office reads of a bounce.
func (r Report) note() string { return fmt.Sprintf("it came back: %s", r.words()) }

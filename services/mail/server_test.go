package mail_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/mail"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

func (o *office) resend(t *testing.T, id, to string) (*mailv1.Letter, error) {
	t.Helper()
	got, err := o.server.ResendLetter(t.Context(), &mailv1.ResendLetterRequest{LetterId: id, ToAddress: to})
	return got.GetLetter(), err
}

// TestResend: the same words go again as a letter of its own, to another address if that is given.
func TestResend(t *testing.T) {
	t.Parallel()
	o, p := newOffice(t), newPostOffice(t)
	o.letterhead(t)
	w := o.worker(p.over(t))
	o.put(t, example(t, mail.HandoverInvitation, "a", 1))
	first := o.only(t, "a")
	_, err := o.resend(t, first.ID.String(), "")
	require.Equal(t, "LETTER_ON_ITS_WAY", apperr.ReasonOf(err))
	require.NoError(t, w.Send(t.Context(), first.ID))
	o.pass(time.Hour)
	second, err := o.resend(t, first.ID.String(), "freya@work.example")
	require.NoError(t, err)
	require.Equal(t, int32(1), second.GetCopy())
	require.NotEqual(t, first.MessageID, second.GetMessageId())
	require.NoError(t, w.Send(t.Context(), o.letters(t, "a")[1].ID))
	require.Len(t, p.all(), 2)
	require.Equal(t, "freya@work.example", p.all()[1].to)
	again := o.letters(t, "a")[1]
	require.Equal(t, first.BodyText, again.BodyText)
	require.Contains(t, strings.ReplaceAll(*again.Calendar, "\r\n ", ""), "mailto:freya@work.example")
	require.NotContains(t, strings.ReplaceAll(*again.Calendar, "\r\n ", ""), "mailto:freya.kahale@example.org")
	requireFolded(t, *again.Calendar)
	third, err := o.resend(t, again.ID.String(), "")
	require.NoError(t, err)
	require.Equal(t, int32(2), third.GetCopy())

	o.put(t, example(t, mail.HandoverChanged, "a", 2))
	_, err = o.resend(t, first.ID.String(), "")
	require.Equal(t, "LETTER_OUTDATED", apperr.ReasonOf(err))
	require.Len(t, o.letters(t, "a"), 4, "what was refused left nothing")
	for _, wrong := range []struct{ id, to, reason string }{{"7", "", "INVALID_FIELD"}, {o.mint().String(), "", "LETTER_UNKNOWN"}, {first.ID.String(), "a b", "INVALID_FIELD"}} {
		_, err := o.resend(t, wrong.id, wrong.to)
		require.Equal(t, wrong.reason, apperr.ReasonOf(err))
	}
}

// report is a delivery report as RFC 3464 has it.
func report(messageID, recipient, action, status, said string) string {
	return strings.ReplaceAll(fmt.Sprintf(`From: Mail Delivery Subsystem <MAILER-DAEMON@post.example>
To: office@tarnholt.example
Subject: Returned mail
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="b1"

--b1

Your message could not be delivered.

--b1
Content-Type: message/delivery-status

Reporting-MTA: dns; post.example
Arrival-Date: Mon, 01 Mar 2027 19:00:00 +0000

Final-Recipient: rfc822; %s
Action: %s
Status: %s
Diagnostic-Code: smtp; %s

--b1
Content-Type: text/rfc822-headers

Message-ID: <%s>
Subject: whatever

--b1--
`, recipient, action, status, said, messageID), "\n", "\r\n")
}

// TestBounces: a report is noted on the letter that it is about, and nothing else is.
func TestBounces(t *testing.T) {
	t.Parallel()
	o, p := newOffice(t), newPostOffice(t)
	o.letterhead(t)
	o.put(t, example(t, mail.HandoverInvitation, "a", 1))
	require.NoError(t, o.worker(p.over(t)).Send(t.Context(), o.only(t, "a").ID))
	k := o.only(t, "a")
	note := func(content string) (*mailv1.RecordBounceResponse, error) {
		o.pass(time.Minute)
		return o.server.RecordBounce(t.Context(), &mailv1.RecordBounceRequest{Content: []byte(content)})
	}
	for _, c := range []struct{ name, content, reason string }{
		{"10 MB", report(k.MessageID, k.ToAddress, "failed", "5.1.1", "no") + strings.Repeat("x", 10<<20), "MESSAGE_TOO_LARGE"},
		{"an answer", "From: Freya <freya@example.org>\r\nSubject: Re: handover\r\n\r\nCan we come at three?\r\n", "NOT_A_DELIVERY_REPORT"},
		{"nothing", "\x00\x01", "NOT_A_DELIVERY_REPORT"},
		{"another type of report", strings.Replace(report(k.MessageID, k.ToAddress, "failed", "5.1.1", "no"), "report-type=delivery-status", "report-type=disposition-notification", 1), "NOT_A_DELIVERY_REPORT"},
		{"no recipient", strings.Replace(report(k.MessageID, k.ToAddress, "failed", "5.1.1", "no"), "Action:", "X-Action:", 1), "NOT_A_DELIVERY_REPORT"},
		{"a status that is none", report(k.MessageID, k.ToAddress, "failed", "bad", "no"), "NOT_A_DELIVERY_REPORT"},
		{"no letter", strings.Replace(report(k.MessageID, k.ToAddress, "failed", "5.1.1", "no"), "Message-ID:", "X-ID:", 1), "NOT_A_DELIVERY_REPORT"},
		{"a letter of others", report("x@example.net", k.ToAddress, "failed", "5.1.1", "no"), "LETTER_UNKNOWN"},
		{"another recipient", report(k.MessageID, "eve@example.org", "failed", "5.1.1", "no"), "REPORT_ABOUT_ANOTHER"},
	} {
		_, err := note(c.content)
		require.Equal(t, c.reason, apperr.ReasonOf(err), c.name)
		require.Equal(t, k, o.only(t, "a"), "%s has no effect", c.name)
	}
	got, err := note(report(k.MessageID, k.ToAddress, "delayed", "4.4.1", "connection timed out"))
	require.NoError(t, err)
	require.Equal(t, "delayed", got.GetOutcome())
	require.Equal(t, mail.Sent, o.only(t, "a").State)
	got, err = note(report(k.MessageID, strings.ToUpper(k.ToAddress), "failed", "5.1.1", "550 No such user here"))
	require.NoError(t, err)
	require.Equal(t, "bounced", got.GetLetter().GetState())
	require.Contains(t, got.GetLetter().GetNote(), "No such user here")
	list, err := o.server.ListLetters(t.Context(), &mailv1.ListLettersRequest{State: "bounced"})
	require.NoError(t, err)
	require.Len(t, list.GetLetters(), 1)
	require.Equal(t, map[string]int32{"bounced": 1}, list.GetCounts())
	read, err := o.server.ReadLetter(t.Context(), &mailv1.ReadLetterRequest{LetterId: k.ID.String()})
	require.NoError(t, err)
	var outcomes []string
	for _, a := range read.GetAttempts() {
		outcomes = append(outcomes, a.GetOutcome())
	}
	require.Equal(t, []string{"sent", "delayed", "bounced"}, outcomes)
	require.Equal(t, p.all()[0].content, string(read.GetContent()))
	_, err = o.resend(t, k.ID.String(), "freya@work.example")
	require.NoError(t, err, "to another address it may go")
}

// TestTheReportOfTheStandard reads the simple report of RFC 3464, with the header of a letter where the appendix leaves it out.
func TestTheReportOfTheStandard(t *testing.T) {
	t.Parallel()
	content := strings.ReplaceAll(`Date: Thu, 7 Jul 1994 17:16:05 -0400
From: Mail Delivery Subsystem <MAILER-DAEMON@CS.UTK.EDU>
Message-Id: <199407072116.RAA14128@CS.UTK.EDU>
Subject: Returned mail: Cannot send message for 5 days
To: <owner-info-mime@cs.utk.edu>
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status;
      boundary="RAA14128.773615765/CS.UTK.EDU"

--RAA14128.773615765/CS.UTK.EDU

The original message was received at Sat, 2 Jul 1994 17:10:28 -0400
from root@localhost

--RAA14128.773615765/CS.UTK.EDU
content-type: message/delivery-status

Reporting-MTA: dns; cs.utk.edu

Original-Recipient: rfc822;louisl@larry.slip.umd.edu
Final-Recipient: rfc822;louisl@larry.slip.umd.edu
Action: failed
Status: 4.0.0
Diagnostic-Code: smtp; 426 connection timed out
Last-Attempt-Date: Thu, 7 Jul 1994 17:15:49 -0400

--RAA14128.773615765/CS.UTK.EDU
content-type: message/rfc822

Message-ID: <letter@cs.utk.edu>

Hello
--RAA14128.773615765/CS.UTK.EDU--
`, "\n", "\r\n")
	reports, err := mail.ParseReports([]byte(content))
	require.NoError(t, err)
	outside.Check(t, "the simple delivery report: recipient, action, status, diagnostic", "RFC 3464 appendix E.1, from memory; the letter's header is ours",
		[]mail.Report{{MessageID: "letter@cs.utk.edu", Recipient: "louisl@larry.slip.umd.edu", Action: "failed", Status: "4.0.0", Diagnostic: "426 connection timed out"}}, reports)
}

// FuzzParseReports: whatever comes back, it is read or refused.
func FuzzParseReports(f *testing.F) {
	f.Add([]byte(report("a@b", "c@d", "failed", "5.1.1", "no")))
	f.Add([]byte("Content-Type: multipart/report; report-type=delivery-status; boundary=x\r\n\r\n--x\r\n\r\n--x--"))
	f.Fuzz(func(t *testing.T, content []byte) {
		reports, err := mail.ParseReports(content)
		if err != nil {
			require.Equal(t, apperr.Invalid, apperr.KindOf(err))
			return
		}
		require.NotEmpty(t, reports)
		for _, r := range reports {
			require.NotEmpty(t, r.MessageID)
			require.NotContains(t, r.Recipient+r.Diagnostic, "\n")
		}
	})
}

func TestLetterhead(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	read, err := o.server.ReadLetterhead(t.Context(), &mailv1.ReadLetterheadRequest{})
	require.NoError(t, err)
	require.Equal(t, "office@school.invalid", read.GetLetterhead().GetAddress())
	good := func() *mailv1.Letterhead {
		return &mailv1.Letterhead{Name: "School", Address: "a@b.example", Phone: "1", QuietFrom: "22:00", QuietUntil: "07:00"}
	}
	for field, spoil := range map[string]func(h *mailv1.Letterhead){
		"name":        func(h *mailv1.Letterhead) { h.Name = "a\nb" },
		"address":     func(h *mailv1.Letterhead) { h.Address = "a\r\nBcc: b@c.example" },
		"phone":       func(h *mailv1.Letterhead) { h.Phone = strings.Repeat("1", 41) },
		"quiet_from":  func(h *mailv1.Letterhead) { h.QuietFrom = "25:00" },
		"quiet_until": func(h *mailv1.Letterhead) { h.QuietUntil = "dawn" },
	} {
		h := good()
		spoil(h)
		_, err := o.server.SetLetterhead(t.Context(), &mailv1.SetLetterheadRequest{Letterhead: h})
		require.ErrorContains(t, err, field+" ")
		require.Equal(t, apperr.Invalid, apperr.KindOf(err))
	}
	require.Zero(t, o.count(t, `select count(*) from mail.letterhead`))
	set, err := o.server.SetLetterhead(t.Context(), &mailv1.SetLetterheadRequest{Letterhead: good()})
	require.NoError(t, err)
	require.Equal(t, "office", set.GetLetterhead().GetSetBy())
	require.Equal(t, "22:00", set.GetLetterhead().GetQuietFrom())
	for _, wrong := range []*mailv1.ListLettersRequest{{State: "lost"}, {Kind: "newsletter"}} {
		_, err := o.server.ListLetters(t.Context(), wrong)
		require.Equal(t, apperr.Invalid, apperr.KindOf(err))
	}
}

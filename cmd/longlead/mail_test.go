package main

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/postgrestest"
)

// TestLettersOnTheCommandLine has the office write, send, look at and send again a letter, and note that it came back.
func TestLettersOnTheCommandLine(t *testing.T) {
	t.Parallel()
	pool, dir := postgrestest.Database(t), t.TempDir()
	db := "--database-url=" + postgrestest.URL(pool)
	require.Contains(t, must(t, "mail", "list", db), "No letter was put yet")
	require.Contains(t, must(t, "mail", "letterhead", db), "Nobody has set it yet")
	head := must(t, "mail", "letterhead", "--name", "Tarnholt School", "--address", "office@tarnholt.example", "--quiet", "none", db)
	require.Contains(t, head, "Tarnholt School <office@tarnholt.example>")
	require.Contains(t, head, "Quiet hours:  none")
	require.Contains(t, must(t, "mail", "letterhead", "--phone", "555-0100", db), "office@tarnholt.example", "what is not given stays")

	kinds := must(t, "mail", "template", "list", db)
	requireNarrow(t, kinds)
	require.Contains(t, kinds, "practice-plan")
	file := filepath.Join(dir, "day.txt")
	require.NoError(t, os.WriteFile(file, []byte(must(t, "mail", "template", "show", "handover-day", db)), 0o600))
	must(t, "mail", "template", "set", "handover-day", file, db)
	require.NoError(t, os.WriteFile(file, []byte("Subject: See you, {{.owner}}\n\n{{.cat}}\n"), 0o600))
	for _, command := range []string{"set", "preview"} {
		r := call(t, "mail", "template", command, "handover-day", file, db)
		require.Equal(t, exitUsage, r.code)
		require.Contains(t, r.err, "body, line 1, names cat")
		require.Contains(t, r.err, "they have owner, dog")
	}
	require.NoError(t, os.WriteFile(file, []byte("Subject: See you, {{.owner}}\n\n{{.dog}} waits.\n"), 0o600))
	require.Contains(t, must(t, "mail", "template", "preview", "handover-day", file, db), "Biscuit waits.")
	require.Contains(t, must(t, "mail", "template", "preview", "handover-day", db), "Do not forget")
	require.Contains(t, must(t, "mail", "template", "preview", "handover-day", "--html", db), "<!doctype html>")
	must(t, "mail", "template", "set", "handover-day", file, db)
	require.Contains(t, must(t, "mail", "template", "try", "handover-day", "--to", "me@school.example", db), "On its way to me@school.example")
	must(t, "mail", "template", "set", "handover-day", "--built-in", db)
	require.Contains(t, must(t, "mail", "template", "preview", "handover-day", db), "Do not forget")

	var listed struct {
		Letters []struct{ ID, MessageID string }
	}
	require.NoError(t, json.Unmarshal([]byte(strings.ReplaceAll(must(t, "mail", "list", "--json", db), `"message_id"`, `"MessageID"`)), &listed))
	require.Len(t, listed.Letters, 1)
	id := listed.Letters[0].ID
	early := call(t, "mail", "resend", id, db)
	require.Equal(t, exitRefused, early.code)
	require.Contains(t, early.err, "still on its way")

	folder := filepath.Join(dir, "mail")
	sender, err := mail.NewFolder(folder)
	require.NoError(t, err)
	inserts, err := jobs.New(pool, nil, jobs.Config{})
	require.NoError(t, err)
	work := mail.NewWorker(mail.WorkerDeps{Pool: pool, Jobs: inserts, Now: time.Now, Log: slog.New(slog.DiscardHandler), Sender: sender})
	require.NoError(t, work.Send(t.Context(), ids.MustParse[ids.LetterID](id)))
	files, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Len(t, files, 1)
	info, err := files[0].Info()
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "it holds personal data")
	list := must(t, "mail", "list", db)
	requireNarrow(t, list)
	require.Contains(t, list, "Of all letters: 1 sent")
	shown := must(t, "mail", "show", id, db)
	requireNarrow(t, shown)
	require.Contains(t, shown, "Subject: See you, Freya Kahale")
	require.Contains(t, strings.Join(strings.Fields(shown), ""), "writtento"+files[0].Name(), "it may be wrapped")
	content, err := os.ReadFile(filepath.Join(folder, files[0].Name()))
	require.NoError(t, err)
	require.Equal(t, string(content), must(t, "mail", "show", id, "--part", "sent", db))
	require.Equal(t, exitUsage, call(t, "mail", "show", id, "--part", "calendar", db).code, "it has none")
	copied := filepath.Join(dir, "copy.txt")
	must(t, "mail", "show", id, "--part", "text", "-o", copied, db)
	text, err := os.ReadFile(copied)
	require.NoError(t, err)
	require.Equal(t, "Biscuit waits.\n", string(text))

	// Of what came back, one is a report, one an owner's answer, one far too large.
	back := filepath.Join(dir, "back")
	require.NoError(t, os.Mkdir(back, 0o700))
	report := fmt.Sprintf("Content-Type: multipart/report; report-type=delivery-status; boundary=b\n\n--b\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; post.example\n\n"+
		"Final-Recipient: rfc822; me@school.example\nAction: failed\nStatus: 5.1.1\nDiagnostic-Code: smtp; 550 No such user\n\n--b\nContent-Type: text/rfc822-headers\n\nMessage-ID: <%s>\n\n--b--\n", listed.Letters[0].MessageID)
	for name, content := range map[string]string{"report": report, "answer": "Subject: Re: See you\n\nThank you!\n", "film": strings.Repeat("x", 10<<20), "empty": ""} {
		require.NoError(t, os.WriteFile(filepath.Join(back, name+".eml"), []byte(content), 0o600))
	}
	r := call(t, "mail", "bounce", back, db)
	require.Equal(t, exitFaults, r.code)
	for _, says := range []string{"report.eml: bounced", "550 No such user", "answer.eml: This is no delivery report", "film.eml: it has 10240 KB", "empty.eml: it is empty", "1 of 4 noted"} {
		require.Contains(t, strings.Join(strings.Fields(r.out), " "), says)
	}
	require.Contains(t, must(t, "mail", "list", "--state", "bounced", db), id)
	require.Contains(t, must(t, "mail", "resend", id, "--to", "you@school.example", db), "On its way to you@school.example")
	require.True(t, json.Valid([]byte(must(t, "mail", "bounce", filepath.Join(back, "report.eml"), "--json", db))))
	require.Equal(t, exitUsage, call(t, "mail", "bounce", filepath.Join(dir, "none"), db).code)
}

// TestMailOptionsThatCannotBe are refused before anything starts.
func TestMailOptionsThatCannotBe(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, c := range []struct {
		m    MailOptions
		says string
	}{
		{MailOptions{MailMinute: -1, MailAtOnce: 1}, "--mail-per-minute"},
		{MailOptions{MailAtOnce: 1, SMTP: "nowhere", SMTPSecurity: "starttls"}, "--smtp is no address"},
		{MailOptions{MailAtOnce: 1, SMTP: "mail.example.org:25", SMTPSecurity: "plain", SMTPUser: "a"}, "--smtp-security would send a password in the clear"},
		{MailOptions{MailAtOnce: 1, SMTP: "mail.example.org:25", SMTPSecurity: "starttls", SMTPPassword: filepath.Join(dir, "none")}, "password file"},
		{MailOptions{MailAtOnce: 1, DKIMKey: filepath.Join(dir, "none"), DKIMDomain: "a.example"}, "--dkim-key cannot be read"},
	} {
		_, _, _, err := c.m.letters(&Options{Data: dir})
		require.ErrorContains(t, err, c.says)
		require.ErrorAs(t, err, new(usageError))
	}
	d, where, end, err := (&MailOptions{MailAtOnce: 1}).letters(&Options{Data: dir})
	require.NoError(t, err)
	defer end()
	require.Contains(t, where, filepath.Join(dir, "mail")+" and reach nobody")
	require.False(t, d.Sender.Reaches())
}

package mail_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/postgres"
)

// TestALetterExistsExactlyWhenItsTransactionCommits: with its job, and once, however often it is put.
func TestALetterExistsExactlyWhenItsTransactionCommits(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	boom := errors.New("boom")
	require.ErrorIs(t, postgres.InTx(t.Context(), o.pool, func(tx postgres.Tx) error {
		require.NoError(t, o.box.Put(t.Context(), tx, example(t, mail.HandoverInvitation, "a", 1)))
		return boom
	}), boom)
	jobsOf := func() int { return o.count(t, `select count(*) from river_job where kind = 'send_letter'`) }
	require.Empty(t, o.letters(t, "a"))
	require.Zero(t, jobsOf())

	o.put(t, example(t, mail.HandoverInvitation, "a", 1))
	first := o.only(t, "a")
	changed := example(t, mail.HandoverInvitation, "a", 1)
	changed.Fields["dog"] = "Another"
	o.pass(time.Hour)
	o.put(t, changed)
	require.Equal(t, first, o.only(t, "a"), "a second put changes nothing")
	require.Equal(t, 1, jobsOf())
	o.put(t, example(t, mail.HandoverWeek, "a", 1))
	require.Len(t, o.letters(t, "a"), 2, "another kind of the same version is a letter of its own")
	require.NoError(t, o.box.PutAll(t.Context(), nil, nil))
}

// TestManyPutTheSameLetterAtOnce: one wins, and there is one job.
func TestManyPutTheSameLetterAtOnce(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			l := example(t, mail.HandoverInvitation, "a", 1)
			_ = postgres.InTx(context.WithoutCancel(t.Context()), o.pool, func(tx postgres.Tx) error { return o.box.Put(t.Context(), tx, l) })
		})
	}
	all.Wait()
	require.Equal(t, mail.Waiting, o.only(t, "a").State)
	require.Equal(t, 1, o.count(t, `select count(*) from river_job`))
}

// states are those of a key's letters by kind and version.
func (o *office) states(t *testing.T, key string) map[string]mail.State {
	t.Helper()
	all := map[string]mail.State{}
	for _, k := range o.letters(t, key) {
		all[string(k.Kind)+string(rune('0'+k.Version))] = k.State
	}
	return all
}

// TestNewerLettersSupersede what has not gone, of the same key only.
func TestNewerLettersSupersede(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.put(t, example(t, mail.HandoverInvitation, "a", 1), example(t, mail.HandoverWeek, "a", 1), example(t, mail.HandoverInvitation, "b", 1))
	o.put(t, example(t, mail.HandoverChanged, "a", 2), example(t, mail.HandoverWeek, "a", 2))
	want := map[string]mail.State{"handover-invitation1": mail.Superseded, "handover-week1": mail.Superseded, "handover-changed2": mail.Waiting, "handover-week2": mail.Waiting}
	require.Equal(t, want, o.states(t, "a"))
	require.Equal(t, mail.Waiting, o.only(t, "b").State)
	o.put(t, example(t, mail.HandoverDay, "a", 1)) // it comes late
	want["handover-day1"] = mail.Superseded
	require.Equal(t, want, o.states(t, "a"))
	o.put(t, example(t, mail.HandoverCancelled, "a", 2)) // of the same version: it supersedes the rest all the same
	want["handover-changed2"], want["handover-week2"], want["handover-cancelled2"] = mail.Superseded, mail.Superseded, mail.Waiting
	require.Equal(t, want, o.states(t, "a"))
	p := newPostOffice(t)
	o.letterhead(t)
	for _, k := range o.letters(t, "a") {
		require.NoError(t, o.worker(p.over(t)).Send(t.Context(), k.ID))
	}
	require.Empty(t, p.all(), "letters that were put before there was a letterhead come from nobody who could be answered")
	require.Contains(t, o.letters(t, "a")[len(o.letters(t, "a"))-1].Note, "no letterhead")
}

// TestWhoWasNeverToldIsInvited: a change of what an owner does not know is an invitation; of what may have gone out, a change.
func TestWhoWasNeverToldIsInvited(t *testing.T) {
	t.Parallel()
	o, p := newOffice(t), newPostOffice(t)
	o.letterhead(t)
	o.put(t, example(t, mail.HandoverInvitation, "a", 1))
	o.put(t, example(t, mail.HandoverChanged, "a", 2))
	second := o.letters(t, "a")[1]
	require.Equal(t, mail.HandoverChanged, second.Kind)
	require.Contains(t, second.Subject, "graduates")
	require.Contains(t, *second.Calendar, "\r\nSEQUENCE:2\r\n")
	require.NoError(t, o.worker(p.over(t)).Send(t.Context(), second.ID))
	o.put(t, example(t, mail.HandoverChanged, "a", 3))
	require.Contains(t, o.letters(t, "a")[2].Subject, "New time")
	require.Contains(t, o.letters(t, "a")[2].BodyText, "It was: Friday, 26 March 2027, 10:00 to 11:30.")
	// A fault of the caller shows, whichever text is used.
	wrong := example(t, mail.HandoverChanged, "b", 1)
	wrong.Fields["colour"] = "red"
	require.ErrorContains(t, o.try(t, wrong), "has no field colour")
}

// TestAnAddressThatIsNoneKeepsNothingFromHappening: the letter is there for the office to see, and nothing is sent.
func TestAnAddressThatIsNoneKeepsNothingFromHappening(t *testing.T) {
	t.Parallel()
	o, p := newOffice(t), newPostOffice(t)
	o.letterhead(t)
	bad := []string{"", "   ", "freya", "freya@", "@example.org", "freya@example", "freya@example.org\r\nBcc: eve@example.org", "freya@example.org, eve@example.org",
		"Freya <freya@example.org>", "fre ya@example.org", "freya@.org", "freya@[127.0.0.1]", "freyä@example.org", strings.Repeat("a", 250) + "@example.org", "a@b@example.org", "freya@example.org>"}
	for i, address := range bad {
		l := example(t, mail.HandoverInvitation, "bad", i)
		l.Key, l.To.Addr = l.Key+string(rune('a'+i)), address
		o.put(t, l)
		k := o.only(t, l.Key)
		require.Equal(t, mail.Refused, k.State, address)
		require.Contains(t, k.Note, "the address on record", address)
		require.NotNil(t, k.DoneAt)
		require.NoError(t, o.worker(p.over(t)).Send(t.Context(), k.ID))
		_, err := o.resend(t, k.ID.String(), "")
		require.Error(t, err)
	}
	require.Empty(t, p.all())
	require.Zero(t, o.count(t, `select count(*) from river_job`))
}

// TestNamesCannotInjectHeaders: whatever a name, a field or the school's name holds, the message has the headers that it should have.
func TestNamesCannotInjectHeaders(t *testing.T) {
	t.Parallel()
	o, p := newOffice(t), newPostOffice(t)
	o.letterhead(t)
	evil := "Eve\r\nBcc: mallory@example.org\r\n\r\n<script>alert(1)</script>\x00\u2028\u202e"
	l := example(t, mail.HandoverInvitation, "a", 1)
	l.To.Name = evil
	for name := range l.Fields {
		l.Fields[name] = evil
	}
	l.Lists["bring"] = []string{evil, " \r\n "}
	l.Event.Summary, l.Event.Place, l.Event.Description = evil, evil, evil+"\r\nEND:VEVENT"
	o.put(t, l)
	require.NoError(t, o.worker(p.over(t)).Send(t.Context(), o.only(t, "a").ID))
	require.Len(t, p.all(), 1)
	head, _, _ := strings.Cut(p.all()[0].content, "\r\n\r\n")
	var names []string
	for _, line := range strings.Split(head, "\r\n") {
		if line[0] != ' ' {
			name, _, _ := strings.Cut(line, ":")
			names = append(names, name)
		}
	}
	require.Equal(t, []string{"Date", "From", "To", "Subject", "Message-ID", "Auto-Submitted", "MIME-Version", "Content-Type"}, names)
	k := o.only(t, "a")
	require.NotContains(t, k.BodyHTML, "<script>")
	require.Contains(t, k.BodyHTML, "&lt;script&gt;")
	for _, text := range []string{k.Subject, k.BodyText, k.BodyHTML, *k.Calendar} {
		require.NotRegexp(t, `(?m)^Bcc`, text)
		require.NotContains(t, text, "\x00")
		require.NotContains(t, text, "\u202e")
	}
	require.Equal(t, 1, strings.Count(*k.Calendar, "\r\nEND:VEVENT"))
	require.Equal(t, []string{"freya.kahale@example.org"}, []string{p.all()[0].to})
}

// TestNotBefore: a letter that is due later has a job that runs later.
func TestNotBefore(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.set(time.Now().UTC())
	l := example(t, mail.HandoverWeek, "a", 1)
	l.NotBefore = o.time().Add(time.Hour)
	o.put(t, l)
	var id int64
	require.NoError(t, o.pool.QueryRow(t.Context(), `select id from river_job`).Scan(&id))
	status, err := o.jobs.Find(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, jobs.Waiting, status.State)
	require.WithinDuration(t, l.NotBefore, status.RunAt, time.Second)
	p := newPostOffice(t)
	o.letterhead(t)
	require.NoError(t, o.worker(p.over(t)).Send(t.Context(), o.only(t, "a").ID), "a job that comes early leaves it alone")
	require.Empty(t, p.all())
}

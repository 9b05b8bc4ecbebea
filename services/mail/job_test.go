package mail_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/mail"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

// scripted is a Sender that does what a test says.
type scripted struct {
	sent []mail.Outgoing
	do   func(ctx context.Context, m mail.Outgoing) error
}

func (s *scripted) Send(ctx context.Context, m mail.Outgoing) (string, error) {
	s.sent = append(s.sent, m)
	if s.do == nil {
		return "250 taken", nil
	}
	return "250 taken", s.do(ctx, m)
}

func (s *scripted) Reaches() bool { return true }

// outcomes are those of a letter's attempts.
func (o *office) outcomes(t *testing.T, k mail.Kept) (all []string) {
	t.Helper()
	read, err := o.server.ReadLetter(t.Context(), &mailv1.ReadLetterRequest{LetterId: k.ID.String()})
	require.NoError(t, err)
	for _, a := range read.GetAttempts() {
		all = append(all, a.GetOutcome()+": "+a.GetAnswer())
	}
	return all
}

// TestTemporaryRefusalsAreTriedAgain, later each time, with the same bytes; each attempt is kept.
func TestTemporaryRefusalsAreTriedAgain(t *testing.T) {
	t.Parallel()
	o, p := newOffice(t), newPostOffice(t)
	o.letterhead(t)
	busy := true
	p.atRecipient = func(string) *smtp.SMTPError {
		if busy {
			return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 7, 1}, Message: "Come back later"}
		}
		return nil
	}
	w := o.worker(p.over(t))
	o.put(t, example(t, mail.HandoverInvitation, "a", 1))
	id := o.only(t, "a").ID
	for n, pause := range []time.Duration{time.Minute, 2 * time.Minute, 4 * time.Minute, 8 * time.Minute} {
		require.NoError(t, w.Send(t.Context(), id))
		k := o.only(t, "a")
		require.Equal(t, mail.Waiting, k.State)
		require.Equal(t, "put off: 451 4.7.1 Come back later", k.Note)
		require.Equal(t, pause, k.NextAt.Sub(o.time()))
		require.Equal(t, n+1, k.Attempts)
		require.NoError(t, w.Send(t.Context(), id), "before its time it is left alone")
		require.Equal(t, n+1, o.only(t, "a").Attempts)
		o.pass(pause)
	}
	busy = false
	require.NoError(t, w.Send(t.Context(), id))
	k := o.only(t, "a")
	require.Equal(t, mail.Sent, k.State)
	require.Empty(t, k.Note)
	require.Len(t, p.all(), 1)
	require.Contains(t, p.all()[0].content, noon.Format(time.RFC1123Z), "its date is that of the first attempt")
	require.Len(t, o.outcomes(t, k), 5)
	require.Equal(t, 5, o.count(t, `select count(*) from river_job where kind = 'send_letter'`), "each time it was put off it had another job")
}

// TestFinalRefusalsStop: no further attempt is made, and the office sees why. What a server has against us is not final.
func TestFinalRefusalsStop(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		arrange func(p *postOffice)
		state   mail.State
		note    string
	}{
		"recipient": {func(p *postOffice) {
			p.atRecipient = func(string) *smtp.SMTPError {
				return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "No such user"}
			}
		}, mail.Refused, "the server refused it: 550 5.1.1 No such user"},
		"letter": {func(p *postOffice) {
			p.atLetter = func(string) *smtp.SMTPError {
				return &smtp.SMTPError{Code: 554, EnhancedCode: smtp.EnhancedCode{5, 7, 0}, Message: "Looks like spam"}
			}
		}, mail.Refused, "the server refused it: 554 5.7.0 Looks like spam"},
		"letter, for now": {func(p *postOffice) {
			p.atLetter = func(string) *smtp.SMTPError {
				return &smtp.SMTPError{Code: 452, EnhancedCode: smtp.EnhancedCode{4, 3, 1}, Message: "Disk full"}
			}
		}, mail.Waiting, "put off: 452 4.3.1 Disk full"},
		"sender": {func(p *postOffice) {
			p.atSender = func(string) *smtp.SMTPError {
				return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 7, 1}, Message: "Not from you"}
			}
		}, mail.Waiting, "put off: 550 5.7.1 Not from you"},
		"closing": {func(p *postOffice) {
			p.atRecipient = func(string) *smtp.SMTPError {
				return &smtp.SMTPError{Code: 421, EnhancedCode: smtp.EnhancedCode{4, 3, 2}, Message: "Closing down"}
			}
		}, mail.Waiting, "put off: 421 4.3.2 Closing down"},
		"nobody there": {func(p *postOffice) { p.shut() }, mail.Waiting, "put off: reach the mail server"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o, p := newOffice(t), newPostOffice(t)
			o.letterhead(t)
			sender := p.over(t)
			c.arrange(p)
			o.put(t, example(t, mail.HandoverInvitation, "a", 1))
			require.NoError(t, o.worker(sender).Send(t.Context(), o.only(t, "a").ID))
			k := o.only(t, "a")
			require.Equal(t, c.state, k.State)
			require.True(t, strings.HasPrefix(k.Note, c.note), k.Note)
			require.Empty(t, p.all())
			require.Len(t, o.outcomes(t, k), 1)
		})
	}
}

// TestAnUnknownOutcomeIsRepeatedWithTheSameName: the server took the letter and hung up before it said so.
func TestAnUnknownOutcomeIsRepeatedWithTheSameName(t *testing.T) {
	t.Parallel()
	o, p := newOffice(t), newPostOffice(t)
	o.letterhead(t)
	hung := false
	p.hangUp = func(string) (bool, bool) {
		defer func() { hung = true }()
		return !hung, true
	}
	w := o.worker(p.over(t))
	o.put(t, example(t, mail.HandoverInvitation, "a", 1))
	id := o.only(t, "a").ID
	require.NoError(t, w.Send(t.Context(), id))
	require.Equal(t, mail.Waiting, o.only(t, "a").State)
	o.pass(time.Minute)
	require.NoError(t, w.Send(t.Context(), id))
	require.Equal(t, mail.Sent, o.only(t, "a").State)
	all := p.all()
	require.Len(t, all, 2)
	require.Equal(t, all[0].content, all[1].content, "byte by byte the same, Message-ID and date among it")
}

// TestALetterThatExpiresIsNotSent, nor tried for longer than it is worth; one that does not expire is given up after four days.
func TestALetterThatExpiresIsNotSent(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	s := &scripted{do: func(context.Context, mail.Outgoing) error { return errors.New("no route") }}
	w := o.worker(s)
	l := example(t, mail.HandoverDay, "late", 1)
	l.Expires = noon.Add(-time.Minute)
	o.put(t, l)
	require.NoError(t, w.Send(t.Context(), o.only(t, "late").ID))
	require.Equal(t, mail.Expired, o.only(t, "late").State)
	require.Empty(t, s.sent)
	l = example(t, mail.HandoverDay, "soon late", 1)
	l.Expires = noon.Add(time.Minute)
	o.put(t, l)
	require.NoError(t, w.Send(t.Context(), o.only(t, "soon late").ID))
	require.Equal(t, mail.Expired, o.only(t, "soon late").State)
	require.Contains(t, o.only(t, "soon late").Note, "no route")

	o.put(t, example(t, mail.HandoverInvitation, "never", 1))
	attempts := 0
	for ; o.only(t, "never").State == mail.Waiting; attempts++ {
		o.set(o.only(t, "never").NextAt)
		require.NoError(t, w.Send(t.Context(), o.only(t, "never").ID))
		require.Less(t, attempts, 100)
	}
	require.Equal(t, mail.Refused, o.only(t, "never").State)
	require.Contains(t, o.only(t, "never").Note, "given up after")
	tried := o.time().Sub(noon)
	require.Greater(t, tried, 90*time.Hour, "RFC 5321 section 4.5.4.1: four to five days; the quiet hours may end it some hours earlier")
	require.LessOrEqual(t, tried, 4*24*time.Hour)
}

// TestQuietHours are those of the owner's clock, also where clocks change; rather than expire in them a letter is sent. Source of the instants: IANA
// time zone database, from memory.
func TestQuietHours(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, zone, quiet, now, until string }{
		{"in the evening", "America/Denver", "21:00-08:00", "2027-03-02T05:00:00Z", "2027-03-02T15:00:00Z"},
		{"at the first minute", "America/Denver", "21:00-08:00", "2027-03-02T04:00:00Z", "2027-03-02T15:00:00Z"},
		{"just before", "America/Denver", "21:00-08:00", "2027-03-02T03:59:59Z", ""},
		{"at their end", "America/Denver", "21:00-08:00", "2027-03-02T15:00:00Z", ""},
		{"the same instant further east", "America/New_York", "21:00-08:00", "2027-03-02T15:00:00Z", ""},
		{"further west", "Pacific/Honolulu", "21:00-08:00", "2027-03-02T15:00:00Z", "2027-03-02T18:00:00Z"},
		{"the night that is an hour shorter", "America/Denver", "21:00-08:00", "2027-03-14T05:00:00Z", "2027-03-14T14:00:00Z"},
		{"the night that is an hour longer", "America/Denver", "21:00-08:00", "2027-11-07T04:00:00Z", "2027-11-07T15:00:00Z"},
		{"an end that clocks skip", "America/Denver", "21:00-02:30", "2027-03-14T05:00:00Z", "2027-03-14T09:00:00Z"},
		{"within a day", "Europe/Berlin", "12:00-14:00", "2027-03-02T11:30:00Z", "2027-03-02T13:00:00Z"},
		{"none", "Europe/Berlin", "00:00-00:00", "2027-03-02T02:00:00Z", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			o := newOffice(t)
			now, err := time.Parse(time.RFC3339, c.now)
			require.NoError(t, err)
			o.set(now)
			from, until, _ := strings.Cut(c.quiet, "-")
			_, err = o.server.SetLetterhead(t.Context(), &mailv1.SetLetterheadRequest{Letterhead: &mailv1.Letterhead{Name: "S", Address: "s@tarnholt.example", QuietFrom: from, QuietUntil: until}})
			require.NoError(t, err)
			put := func(key string, expires time.Time) {
				l := example(t, mail.HandoverDay, key, 1)
				l.Zone, l.Expires = c.zone, expires
				o.put(t, l)
			}
			put("a", time.Time{})
			s := &scripted{}
			w := o.worker(s)
			require.NoError(t, w.Send(t.Context(), o.only(t, "a").ID))
			got := ""
			if k := o.only(t, "a"); k.State == mail.Waiting {
				got = k.NextAt.Format(time.RFC3339)
				require.Equal(t, "it waits for the end of the quiet hours", k.Note)
			}
			outside.Check(t, "a letter at "+c.now+" to "+c.zone+", quiet "+c.quiet+": until when it waits", "IANA time zone database, from memory", c.until, got)
			if c.until == "" {
				return
			}
			require.Empty(t, s.sent)
			end, err := time.Parse(time.RFC3339, c.until)
			require.NoError(t, err)
			put("b", end)
			require.NoError(t, w.Send(t.Context(), o.only(t, "b").ID))
			require.Equal(t, mail.Sent, o.only(t, "b").State, "it would have expired")
			folder, err := mail.NewFolder(t.TempDir())
			require.NoError(t, err)
			put("c", time.Time{})
			require.NoError(t, o.worker(folder).Send(t.Context(), o.only(t, "c").ID))
			require.Equal(t, mail.Sent, o.only(t, "c").State, "a folder wakes nobody")
			o.set(end)
			require.NoError(t, w.Send(t.Context(), o.only(t, "a").ID))
			require.Equal(t, mail.Sent, o.only(t, "a").State)
		})
	}
}

// TestPace: letters to one domain go no faster than they may, whatever workers there are; those to others are not held up by it.
func TestPace(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	s := &scripted{}
	w := o.worker(s, func(d *mail.WorkerDeps) { d.Pace = mail.Pace{PerMinute: 6, Burst: 3} })
	var letters []mail.Letter
	for i := range 12 {
		l := example(t, mail.HandoverDay, string(rune('a'+i)), 1)
		if i == 11 {
			l.To.Addr = "freya@example.net"
		}
		letters = append(letters, l)
	}
	o.put(t, letters...)
	var sentAt []time.Duration
	for tick := range 120 {
		o.set(noon.Add(time.Duration(tick) * time.Second))
		for _, l := range letters {
			before := len(s.sent)
			require.NoError(t, w.Send(t.Context(), o.only(t, l.Key).ID))
			if len(s.sent) > before && l.Key != "l" {
				sentAt = append(sentAt, o.time().Sub(noon))
			} else if len(s.sent) > before {
				require.Zero(t, tick, "another domain")
			}
		}
		if len(s.sent) == len(letters) {
			break
		}
	}
	want := []time.Duration{0, 0, 0}
	for n := 1; n <= 8; n++ {
		want = append(want, time.Duration(n)*10*time.Second)
	}
	require.Equal(t, want, sentAt, "three at once, then one in ten seconds")
}

// TestALetterInHandIsSupersededAfterItsAttempt: it may have gone; it is not tried again.
func TestALetterInHandIsSupersededAfterItsAttempt(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	o.put(t, example(t, mail.HandoverInvitation, "a", 1))
	s := &scripted{do: func(context.Context, mail.Outgoing) error {
		o.put(t, example(t, mail.HandoverChanged, "a", 2))
		return errors.New("hung up")
	}}
	require.NoError(t, o.worker(s).Send(t.Context(), o.letters(t, "a")[0].ID))
	all := o.letters(t, "a")
	require.Equal(t, mail.Superseded, all[0].State)
	require.Contains(t, all[1].Subject, "New time", "the first may have gone, so the second tells of a change")
}

// TestALostWorkerIsMissed: a letter that its worker never brought to an end is taken up again, with the same name; one whose worker is alive is not.
func TestALostWorkerIsMissed(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	o.put(t, example(t, mail.HandoverInvitation, "a", 1), example(t, mail.HandoverInvitation, "b", 1))
	id := o.only(t, "a").ID
	other := &scripted{}
	w := o.worker(other)
	jobsOf := func() int { return o.count(t, `select count(*) from river_job`) }
	s := &scripted{do: func(context.Context, mail.Outgoing) error {
		o.pass(2 * time.Minute)
		require.NoError(t, w.Send(t.Context(), id), "somebody has it")
		require.NoError(t, w.Look(t.Context()))
		require.Equal(t, 2, jobsOf(), "nothing is lost yet")
		o.pass(2 * time.Minute)
		require.NoError(t, w.Look(t.Context()))
		require.Equal(t, 4, jobsOf(), "a was lost, and b has waited with nobody taking anything up")
		require.NoError(t, w.Look(t.Context()))
		require.Equal(t, 4, jobsOf(), "once is enough")
		require.NoError(t, w.Send(t.Context(), id), "the other takes it over")
		return errors.New("too late")
	}}
	require.NoError(t, o.worker(s).Send(t.Context(), id))
	require.Equal(t, mail.Sent, o.only(t, "a").State, "what the first one says later does not count")
	require.Len(t, other.sent, 1)
	require.Equal(t, s.sent[0].Content, other.sent[0].Content)
	require.Equal(t, s.sent[0].Name, other.sent[0].Name)
}

// TestALetterThatOthersOvertookIsFound: its job is gone, and letters whose turn came later went. A long queue is not mistaken for that.
func TestALetterThatOthersOvertookIsFound(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	o.put(t, example(t, mail.HandoverDay, "a", 1), example(t, mail.HandoverDay, "b", 1), example(t, mail.HandoverDay, "c", 1), example(t, mail.HandoverDay, "d", 1))
	w := o.worker(&scripted{})
	jobsOf := func() int { return o.count(t, `select count(*) from river_job`) }
	o.pass(20 * time.Minute)
	require.NoError(t, w.Send(t.Context(), o.only(t, "a").ID))
	require.NoError(t, w.Look(t.Context()))
	require.Equal(t, 4, jobsOf(), "the queue is long, and moves")
	require.NoError(t, w.Send(t.Context(), o.only(t, "c").ID))
	o.pass(3 * time.Minute)
	require.NoError(t, w.Send(t.Context(), o.only(t, "a").ID))
	o.put(t, example(t, mail.HandoverDay, "e", 1))
	require.NoError(t, w.Send(t.Context(), o.only(t, "e").ID))
	require.NoError(t, w.Look(t.Context()))
	require.Equal(t, 6, jobsOf(), "b was overtaken by c; d was not")
}

// TestAProgramThatEndsGivesItsLetterBack: the attempt does not count, and it is due at once.
func TestAProgramThatEndsGivesItsLetterBack(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	o.put(t, example(t, mail.HandoverInvitation, "a", 1))
	ctx, cancel := context.WithCancel(t.Context())
	s := &scripted{do: func(ctx context.Context, _ mail.Outgoing) error {
		cancel()
		<-ctx.Done()
		return ctx.Err()
	}}
	require.NoError(t, o.worker(s).Send(ctx, o.only(t, "a").ID))
	k := o.only(t, "a")
	require.Equal(t, mail.Waiting, k.State)
	require.Zero(t, k.Attempts)
	require.Equal(t, o.time(), k.NextAt.UTC())
	require.Equal(t, 2, o.count(t, `select count(*) from river_job`))
}

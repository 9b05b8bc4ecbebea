package letters_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

// post is a school with three letters, of which one came back.
type post struct {
	*consoletest.School
	// bounced and waiting are the paths of two.
	bounced, waiting string
}

func newPost(t *testing.T) *post {
	t.Helper()
	p := &post{School: consoletest.New(t, consoletest.Set{Empty: true})}
	for _, kind := range []string{"handover-day", "handover-week", "practice-plan"} {
		got, err := p.client().TryLetter(t.Context(), &mailv1.TryLetterRequest{Kind: kind, ToAddress: "freya@example.org"})
		require.NoError(t, err)
		p.waiting, p.bounced = p.bounced, "/letters/"+got.GetLetter().GetId()
	}
	_, err := p.Pool.Exec(t.Context(), `update mail.letter set state = 'bounced', note = 'no such mailbox', content = 'x', done_at = now() where id = $1`, strings.TrimPrefix(p.bounced, "/letters/"))
	require.NoError(t, err)
	_, err = p.Pool.Exec(t.Context(), `insert into mail.attempt (letter_id, at, outcome, answer) values ($1, now(), 'bounced', '550 5.1.1 no such user')`, strings.TrimPrefix(p.bounced, "/letters/"))
	require.NoError(t, err)
	return p
}

func (p *post) client() mailv1.MailServiceClient { return mailv1.NewMailServiceClient(p.Conn) }

func TestLetters(t *testing.T) {
	t.Parallel()
	p := newPost(t)
	dev := p.As(t, "office")
	page := dev.Get(t, "/letters")
	require.Equal(t, http.StatusOK, page.Status)
	for _, says := range []string{"Reached nobody", "is back, undelivered: no such mailbox", "practice plan", "waiting for its time", "freya@example.org"} {
		require.Contains(t, page.Body, says)
	}
	require.NotContains(t, dev.Get(t, "/letters?state=waiting").Body, "practice plan")
	require.Contains(t, dev.Get(t, "/letters?to=nobody@example.org").Body, "<p>None.</p>")
	require.Equal(t, http.StatusUnprocessableEntity, dev.Get(t, "/letters?state=lost").Status)
	require.Equal(t, http.StatusUnprocessableEntity, dev.Get(t, "/letters/7").Status)

	one := dev.Get(t, p.bounced)
	require.Contains(t, one.Body, "550 5.1.1 no such user")
	require.Contains(t, one.Body, p.bounced+"/again")
	require.NotContains(t, dev.Get(t, p.waiting).Body, "/again", "it is still on its way")
	bad := dev.Post(t, p.bounced, p.bounced+"/again", url.Values{"to": {"not an address"}})
	require.Equal(t, http.StatusUnprocessableEntity, bad.Status)
	require.Contains(t, bad.Body, `value="not an address"`)
	again := dev.Post(t, p.bounced, p.bounced+"/again", url.Values{"to": {"freya@work.example"}})
	require.Contains(t, again.Body, "On its way to freya@work.example.")
	list, err := p.client().ListLetters(t.Context(), &mailv1.ListLettersRequest{To: "freya@work.example"})
	require.NoError(t, err)
	require.Len(t, list.GetLetters(), 1)
	early := dev.Post(t, p.bounced, p.waiting+"/again", nil)
	require.Equal(t, http.StatusConflict, early.Status)
}

func TestWhatLettersSay(t *testing.T) {
	t.Parallel()
	p := newPost(t)
	dev := p.As(t, "office")
	require.Contains(t, dev.Get(t, "/letter-words").Body, "Nobody has set it yet")
	head := url.Values{"name": {"Tarnholt <School>"}, "address": {"office@tarnholt.example"}, "phone": {"555-0100"}, "quiet_from": {"20:00"}, "quiet_until": {"07:30"}}
	set := dev.Post(t, "/letter-words", "/letter-words/head", head)
	require.Contains(t, set.Body, "Kept. It counts for letters from now on")
	require.Contains(t, set.Body, "Tarnholt &lt;School&gt;")
	head.Set("address", "nowhere")
	bad := dev.Post(t, "/letter-words", "/letter-words/head", head)
	require.Equal(t, http.StatusUnprocessableEntity, bad.Status)
	require.Contains(t, bad.Body, `value="nowhere"`)

	const path = "/letter-words/handover-day"
	page := dev.Get(t, path)
	require.Contains(t, page.Body, "built in</span>")
	require.NotContains(t, page.Body, "Back to the built-in words")
	own := "Subject: See you, {{.owner}}\r\n\r\n<b>{{.dog}}</b> waits.\r\n"
	preview := dev.Post(t, path, path, url.Values{"do": {"preview"}, "template": {own}})
	require.Equal(t, http.StatusOK, preview.Status)
	for _, says := range []string{"See you, Freya Kahale", "&lt;b&gt;Biscuit&lt;/b&gt; waits.", "not kept yet"} {
		require.Contains(t, preview.Body, says)
	}
	read := func() string {
		got, err := p.client().ReadLetterTemplate(t.Context(), &mailv1.ReadLetterTemplateRequest{Kind: "handover-day"})
		require.NoError(t, err)
		return got.GetTemplate()
	}
	require.NotContains(t, read(), "See you", "a preview keeps nothing")
	for _, do := range []string{"preview", "keep"} {
		wrong := dev.Post(t, path, path, url.Values{"do": {do}, "template": {"Subject: x\n\n{{.cat}}\n"}})
		require.Equal(t, http.StatusUnprocessableEntity, wrong.Status, do)
		require.Contains(t, wrong.Body, "names cat")
		require.Contains(t, wrong.Body, "{{.cat}}", "what was written stays")
	}
	require.Contains(t, dev.Post(t, path, path, url.Values{"do": {"keep"}, "template": {own}}).Body, "your own words")
	require.Contains(t, read(), "See you")
	p.SetNow(consoletest.Now.Add(time.Minute))
	require.Contains(t, dev.Post(t, path, path, url.Values{"do": {"built-in"}}).Body, "The built-in words are in use again.")
	require.NotContains(t, read(), "See you")
	require.Equal(t, http.StatusUnprocessableEntity, dev.Get(t, "/letter-words/no-such").Status)
}

// TestEveryKindHasAWord: no kind of letter is shown by its machine name.
func TestEveryKindHasAWord(t *testing.T) {
	t.Parallel()
	p := newPost(t)
	kinds, err := p.client().ListLetterKinds(t.Context(), &mailv1.ListLetterKindsRequest{})
	require.NoError(t, err)
	require.NotEmpty(t, kinds.GetKinds())
	body := p.As(t, "office").Get(t, "/letter-words").Body
	for _, k := range kinds.GetKinds() {
		require.NotContains(t, body, ">"+k.GetKind()+"<")
		require.Contains(t, body, "/letter-words/"+k.GetKind())
	}
}

func TestOnlyTheOfficeReadsLetters(t *testing.T) {
	t.Parallel()
	p := newPost(t)
	for _, role := range []string{"trainer", "viewer"} {
		c := p.As(t, role)
		for _, path := range []string{"/letters", p.bounced, "/letter-words", "/letter-words/handover-day"} {
			require.Equal(t, http.StatusForbidden, c.Get(t, path).Status, "%s %s", role, path)
		}
		require.Equal(t, http.StatusForbidden, c.Post(t, "/password", p.bounced+"/again", nil).Status)
		require.Equal(t, http.StatusForbidden, c.Post(t, "/password", "/letter-words/head", nil).Status)
	}
}

func TestStatements(t *testing.T) {
	t.Parallel()
	p := newPost(t)
	dev := p.As(t, "office")
	dev.Get(t, "/letters")
	few := p.Statements(func() { dev.Get(t, "/letters") })
	for range 5 {
		_, err := p.client().TryLetter(t.Context(), &mailv1.TryLetterRequest{Kind: "handover-day", ToAddress: "freya@example.org"})
		require.NoError(t, err)
	}
	require.Equal(t, few, p.Statements(func() { dev.Get(t, "/letters") }))
	require.LessOrEqual(t, few, int64(6))
}

func TestLettersInABrowser(t *testing.T) {
	t.Parallel()
	p := newPost(t)
	b := p.Browser(t, "office")
	b.Judge(t, "letters", "/letters")
	b.Judge(t, "letter", p.bounced)
	b.Judge(t, "letter-words", "/letter-words")
	b.Judge(t, "letter-words-one", "/letter-words/handover-invitation")
}

func TestWhenLettersGo(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{March: true})
	dev := s.As(t, "office")
	page := dev.Get(t, "/letter-times?site=DRUM")
	require.Equal(t, http.StatusOK, page.Status, page.Body)
	for _, says := range []string{"When letters go from DRUM", "Every day at 10:00, up to 7 days ahead", "Every day at 10:00, up to 1 day ahead", "Every 10 minutes", "nobody has changed it"} {
		require.Contains(t, page.Body, says)
	}
	set := func(letter string, form url.Values) consoletest.Reply {
		return dev.Post(t, "/letter-times?site=DRUM", "/letter-times/DRUM/"+letter, form)
	}
	kept := set("day-before", url.Values{"go": {"yes"}, "clock": {"07:05"}, "days": {"2"}})
	require.Contains(t, kept.Body, "Every day at 07:05, up to 2 days ahead")
	require.Contains(t, kept.Body, "Kept: these letters go next at ")
	require.Contains(t, kept.Body, "Set by dev.")
	require.Contains(t, set("arrival", url.Values{"go": {"never"}}).Body, "Kept: none of these letters go from DRUM any more.")
	require.Contains(t, set("enrolment", url.Values{"go": {"yes"}, "line": {"0 9-17 * * 1-5"}}).Body, "By the line 0 9-17 * * 1-5")
	var lines string
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select string_agg(letter || ' ' || line || ' ' || days, '; ' order by letter) from graduation.reminder`).Scan(&lines))
	require.Equal(t, "arrival  7; day-before 5 7 * * * 2; enrolment 0 9-17 * * 1-5 0", lines)

	for name, form := range map[string]url.Values{"clock": {"go": {"yes"}, "clock": {"noon"}, "days": {"1"}}, "days": {"go": {"yes"}, "clock": {"10:00"}, "days": {"many"}}} {
		bad := set("day-before", form)
		require.Equal(t, http.StatusUnprocessableEntity, bad.Status, name)
		require.Contains(t, bad.Body, `role="alert"`, name)
		require.Equal(t, 1, strings.Count(bad.Body, "<details class=\"noprint\" open>"), "the form that was sent is open")
		require.Contains(t, bad.Body, `value="`+form.Get(name)+`"`, "what was written is still there")
	}
	s.Browser(t, "office").Judge(t, "letter-times", "/letter-times?site=DRUM")
	require.Equal(t, http.StatusNotFound, dev.Get(t, "/letter-times?site=NONE").Status)
	require.LessOrEqual(t, s.Statements(func() { dev.Get(t, "/letter-times?site=DRUM") }), int64(12))
	require.Equal(t, http.StatusForbidden, s.As(t, "trainer").Get(t, "/letter-times").Status)
}

package mail_test

import (
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	ics "github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/mail"
)

// requireFolded holds RFC 5545 section 3.1: lines end in CR LF and have at most 75 octets, and each is whole UTF-8.
func requireFolded(t require.TestingT, content string) (longest int) {
	require.True(t, strings.HasSuffix(content, "\r\n"))
	require.Equal(t, strings.Count(content, "\n"), strings.Count(content, "\r\n"))
	require.Equal(t, strings.Count(content, "\r"), strings.Count(content, "\r\n"))
	for _, line := range strings.Split(content, "\r\n") {
		require.LessOrEqual(t, len(line), 75, line)
		require.True(t, utf8.ValidString(line), "a character is cut in two: %q", line)
		longest = max(longest, len(line))
	}
	return longest
}

// TestCalendarPartsByTheRules holds every kind against what the standards ask of a request and of a cancellation.
func TestCalendarPartsByTheRules(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	longest, requests, cancels := 0, 0, 0
	for _, l := range everyKind(t) {
		o.put(t, l)
		k := o.letters(t, l.Key)[0]
		if l.Event == nil {
			require.Nil(t, k.Calendar)
			continue
		}
		longest = max(longest, requireFolded(t, *k.Calendar))
		unfolded := strings.ReplaceAll(*k.Calendar, "\r\n ", "")
		count := func(property string) int {
			return len(regexp.MustCompile(`(?m)^`+property+`[:;]`).FindAllString(unfolded, -1))
		}
		for _, property := range []string{"METHOD", "PRODID", "VERSION", "UID", "SEQUENCE", "DTSTAMP", "DTSTART", "DTEND", "ORGANIZER", "ATTENDEE", "SUMMARY", "STATUS"} {
			require.Equal(t, 1, count(property), "%s of %s", property, l.Kind)
		}
		require.Regexp(t, `(?m)^(DTSTART|DTEND|DTSTAMP):\d{8}T\d{6}Z\r$`, unfolded)
		if l.Event.Method == mail.Cancel {
			require.Contains(t, unfolded, "\r\nMETHOD:CANCEL\r\n")
			require.Contains(t, unfolded, "\r\nSTATUS:CANCELLED\r\n")
			cancels++
		} else {
			require.Contains(t, unfolded, "\r\nMETHOD:REQUEST\r\n")
			requests++
		}
	}
	require.Positive(t, cancels)
	require.Positive(t, requests)
	outside.Check(t, "octets of the longest line of calendar parts on multi-byte text", "RFC 5545 section 3.1: at most 75", 75, longest)
}

// TestFoldingKeepsWords: whatever the words, lines are folded by the rule, and another library reads the words back.
func TestFoldingKeepsWords(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	n := 0
	rapid.Check(t, func(r *rapid.T) {
		n++
		word := rapid.StringMatching(`[\PC]{0,120}`)
		l := example(t, mail.HandoverInvitation, "folding", n)
		l.Event.Summary, l.Event.Place = "a "+word.Draw(r, "summary"), word.Draw(r, "place")
		l.To.Name = word.Draw(r, "name")
		o.put(t, l)
		list, err := mail.List(t.Context(), o.pool, mail.Filter{Key: "folding", Limit: 1})
		require.NoError(r, err)
		requireFolded(r, *list[0].Calendar)
		calendar, err := ics.NewDecoder(strings.NewReader(*list[0].Calendar)).Decode()
		require.NoError(r, err)
		require.Len(r, calendar.Events(), 1)
		event := calendar.Events()[0]
		summary, err := event.Props.Text(ics.PropSummary)
		require.NoError(r, err)
		require.Equal(r, strings.Join(strings.Fields(l.Event.Summary), " "), summary)
		starts, err := event.DateTimeStart(time.UTC)
		require.NoError(r, err)
		require.True(r, l.Event.Begins.Equal(starts))
	})
}

// TestEventsThatMakeNoSense are faults of the caller, and nothing is put.
func TestEventsThatMakeNoSense(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	for name, spoil := range map[string]func(l *mail.Letter){
		"UID":             func(l *mail.Letter) { l.Event.UID = "" },
		"sequence":        func(l *mail.Letter) { l.Event.Sequence = -1 },
		"method":          func(l *mail.Letter) { l.Event.Method = "PUBLISH" },
		"ends after":      func(l *mail.Letter) { l.Event.Ends = l.Event.Begins },
		"needs a summary": func(l *mail.Letter) { l.Event.Summary = "\r\n" },
		"no calendar entry": func(l *mail.Letter) {
			l.Kind, l.Fields, l.Lists = mail.PracticePlan, map[string]string{"owner": "a", "dog": "b", "site": "c", "trainer": "d"}, nil
		},
		"needs a key":         func(l *mail.Letter) { l.Key = "" },
		"version is negative": func(l *mail.Letter) { l.Version = -1 },
		"zone":                func(l *mail.Letter) { l.Zone = "Mars/Olympus" },
		"expires before":      func(l *mail.Letter) { l.NotBefore, l.Expires = noon.Add(time.Hour), noon },
		"no kind of letter":   func(l *mail.Letter) { l.Kind = "newsletter" },
		"has no field colour": func(l *mail.Letter) { l.Fields["colour"] = "red" },
		"has no list toys":    func(l *mail.Letter) { l.Lists["toys"] = nil },
		"needs the field dog": func(l *mail.Letter) { l.Fields["dog"] = " " },
		"has no field school": func(l *mail.Letter) { l.Fields["school"] = "mine" },
	} {
		l := example(t, mail.HandoverInvitation, "senseless", 1)
		spoil(&l)
		require.ErrorContains(t, o.try(t, l), name)
	}
	require.Zero(t, o.count(t, `select count(*) from mail.letter`))
}

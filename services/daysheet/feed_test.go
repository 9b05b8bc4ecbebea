package daysheet_test

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/refsolve"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

// newFeed makes a feed and returns its ID and path.
func (s *school) newFeed(t *testing.T, trainer string) (id, path string) {
	t.Helper()
	got, err := s.sheets["site-lead"].MakeFeed(t.Context(), &daysheetv1.MakeFeedRequest{TrainerCode: trainer})
	require.NoError(t, err)
	require.Equal(t, trainer, got.GetFeed().GetTrainerCode())
	return got.GetFeed().GetId(), got.GetPath()
}

// entry is an event as a reader of calendars sees it.
type entry struct {
	uid, summary, location, status string
	sequence                       string
	from, to, stamp                time.Time
}

// read reads a calendar with a library that did not write it.
func read(t *testing.T, content []byte) (entries []entry) {
	t.Helper()
	cal, err := ical.NewDecoder(bytes.NewReader(content)).Decode()
	require.NoError(t, err)
	version, err := cal.Props.Text(ical.PropVersion)
	require.NoError(t, err)
	require.Equal(t, "2.0", version)
	for _, e := range cal.Events() {
		one := entry{}
		for name, to := range map[string]*string{ical.PropUID: &one.uid, ical.PropSummary: &one.summary, ical.PropLocation: &one.location, ical.PropStatus: &one.status} {
			*to, err = e.Props.Text(name)
			require.NoError(t, err)
		}
		one.sequence = e.Props.Get(ical.PropSequence).Value
		one.from, err = e.DateTimeStart(time.UTC)
		require.NoError(t, err)
		one.to, err = e.DateTimeEnd(time.UTC)
		require.NoError(t, err)
		one.stamp, err = e.Props.DateTime(ical.PropDateTimeStamp, time.UTC)
		require.NoError(t, err)
		entries = append(entries, one)
	}
	return entries
}

// TestTheFeedHoldsWhatATrainerDoes compares a feed over days and sites with the tables, as a library reads it that did not write it.
func TestTheFeedHoldsWhatATrainerDoes(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.setNow(time.Date(2027, 3, 14, 5, 0, 0, 0, time.UTC)) // 22:00 on the 13th in Denver
	days := []string{"2027-03-11", "2027-03-12", "2027-03-13", "2027-03-14", "2027-03-27", "2027-03-28"}
	// DEVIKA of TARN is lent to QUILL from 15 to 21 March; TOBIN works on both sides of the clock change.
	for _, day := range days {
		s.plan(t, "TARN", day)
	}
	s.plan(t, "QUILL", "2027-03-16")
	for _, trainer := range []string{"TOBIN", "DEVIKA", "MARISOL"} {
		var want []done
		for _, day := range days[1:5] {
			all, _ := s.doneIn(t, "TARN", day)
			want = append(want, all...)
		}
		elsewhere, _ := s.doneIn(t, "QUILL", "2027-03-16")
		want = append(want, elsewhere...)
		var times []string
		for _, d := range want {
			if d.Trainer == trainer || d.Second == trainer {
				times = append(times, fmt.Sprint(d.From.UTC().Format(time.RFC3339), " ", d.To.UTC().Format(time.RFC3339)))
			}
		}
		require.NotEmpty(t, times, trainer)
		_, path := s.newFeed(t, trainer)
		got := s.get(t, "", path, nil)
		require.Equal(t, 200, got.Code, got.Body)
		content := got.Body.Bytes()
		requireRFC5545(t, content)
		var found []string
		uids := map[string]bool{}
		for _, e := range read(t, content) {
			found = append(found, fmt.Sprint(e.from.Format(time.RFC3339), " ", e.to.Format(time.RFC3339)))
			require.False(t, uids[e.uid], "an event of its own each")
			uids[e.uid] = true
			require.Equal(t, "CONFIRMED", e.status)
			require.NotEmpty(t, e.summary)
			require.NotEmpty(t, e.location)
			require.Equal(t, s.clock(), e.stamp)
		}
		require.ElementsMatch(t, times, found, trainer)
		requireNothingPersonal(t, string(content))
	}
}

// timesOf are events as refsolve.ReadCalendar gives them.
func timesOf(entries []entry) (out []refsolve.CalendarEvent) {
	for _, e := range entries {
		out = append(out, refsolve.CalendarEvent{UID: e.uid, Summary: e.summary, Location: e.location, Starts: e.from.Format(time.RFC3339), Ends: e.to.Format(time.RFC3339)})
	}
	return out
}

// requireRFC5545 holds what the form of a calendar asks for (RFC 5545 sections 3.1, 3.6.1, 3.8.7.2): lines end in CR LF and have 75 octets at
// most, each is whole UTF-8, times are in UTC, and each event has the properties that it must have.
func requireRFC5545(t *testing.T, content []byte) {
	t.Helper()
	text := string(content)
	require.True(t, strings.HasPrefix(text, "BEGIN:VCALENDAR\r\n") && strings.HasSuffix(text, "END:VCALENDAR\r\n"))
	require.Equal(t, strings.Count(text, "\n"), strings.Count(text, "\r\n"))
	require.Equal(t, strings.Count(text, "\r"), strings.Count(text, "\r\n"))
	for _, line := range strings.Split(text, "\r\n") {
		require.LessOrEqual(t, len(line), 75, line)
		require.True(t, strings.ToValidUTF8(line, "?") == line, "a character is cut in two: %q", line)
	}
	require.Contains(t, text, "\r\nREFRESH-INTERVAL;VALUE=DURATION:PT15M\r\n", "RFC 7986 section 5.7")
	events := strings.Count(text, "BEGIN:VEVENT")
	for _, property := range []string{"UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE", "STATUS", "SUMMARY"} {
		require.Len(t, regexp.MustCompile(`(?m)^`+property+`[:;]`).FindAllString(text, -1), events, property)
	}
	require.Len(t, regexp.MustCompile(`(?m)^(DTSTAMP|DTSTART|DTEND):\d{8}T\d{6}Z\r$`).FindAllString(text, -1), 3*events, "in UTC")
}

// requireNothingPersonal holds that a feed tells nothing of owners and nobody's number.
func requireNothingPersonal(t *testing.T, text string) {
	t.Helper()
	// A UID may hold any digits.
	text = regexp.MustCompile(`(?m)^UID:.*$`).ReplaceAllString(strings.ReplaceAll(text, "\r\n ", ""), "")
	require.NotRegexp(t, `\b555-01\d\d\b`, text, "no telephone number")
	for _, o := range fileOf(t, "owners.csv") {
		require.NotContains(t, text, o["name"])
		require.NotContains(t, text, o["email"])
	}
	for _, x := range fileOf(t, "trainers.csv") {
		require.NotContains(t, text, x["name"])
	}
}

// TestTheFeedFollowsAPlanThatIsMadeAnew: the same event moves, and says that it is newer.
func TestTheFeedFollowsAPlanThatIsMadeAnew(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.keepFixed(t, "2027-02-25")
	_, path := s.newFeed(t, "LOTTE")
	first := read(t, s.get(t, "", path, nil).Body.Bytes())
	require.NotEmpty(t, first)
	_, err := s.pool.Exec(t.Context(), `update dayplan.plan set state = 'replaced'`)
	require.NoError(t, err)
	_, err = s.pool.Exec(t.Context(), `
		with p as (insert into dayplan.plan select gen_random_uuid(), site_id, day, 2, 'live', made_at + interval '1 hour', made_by, seed, seconds, fingerprint, value, bound, dogs, notes
		  from dayplan.plan returning id)
		insert into dayplan.block select p.id, dog_id, session, trainer_id, own, area_id, skill_id, tstzrange(lower(during) + interval '5 minutes', upper(during) + interval '5 minutes')
		from dayplan.block, p`)
	require.NoError(t, err)
	second := read(t, s.get(t, "", path, nil).Body.Bytes())
	require.Len(t, second, len(first))
	for i := range first {
		require.Equal(t, first[i].uid, second[i].uid)
		require.Equal(t, "0", first[i].sequence)
		require.Equal(t, "1", second[i].sequence)
		require.Equal(t, first[i].from.Add(5*time.Minute), second[i].from)
		require.Equal(t, first[i].stamp.Add(time.Hour), second[i].stamp)
	}
}

// hardName has everything in it that has a meaning in a calendar, and is long enough for a line to be folded.
const hardName = `Zoë; "Żółw", \n backslash: ÄÖÜ äöü ßßß 犬犬犬犬犬犬犬犬犬犬犬犬`

// dogsFile gives D-064 another name.
func dogsFile(name string) exchange.File {
	return exchange.File{Name: "dogs.csv", Content: []byte("code,owner,name,breed,breed_tier,hound,sex,born,weight_kg,length_mm,height_mm,bite_level,season_started,note\n" +
		`D-064,O-064,"` + strings.ReplaceAll(name, `"`, `""`) + `",shepherd mix,0,no,spayed,2024-10-23,26.4,880,720,,,` + "\n")}
}

// TestWordsInAFeedAreEscaped: a name comes out of the calendar as it went in.
func TestWordsInAFeedAreEscaped(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.take(t, dogsFile(hardName))
	s.keepFixed(t, "2027-02-25")
	_, path := s.newFeed(t, "LOTTE")
	content := s.get(t, "", path, nil).Body.Bytes()
	requireRFC5545(t, content)
	seen := 0
	for _, e := range read(t, content) {
		if strings.HasPrefix(e.summary, hardName+" (D-064)") {
			seen++
		}
	}
	require.Equal(t, 1, seen)
}

// TestAnotherLibraryReadsTheFeedAlike has Python read feeds, of which one has hard words and one goes over a change of clocks.
func TestAnotherLibraryReadsTheFeedAlike(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.setNow(time.Date(2027, 3, 13, 15, 0, 0, 0, time.UTC))
	s.take(t, dogsFile(hardName))
	s.keepFixed(t, "2027-03-12")
	s.plan(t, "TARN", "2027-03-13")
	s.plan(t, "TARN", "2027-03-14")
	for trainer, name := range map[string]string{"TOBIN": "on both sides of a change of clocks", "LOTTE": "with semicolons, commas, backslashes and long characters"} {
		_, path := s.newFeed(t, trainer)
		content := s.get(t, "", path, nil).Body.Bytes()
		events, version := refsolve.ReadCalendar(t, content)
		require.NotEmpty(t, events)
		outside.Check(t, fmt.Sprintf("%d events of a feed %s: words and times as emersion/go-ical reads them", len(events), name), "Python "+version+", reading the same feed",
			events, refsolve.SortEvents(timesOf(read(t, content))))
	}
}

// TestAddressesAreSecrets: nothing but the hash is kept, no log has the token, and what opens nothing looks alike whatever it is.
func TestAddressesAreSecrets(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.keepFixed(t, "2027-02-25")
	id, path := s.newFeed(t, "LOTTE")
	token := strings.TrimSuffix(strings.TrimPrefix(path, "/feeds/"), ".ics")
	require.Regexp(t, `^[A-Z2-7]{26}$`, token, "130 bits")
	_, other := s.newFeed(t, "LOTTE")
	require.NotEqual(t, path, other)

	rows, err := postgres.List[struct{ Text string }](t.Context(), s.pool, "read feeds", `select f::text as text from daysheet.feed f`)
	require.NoError(t, err)
	require.Len(t, rows, 2)
	require.NotContains(t, rows[0].Text+rows[1].Text, token)

	open := s.get(t, "", path, nil)
	require.Equal(t, 200, open.Code)
	require.Equal(t, "text/calendar; charset=utf-8", open.Header().Get("Content-Type"))
	require.Equal(t, "private, no-cache", open.Header().Get("Cache-Control"))
	tag := open.Header().Get("ETag")
	require.Regexp(t, `^"[0-9a-f]{32}"$`, tag)
	same := s.get(t, "", path, map[string]string{"If-None-Match": tag})
	require.Equal(t, 304, same.Code)
	require.Empty(t, same.Body.String())
	require.Equal(t, 200, s.get(t, "", path, map[string]string{"If-None-Match": `"other"`}).Code)

	unknown := s.get(t, "", "/feeds/ABCDEFGHIJKLMNOPQRSTUVWXYZ.ics", nil)
	require.Equal(t, 404, unknown.Code)
	revoked, err := s.sheets["manager"].RevokeFeed(t.Context(), &daysheetv1.RevokeFeedRequest{FeedId: id})
	require.NoError(t, err)
	require.Equal(t, "manager", revoked.GetFeed().GetRevokedBy())
	shut := s.get(t, "", path, map[string]string{"If-None-Match": tag})
	for _, one := range []struct {
		name string
		path string
	}{{"revoked", path}, {"without its ending", "/feeds/" + token}, {"nothing", "/feeds/.ics"}, {"cut", "/feeds/" + token[:25] + ".ics"}, {"the ID", "/feeds/" + id + ".ics"}} {
		got := s.get(t, "", one.path, nil)
		require.Equal(t, unknown.Code, got.Code, one.name)
		require.Equal(t, unknown.Body.String(), got.Body.String(), one.name)
	}
	require.Equal(t, 404, shut.Code, "a reader who has read it before is shut out too")
	require.Equal(t, 200, s.get(t, "", other, nil).Code, "the other one is open")
	again, err := s.sheets["manager"].RevokeFeed(t.Context(), &daysheetv1.RevokeFeedRequest{FeedId: id})
	require.NoError(t, err)
	require.Equal(t, revoked.GetFeed().GetRevokedAt().AsTime(), again.GetFeed().GetRevokedAt().AsTime())

	// What goes wrong is told to the log, without the address.
	_, err = s.pool.Exec(t.Context(), `alter table daysheet.feed rename to away`)
	require.NoError(t, err)
	broken := s.get(t, "", other, nil)
	require.Equal(t, 500, broken.Code)
	require.NotContains(t, broken.Body.String(), "daysheet")
	require.Contains(t, s.log.String(), "a calendar feed could not be made")
	for _, p := range []string{path, other} {
		require.NotContains(t, s.log.String(), strings.TrimSuffix(strings.TrimPrefix(p, "/feeds/"), ".ics"))
	}
	require.NotContains(t, s.log.String(), "/feeds/")
}

func TestWhoMayMakeFeeds(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for role, client := range s.sheets {
		want := codes.PermissionDenied
		if role == "manager" || role == "site-lead" {
			want = codes.OK
		}
		made, err := client.MakeFeed(t.Context(), &daysheetv1.MakeFeedRequest{TrainerCode: "NOOR"})
		require.Equal(t, want, status.Code(err), role)
		_, err = client.ListFeeds(t.Context(), &daysheetv1.ListFeedsRequest{})
		require.Equal(t, want, status.Code(err), role)
		id := made.GetFeed().GetId()
		if id == "" {
			id = "01920000-0000-7000-8000-000000000007"
		}
		_, err = client.RevokeFeed(t.Context(), &daysheetv1.RevokeFeedRequest{FeedId: id})
		require.Equal(t, want, status.Code(err), role)
	}
	lead := s.sheets["site-lead"]
	_, err := lead.MakeFeed(t.Context(), &daysheetv1.MakeFeedRequest{TrainerCode: "NOBODY"})
	require.Equal(t, codes.NotFound, status.Code(err))
	_, err = lead.RevokeFeed(t.Context(), &daysheetv1.RevokeFeedRequest{FeedId: "7"})
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	_, err = lead.RevokeFeed(t.Context(), &daysheetv1.RevokeFeedRequest{FeedId: "01920000-0000-7000-8000-000000000007"})
	require.Equal(t, codes.NotFound, status.Code(err))
}

func TestFeedsAreListed(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	id, path := s.newFeed(t, "TOBIN")
	s.newFeed(t, "INGA")
	list := func(trainer string) []*daysheetv1.Feed {
		got, err := s.sheets["manager"].ListFeeds(t.Context(), &daysheetv1.ListFeedsRequest{TrainerCode: trainer})
		require.NoError(t, err)
		return got.GetFeeds()
	}
	require.Len(t, list(""), 2)
	require.Equal(t, "INGA", list("")[0].GetTrainerCode())
	require.Empty(t, list("TOBIN")[0].GetLastRead())
	require.Empty(t, read(t, s.get(t, "", path, nil).Body.Bytes()), "no day is planned, and the calendar is there all the same")
	require.Equal(t, id, list("TOBIN")[0].GetId())
	require.Equal(t, "2027-02-22", list("TOBIN")[0].GetLastRead())
	s.setNow(time.Date(2027, 3, 1, 6, 30, 0, 0, time.UTC)) // still February in Denver
	require.Equal(t, 200, s.get(t, "", path, nil).Code)
	require.Equal(t, "2027-02-28", list("TOBIN")[0].GetLastRead())
}

package people_test

import (
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/people"
	"github.com/longlead/longlead/services/rpc"

	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

func TestRolesAreThoseOfTheEdge(t *testing.T) {
	t.Parallel()
	tokens := &rpc.Tokens{}
	for _, role := range people.Roles() {
		require.NoError(t, tokens.Add("somebody", role, "a secret of "+role))
	}
}

func TestPeopleAreListed(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "wren", people.Office)
	s.add(t, "ann", people.Manager)
	s.signIn(t, "wren")
	got, err := s.server.ListPeople(t.Context(), &peoplev1.ListPeopleRequest{})
	require.NoError(t, err)
	require.Len(t, got.GetPeople(), 2)
	ann, wren := got.GetPeople()[0], got.GetPeople()[1]
	require.Equal(t, "ann", ann.GetLogin())
	require.Nil(t, ann.GetSeenAt())
	require.Equal(t, s.Now(), wren.GetSeenAt().AsTime())
	require.Nil(t, wren.GetDisabledAt())
	text := got.String()
	require.NotContains(t, text, "argon2id", "no hash leaves the server")
	require.Equal(t, 2, s.count(t, `select count(*) from people.change where what = 'added' and by_name = 'tester' and after->>'role' in ('office', 'manager')`))
	require.Zero(t, s.count(t, `select count(*) from people.change c where c::text like '%argon2id%' or c::text like '%' || $1 || '%'`, good))
}

func TestWhatCannotBe(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "ann", people.Manager)
	ok := func() *peoplev1.AddPersonRequest {
		return &peoplev1.AddPersonRequest{Login: "jo", Name: "Jo Marsh", Role: people.Office, Password: good}
	}
	for _, tc := range []struct {
		name   string
		change func(*peoplev1.AddPersonRequest)
		reason string
		field  string
	}{
		{"login taken", func(r *peoplev1.AddPersonRequest) { r.Login = "ANN" }, "LOGIN_TAKEN", ""},
		{"login with a blank", func(r *peoplev1.AddPersonRequest) { r.Login = "jo marsh" }, "INVALID_FIELD", "login"},
		{"login in other letters", func(r *peoplev1.AddPersonRequest) { r.Login = "јо" }, "INVALID_FIELD", "login"},
		{"login too long", func(r *peoplev1.AddPersonRequest) { r.Login = strings.Repeat("a", 61) }, "INVALID_FIELD", "login"},
		{"no name", func(r *peoplev1.AddPersonRequest) { r.Name = "  " }, "INVALID_FIELD", "name"},
		{"name of two lines", func(r *peoplev1.AddPersonRequest) { r.Name = "Jo\nMarsh" }, "INVALID_FIELD", "name"},
		{"name with a zero", func(r *peoplev1.AddPersonRequest) { r.Name = "Jo\x00" }, "INVALID_FIELD", "name"},
		{"no such role", func(r *peoplev1.AddPersonRequest) { r.Role = "owner" }, "INVALID_FIELD", "role"},
		{"no such site", func(r *peoplev1.AddPersonRequest) { r.SiteCode = "MOON" }, "INVALID_FIELD", "site_code"},
		{"no such trainer", func(r *peoplev1.AddPersonRequest) { r.TrainerCode = "MOON" }, "INVALID_FIELD", "trainer_code"},
		{"a code with a zero", func(r *peoplev1.AddPersonRequest) { r.SiteCode = "\x00" }, "INVALID_FIELD", "site_code"},
		{"password is the login", func(r *peoplev1.AddPersonRequest) { r.Login, r.Password = "jo.marsh.field", "Jo.Marsh.Field" }, "INVALID_FIELD", "password"},
		{"password too short", func(r *peoplev1.AddPersonRequest) { r.Password = "eleven char" }, "INVALID_FIELD", "password"},
	} {
		req := ok()
		tc.change(req)
		_, err := s.server.AddPerson(t.Context(), req)
		require.Equal(t, tc.reason, apperr.ReasonOf(err), tc.name)
		if known, _ := apperr.From(err); tc.field != "" {
			require.Equal(t, tc.field, known.Fields[0].Path, tc.name)
			require.NotContains(t, err.Error(), good, "no password in an error")
		}
	}
	require.Equal(t, 1, s.count(t, `select count(*) from people.person`))
	for _, err := range []error{
		func() error {
			_, err := s.server.ChangePerson(t.Context(), &peoplev1.ChangePersonRequest{Login: "nobody", Name: "N", Role: people.Viewer})
			return err
		}(),
		func() error {
			_, err := s.server.SetPassword(t.Context(), &peoplev1.SetPasswordRequest{Login: "nobody"})
			return err
		}(),
		func() error {
			_, err := s.server.DisablePerson(t.Context(), &peoplev1.DisablePersonRequest{Login: "no\x00body"[:2] + "body"})
			return err
		}(),
	} {
		require.Equal(t, "PERSON_UNKNOWN", apperr.ReasonOf(err))
	}
}

// TestHostileNames are kept as they are: whoever shows them escapes them.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	name := `<script>alert("1")</script>'); drop table people.person; --`
	got, err := s.server.AddPerson(t.Context(), &peoplev1.AddPersonRequest{Login: "bobby", Name: name, Role: people.Viewer, Password: good})
	require.NoError(t, err)
	require.Equal(t, name, got.GetPerson().GetName())
	require.Equal(t, 1, s.count(t, `select count(*) from people.person where name = $1`, name))
}

func TestAManagerRemains(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "ann", people.Manager)
	s.add(t, "wren", people.Office)
	_, err := s.server.DisablePerson(t.Context(), &peoplev1.DisablePersonRequest{Login: "ann"})
	require.Equal(t, "LAST_MANAGER", apperr.ReasonOf(err))
	_, err = s.server.ChangePerson(t.Context(), &peoplev1.ChangePersonRequest{Login: "ann", Name: "Ann", Role: people.Office})
	require.Equal(t, "LAST_MANAGER", apperr.ReasonOf(err))
	_, err = s.server.ChangePerson(t.Context(), &peoplev1.ChangePersonRequest{Login: "ann", Name: "Ann Other", Role: people.Manager})
	require.NoError(t, err, "her name may change")
	_, err = s.server.ChangePerson(t.Context(), &peoplev1.ChangePersonRequest{Login: "wren", Name: "Wren", Role: people.Manager})
	require.NoError(t, err)
	_, err = s.server.DisablePerson(t.Context(), &peoplev1.DisablePersonRequest{Login: "ann"})
	require.NoError(t, err)
	_, err = s.server.DisablePerson(t.Context(), &peoplev1.DisablePersonRequest{Login: "ann"})
	require.Equal(t, "PERSON_DISABLED", apperr.ReasonOf(err))
	_, err = s.server.DisablePerson(t.Context(), &peoplev1.DisablePersonRequest{Login: "wren"})
	require.Equal(t, "LAST_MANAGER", apperr.ReasonOf(err), "one who is shut out does not count")
}

// TestTheLastTwoManagersAtOnce: of two who shut each other out at the same moment, one stays.
func TestTheLastTwoManagersAtOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "ann", people.Manager)
	s.add(t, "bea", people.Manager)
	for range 10 {
		var wg sync.WaitGroup
		reasons := make([]string, 2)
		for i, login := range []string{"ann", "bea"} {
			wg.Go(func() {
				var err error
				if i == 0 {
					_, err = s.server.DisablePerson(t.Context(), &peoplev1.DisablePersonRequest{Login: login})
				} else {
					_, err = s.server.ChangePerson(t.Context(), &peoplev1.ChangePersonRequest{Login: login, Name: login, Role: people.Viewer})
				}
				reasons[i] = apperr.ReasonOf(err)
			})
		}
		wg.Wait()
		require.ElementsMatch(t, []string{"", "LAST_MANAGER"}, reasons)
		require.Equal(t, 1, s.count(t, `select count(*) from people.person where role = 'manager' and disabled_at is null`))
		_, err := s.pool.Exec(t.Context(), `update people.person set role = 'manager', disabled_at = null`)
		require.NoError(t, err)
	}
}

func TestSetPasswordEndsSignIns(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "ann", people.Manager)
	secret := s.signIn(t, "ann")
	for range 6 {
		_, _, _ = s.door.SignIn(t.Context(), "ann", "wrong, all wrong", "192.0.2.9")
	}
	got, err := s.server.SetPassword(t.Context(), &peoplev1.SetPasswordRequest{Login: "Ann"})
	require.NoError(t, err)
	require.True(t, got.GetPerson().GetMustChange())
	_, err = s.door.Who(t.Context(), secret)
	require.Equal(t, "SESSION_UNKNOWN", apperr.ReasonOf(err))
	_, p, err := s.door.SignIn(t.Context(), "ann", got.GetMadePassword(), "192.0.2.7")
	require.NoError(t, err, "who gets another password need not wait for what others guessed")
	require.True(t, p.MustChange)
	_, err = s.server.SetPassword(t.Context(), &peoplev1.SetPasswordRequest{Login: "ann", Password: "short"})
	require.Equal(t, "INVALID_FIELD", apperr.ReasonOf(err))
}

package enrollment

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
)

// TestRequestsBesideOthers puts the requests of before, then those of file, in lines "code,dog,program,first,last,household".
// MANNERS takes 14 nights.
func TestRequestsBesideOthers(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, KindRequests)
	for _, tt := range []struct {
		name         string
		before, file []string
		want         []fault
		rule         string
	}{
		{name: "the last stay of one window ends on the first day of the next",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-07,"}, file: []string{"B,BO,MANNERS,2027-03-21,2027-03-28,"}},
		{name: "the stays could share the last night",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,"}, file: []string{"B,BO,MANNERS,2027-03-21,2027-03-28,"},
			want: []fault{{2, "dog"}}, rule: "has another open request, A, whose stay could fall on the same days"},
		{name: "the new stay comes before",
			before: []string{"A,BO,MANNERS,2027-03-21,2027-03-28,"}, file: []string{"B,BO,MANNERS,2027-03-01,2027-03-08,"},
			want: []fault{{2, "dog"}}, rule: "has another open request, A, whose stay could fall on the same days"},
		{name: "two rows of one file, of which the first is kept",
			file: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,", "B,BO,MANNERS,2027-03-02,2027-03-09,"},
			want: []fault{{3, "dog"}}, rule: "has another open request, A, whose stay could fall on the same days"},
		{name: "another dog", before: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,"}, file: []string{"B,DOT,MANNERS,2027-03-01,2027-03-08,"}},
		{name: "a request does not stand in its own way",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,"}, file: []string{"A,BO,MANNERS,2027-03-02,2027-03-09,"}},
		{name: "a request stays with its dog",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,"}, file: []string{"A,DOT,MANNERS,2027-03-01,2027-03-08,"},
			want: []fault{{2, "dog"}}, rule: "is not the dog that this request was made for"},
		{name: "one moves away and makes room",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,"},
			file:   []string{"B,BO,MANNERS,2027-03-01,2027-03-08,", "A,BO,MANNERS,2027-05-01,2027-05-08,"}},
		{name: "one that may not move away stays in the way",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,", "C,BO,MANNERS,2027-05-01,2027-05-08,"},
			file:   []string{"B,BO,MANNERS,2027-03-01,2027-03-08,", "A,BO,MANNERS,2027-05-01,2027-05-08,"},
			want:   []fault{{2, "dog"}, {3, "dog"}}, rule: "has another open request, A, whose stay could fall on the same days"},
		{name: "a household with one day in common",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,H"}, file: []string{"B,DOT,MANNERS,2027-03-08,2027-03-28,H"}},
		{name: "a household with no day in common",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,H"}, file: []string{"B,DOT,MANNERS,2027-03-09,2027-03-28,H"},
			want: []fault{{2, "household"}}, rule: "has request A with no arrival day in common, and its dogs must come together"},
		{name: "a household of three of which two do not meet",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-10,H", "B,DOT,MANNERS,2027-03-05,2027-03-15,H"},
			file:   []string{"C,KIM,MANNERS,2027-03-11,2027-03-20,H"},
			want:   []fault{{2, "household"}}, rule: "has request A with no arrival day in common, and its dogs must come together"},
		{name: "other households",
			before: []string{"A,BO,MANNERS,2027-03-01,2027-03-08,H"}, file: []string{"B,DOT,MANNERS,2027-03-09,2027-03-28,I", "C,KIM,MANNERS,2027-05-09,2027-05-28,"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := s.Exec(t.Context(), `delete from enrollment.request`)
			require.NoError(t, err)
			s.mustPut(t, KindRequests, requestFile(tt.before...)...)
			was := len(s.list(t, KindRequests))
			wrong := s.put(t, KindRequests, requestFile(tt.file...)...)
			require.Equal(t, tt.want, faultsOf(wrong))
			if len(wrong) > 0 {
				require.Equal(t, tt.rule, wrong[0].Rule)
				require.NotEmpty(t, wrong[0].Remedy)
				require.Len(t, s.list(t, KindRequests), was+len(tt.file)-len(wrong))
			}
		})
	}
}

func TestAWithdrawnRequestIsInNobodysWay(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, KindRequests)
	s.mustPut(t, KindRequests, requestsCSV,
		"A,BO,MANNERS,2027-03-01,2027-03-08,,3,no,2027-01-01,H,withdrawn,",
		"B,BO,MANNERS,2027-03-01,2027-03-08,,3,no,2027-01-01,,open,",
		"C,DOT,MANNERS,2027-04-01,2027-04-08,,3,no,2027-01-01,H,open,",
		"D,BO,MANNERS,2027-03-01,2027-03-08,,3,no,2027-01-01,,withdrawn,")
	wrong := s.put(t, KindRequests, requestsCSV, "A,BO,MANNERS,2027-03-01,2027-03-08,,3,no,2027-01-01,H,open,")
	require.Equal(t, []fault{{2, "dog"}}, faultsOf(wrong), "until it is opened again")
}

// TestTwoFilesAtOnce: the second waits for the first and is compared with it.
func TestTwoFilesAtOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, KindRequests)
	port := s.port(t, KindRequests)
	in := records.Intake{Mint: uuid.New, Now: testNow}
	first := s.rows(t, port, requestFile("A,BO,MANNERS,2027-03-01,2027-03-08,")...)
	second := s.rows(t, port, requestFile("B,BO,MANNERS,2027-03-01,2027-03-08,")...)

	tx, err := s.Begin(t.Context())
	require.NoError(t, err)
	defer func() { _ = tx.Rollback(t.Context()) }()
	wrong, err := port.Put(t.Context(), tx, in, first)
	require.NoError(t, err)
	require.Empty(t, wrong)

	done := make(chan []records.Wrong, 1)
	go func() {
		var found []records.Wrong
		err := postgres.InTx(t.Context(), s.Pool, func(tx postgres.Tx) (err error) {
			found, err = port.Put(t.Context(), tx, in, second)
			return err
		})
		assert.NoError(t, err)
		done <- found
	}()
	require.Eventually(t, func() bool {
		var waiting int
		err := s.QueryRow(t.Context(), `select count(*) from pg_locks where not granted and relation = 'enrollment.request'::regclass
			and database = (select oid from pg_database where datname = current_database())`).Scan(&waiting)
		return err == nil && waiting == 1
	}, 20*time.Second, 10*time.Millisecond, "the second file waits")
	require.NoError(t, tx.Commit(t.Context()))
	require.Equal(t, []fault{{2, "dog"}}, faultsOf(<-done))
	require.Len(t, s.list(t, KindRequests), 2)
}

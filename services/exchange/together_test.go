package exchange_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/exchange"
)

// TestRowsFarApartAreHeldAgainstEachOther moves the requests of a household, and two of a dog, that stand at the two ends of a
// long file. Held against what is stored, not against each other, either end would be refused.
func TestRowsFarApartAreHeldAgainstEachOther(t *testing.T) {
	t.Parallel()
	const n = 5100 // more than go to the database at once
	owners, dogs := []string{ownersHead, "LOWE,Sam Lowe,,"}, []string{dogsHead}
	for i := range n {
		dogs = append(dogs, fmt.Sprintf("D%04d,LOWE,Rex,,0,no,male,2025-06-15,20,700,600,,,", i))
	}
	dog := func(i int) int { return i % (n - 1) } // the first and the last request are of one dog
	request := func(i int, first, last, household string) string {
		return fmt.Sprintf("R%04d,D%04d,MANNERS,%s,%s,,3,no,2027-01-11,%s,open,", i, dog(i), first, last, household)
	}
	months := func(one, other, of string) []string {
		rows := []string{requestsHead, request(0, one+"-01", one+"-07", ""), request(1, of+"-01", of+"-07", "LOWE-SPRING")}
		for i := 2; i < n-2; i++ {
			rows = append(rows, request(i, "2027-03-01", "2027-03-07", ""))
		}
		return append(rows, request(n-2, of+"-01", of+"-07", "LOWE-SPRING"), request(n-1, other+"-01", other+"-07", ""))
	}
	s := newSchool(t)
	report := s.take(t, exchange.Settings{}, file("owners.csv", owners...), file("dogs.csv", dogs...),
		file("programs.csv", "code,name,nights,sessions_a_day,session_minutes,least_age_months", "MANNERS,Manners,14,3,20,6"),
		file("requests.csv", months("2027-03", "2027-05", "2027-03")...))
	require.Empty(t, told(t, report.Faults))
	report = s.take(t, exchange.Settings{}, file("requests.csv", months("2027-05", "2027-03", "2027-06")...))
	require.Empty(t, told(t, report.Faults))
	require.True(t, report.Imported)
}

package enrollment

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"

	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
)

func TestFindRequests(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	s.mustPut(t, KindOwners, "code,name,email,phone", `SNEED,Ada <b>O'Sneed% _,,(+1) 555-01 77`)
	s.mustPut(t, KindDogs, "code,owner,name,breed_tier,hound,sex,born,weight_kg,length_mm,height_mm", "ZED,SNEED,Zed,0,no,male,2024-01-01,20,800,600")
	s.mustPut(t, KindRequests, "code,dog,program,window_first,window_last,priority,deposit,asked_on,state", "R-9,ZED,MANNERS,2027-06-01,2027-06-09,2,no,2026-12-01,open")
	s.mustPut(t, KindRequestSites, "request,site,travel_minutes", "R-9,LAKE,20")
	s.promised = []ids.RequestID{s.request(t, "R-2")}
	for _, tt := range []struct {
		name string
		ask  *enrollmentv1.FindRequestsRequest
		want string
	}{
		{"all, who asked first first, withdrawn last", &enrollmentv1.FindRequestsRequest{}, "R-9 R-1 R-2 R-3"},
		{"waiting", &enrollmentv1.FindRequestsRequest{State: "waiting"}, "R-9 R-1"},
		{"promised", &enrollmentv1.FindRequestsRequest{State: "promised"}, "R-2"},
		{"withdrawn", &enrollmentv1.FindRequestsRequest{State: "withdrawn"}, "R-3"},
		{"by code", &enrollmentv1.FindRequestsRequest{Find: " r-9 "}, "R-9"},
		{"by dog", &enrollmentv1.FindRequestsRequest{Find: "zed"}, "R-9"},
		{"by owner, two words", &enrollmentv1.FindRequestsRequest{Find: "SNEED ada"}, "R-9"},
		{"what looks like a pattern is none", &enrollmentv1.FindRequestsRequest{Find: "%"}, "R-9"},
		{"nor is this", &enrollmentv1.FindRequestsRequest{Find: "_"}, "R-9"},
		{"nor is this one", &enrollmentv1.FindRequestsRequest{Find: `\`}, ""},
		{"by digits of the telephone", &enrollmentv1.FindRequestsRequest{Find: "550177"}, "R-9"},
		{"by digits of the telephone, written otherwise", &enrollmentv1.FindRequestsRequest{Find: "555 0177"}, "R-9"},
		{"three digits are too few for a telephone", &enrollmentv1.FindRequestsRequest{Find: "177"}, ""},
		{"every word must be found", &enrollmentv1.FindRequestsRequest{Find: "zed lowe"}, ""},
		{"by site", &enrollmentv1.FindRequestsRequest{SiteCode: "LAKE", Find: "r-9"}, "R-9"},
		{"by another site", &enrollmentv1.FindRequestsRequest{SiteCode: "HILL", Find: "r-9"}, ""},
		{"a page", &enrollmentv1.FindRequestsRequest{Limit: 2, Offset: 1}, "R-1 R-2"},
		{"behind the last", &enrollmentv1.FindRequestsRequest{Offset: 100}, ""},
	} {
		got, err := s.server().FindRequests(t.Context(), tt.ask)
		require.NoError(t, err, tt.name)
		var codes []string
		for _, r := range got.GetRequests() {
			codes = append(codes, r.GetRequest().GetCode())
		}
		require.Equal(t, tt.want, strings.Join(codes, " "), tt.name)
		if tt.ask.GetLimit() == 0 && tt.ask.GetOffset() == 0 {
			require.Equal(t, len(codes), int(got.GetMatching()), tt.name)
		}
	}
	got, err := s.server().FindRequests(t.Context(), &enrollmentv1.FindRequestsRequest{Limit: 1})
	require.NoError(t, err)
	require.Equal(t, []int32{4, 2, 1, 1}, []int32{got.GetMatching(), got.GetWaiting(), got.GetPromised(), got.GetWithdrawn()})
	first := got.GetRequests()[0]
	require.Equal(t, "Ada <b>O'Sneed% _", first.GetOwnerName())
	require.Equal(t, int32(62), first.GetWaitingDays(), "from 2026-12-01 to 2027-02-01")
	require.Equal(t, "LAKE", first.GetRequest().GetSites()[0].GetSiteCode())
	_, err = s.server().FindRequests(t.Context(), &enrollmentv1.FindRequestsRequest{SiteCode: "MOON"})
	require.ErrorIs(t, err, apperr.Invalid)
}

func TestReadDog(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	s.mustPut(t, KindFeeding, "dog,note", "BO,no chicken")
	s.mustPut(t, KindBites, "dog,day,level,note", "BO,2026-08-08,2,a visitor")
	s.mustPut(t, KindApart, "dog,other,reason", "KIM,BO,fought at the gate")
	got, err := s.server().ReadDog(t.Context(), &enrollmentv1.ReadDogRequest{DogCode: "BO"})
	require.NoError(t, err)
	require.Equal(t, []string{"BO", "Bo", "female"}, []string{got.GetCode(), got.GetName(), got.GetSex()})
	require.NotEmpty(t, got.GetOwner().GetName())
	require.Equal(t, "Low Mill Practice", got.GetVet().GetName())
	require.Equal(t, []string{"08:00", "20:30"}, got.GetMedicines()[0].GetTimes())
	require.Equal(t, "no chicken", got.GetFeeding())
	require.Equal(t, "2", got.GetBites()[0].GetLevel())
	require.Equal(t, []string{"KIM", "fought at the gate"}, []string{got.GetApart()[0].GetDogCode(), got.GetApart()[0].GetReason()})
	require.Equal(t, "R-1", got.GetRequests()[0].GetCode())
	require.NotEmpty(t, got.GetWorkload().GetCareClass())
	for _, v := range got.GetVaccinations() {
		if v.GetVaccine() == "rabies" && v.GetGiven() == "2026-09-20" {
			require.Equal(t, "2029-09-20", v.GetLabelUntil(), "three years on the label")
		}
	}
	require.NotEmpty(t, got.GetVaccinations())
	_, err = s.server().ReadDog(t.Context(), &enrollmentv1.ReadDogRequest{DogCode: "NOBODY"})
	require.ErrorIs(t, err, apperr.NotFound)
}

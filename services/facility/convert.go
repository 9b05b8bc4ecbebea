package facility

import (
	"github.com/longlead/longlead/services/ids"

	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
)

func sitesToProto(sites []Site, runs []Run) *facilityv1.ListSitesResponse {
	count := map[ids.SiteID]int32{}
	for _, r := range runs {
		count[r.SiteID]++
	}
	out := &facilityv1.ListSitesResponse{}
	for _, s := range sites {
		out.Sites = append(out.Sites, &facilityv1.Site{
			Id: s.ID.String(), Code: s.Code, Name: s.Name, Zone: s.Zone, RabiesWaitingDays: int32(s.RabiesWaitingDays),
			RequiredVaccines: s.RequiredVaccines, FloorPercent: int32(s.FloorPercent), CleanDownDays: int32(s.CleanDownDays),
			Runs: count[s.ID], HeatClosedF: int32(s.HeatClosedF), HeatSensitiveF: int32(s.HeatSensitiveF),
		})
	}
	return out
}

func runsToProto(runs []Run) *facilityv1.ListRunsResponse {
	out := &facilityv1.ListRunsResponse{}
	for _, r := range runs {
		out.Runs = append(out.Runs, &facilityv1.Run{
			Id: r.ID.String(), Code: r.Code, Row: r.Row, Class: string(r.Class()), LengthMm: int32(r.LengthMM),
			WidthMm: int32(r.WidthMM), HeightMm: int32(r.HeightMM), Isolation: r.Isolation, Closures: closuresToProto(r.Closures),
		})
	}
	return out
}

func closuresToProto(closures []Closure) []*facilityv1.Closure {
	var out []*facilityv1.Closure
	for _, c := range closures {
		out = append(out, &facilityv1.Closure{Id: c.ID.String(), FirstDay: c.Days.From.String(),
			LastDay: c.Days.To.AddDays(-1).String(), Reason: c.Reason})
	}
	return out
}

func placesToProto(days []DayPlaces) *facilityv1.ListPlacesResponse {
	out := &facilityv1.ListPlacesResponse{}
	for _, d := range days {
		out.Days = append(out.Days, dayToProto(d))
	}
	return out
}

func dayToProto(d DayPlaces) *facilityv1.DayPlaces {
	return &facilityv1.DayPlaces{Day: d.Day.String(), Intake: int32(d.Intake), Handover: int32(d.Handover), Note: d.Note}
}

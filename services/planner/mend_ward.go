package planner

import (
	"context"
	"slices"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// ward is how things stand at a site on a day: who is isolated, who is watched, and which intake holds run.
type ward struct {
	isolated []Isolation
	watched  []Watch
	holds    []IntakeHold
	// because are the requests of the dogs that holds run for.
	because map[ids.IsolationID]ids.RequestID
	stays   map[ids.RequestID]Stay
	names   names
}

// readWard reads how things stand inside a transaction of the caller, which must be one snapshot.
func readWard(ctx context.Context, tx postgres.Tx, site facility.Site, day calendar.Date) (ward, error) {
	w := ward{because: map[ids.IsolationID]ids.RequestID{}, stays: map[ids.RequestID]Stay{}}
	all, err := listIsolations(ctx, tx, site.ID)
	if err != nil {
		return w, err
	}
	var requests []ids.RequestID
	for _, i := range all {
		w.because[i.ID] = i.RequestID
		requests = append(requests, i.RequestID)
	}
	if w.isolated, err = IsolatedOn(ctx, tx, site.ID, day); err != nil {
		return w, err
	}
	if w.watched, err = WatchedOn(ctx, tx, site.ID, day); err != nil {
		return w, err
	}
	for _, x := range w.watched {
		requests = append(requests, x.RequestID)
	}
	if w.holds, err = listHolds(ctx, tx, calendar.Span{From: day, To: day.AddDays(1)}); err != nil {
		return w, err
	}
	w.holds = slices.DeleteFunc(w.holds, func(h IntakeHold) bool { return h.SiteID != site.ID })
	stays, err := listLiveOf(ctx, tx, requests)
	if err != nil {
		return w, err
	}
	for _, s := range stays {
		w.stays[s.RequestID] = s
	}
	w.names, err = readNames(ctx, tx, requests)
	return w, err
}

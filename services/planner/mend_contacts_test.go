package planner

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

// TestSharedAreas: dogs in the same area on the same day are near each other; on another day or in another area they are not.
func TestSharedAreas(t *testing.T) {
	t.Parallel()
	tx := postgrestest.Tx(t)
	mint := ids.NewMint()
	site := facility.Site{ID: ids.SiteID(mint()), Code: "HILL"}
	_, err := tx.Exec(t.Context(), `insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days)
		values ($1, 'HILL', 'Hill', 'America/Denver', 28, '{}', 100, 1)`, site.ID)
	require.NoError(t, err)
	yard, hall := ids.AreaID(mint()), ids.AreaID(mint())
	for code, id := range map[string]ids.AreaID{"YARD": yard, "HALL": hall} {
		_, err = tx.Exec(t.Context(), `insert into facility.area (id, site_id, code, kind, dogs_at_once) values ($1, $2, $3, 'yard', 2)`, id, site.ID, code)
		require.NoError(t, err)
	}
	ill, near, later, elsewhere := ids.DogID(mint()), ids.DogID(mint()), ids.DogID(mint()), ids.DogID(mint())
	day := calendar.MustDate("2027-03-04")
	window := calendar.Span{From: day.AddDays(-7), To: day.AddDays(1)}
	var asked calendar.Span
	list := func(_ context.Context, _ postgres.DB, of ids.SiteID, days calendar.Span) ([]AreaUse, error) {
		require.Equal(t, site.ID, of)
		asked = days
		return []AreaUse{{ill, yard, day}, {near, yard, day}, {later, yard, day.AddDays(1)}, {elsewhere, hall, day}, {ill, yard, day.AddDays(-1)}, {near, yard, day.AddDays(-1)}}, nil
	}
	m := &mending{stay: Stay{SiteID: site.ID}, c: enrollment.Case{Dog: enrollment.Dog{ID: ill}}}
	found := map[ids.DogID][]string{near: {"worked by T-2"}}
	require.NoError(t, m.addSharedAreas(t.Context(), tx, list, window, found))
	require.Equal(t, map[ids.DogID][]string{near: {"worked by T-2", "area YARD"}}, found)
	require.Equal(t, window, asked)
	require.NoError(t, m.addSharedAreas(t.Context(), tx, nil, window, found), "where no days are planned areas are left out")
}

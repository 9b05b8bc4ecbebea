package handover

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// listSettings returns the settings of the sites that have any.
func listSettings(ctx context.Context, db postgres.DB) ([]Setting, error) {
	return postgres.List[Setting](ctx, db, "list handover settings", `
		select site_id, area_id, gates, gate_minutes, minutes, lesson_minutes, first_start, last_end, move_hours, phone, place, who, bring, leave_home, note
		from handover.setting order by site_id`)
}

// settingRow is a setting on the way into the table: an absent area is NULL there and an empty text in JSON.
type settingRow struct {
	Setting
	Area *ids.AreaID `json:"area_id"`
}

// putSettings inserts settings, or updates those whose site is known.
func putSettings(ctx context.Context, tx postgres.Tx, all []Setting) error {
	rows := make([]settingRow, len(all))
	for i, s := range all {
		rows[i] = settingRow{Setting: s}
		if !s.AreaID.IsZero() {
			rows[i].Area = &s.AreaID
		}
	}
	_, err := tx.Exec(ctx, `
		insert into handover.setting (site_id, area_id, gates, gate_minutes, minutes, lesson_minutes, first_start, last_end, move_hours, phone, place, who, bring, leave_home, note)
		select site_id, area_id, array(select jsonb_array_elements_text(gates)), gate_minutes, minutes, lesson_minutes, first_start, last_end, move_hours, phone, place, who,
		  array(select jsonb_array_elements_text(bring)), array(select jsonb_array_elements_text(leave_home)), note
		from jsonb_to_recordset($1) as r(site_id uuid, area_id uuid, gates jsonb, gate_minutes int, minutes int, lesson_minutes int, first_start time, last_end time,
		  move_hours int, phone text, place text, who text, bring jsonb, leave_home jsonb, note text)
		on conflict on constraint setting_pkey do update set area_id = excluded.area_id, gates = excluded.gates, gate_minutes = excluded.gate_minutes,
		  minutes = excluded.minutes, lesson_minutes = excluded.lesson_minutes, first_start = excluded.first_start, last_end = excluded.last_end,
		  move_hours = excluded.move_hours, phone = excluded.phone, place = excluded.place, who = excluded.who, bring = excluded.bring,
		  leave_home = excluded.leave_home, note = excluded.note`, rows)
	if err != nil {
		return fmt.Errorf("put %d handover settings: %w", len(all), err)
	}
	return nil
}

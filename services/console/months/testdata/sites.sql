-- Sixty invented sites with forty runs and six trainers each.
insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days)
select gen_random_uuid(), 'S' || lpad(s::text, 2, '0'), 'Invented site number ' || s, 'America/Chicago', 28, '{rabies}', 200, 1 from generate_series(1, 60) s;
insert into facility.run (id, site_id, code, row_name, length_mm, width_mm, height_mm, isolation)
select gen_random_uuid(), s.id, 'A' || lpad(r::text, 2, '0'), 'A', (array[1200, 1500, 2400, 3000])[1 + r % 4], (array[900, 1200, 1200, 1800])[1 + r % 4], 2000, false
from facility.site s, generate_series(1, 40) r;
insert into roster.trainer (id, code, name, email, home_site_id, minutes_a_day, most_dogs, care_classes)
select gen_random_uuid(), s.code || 'T' || t, 'Trainer ' || t || ' of ' || s.code, s.code || t || '@example.com', s.id, 420, 8, '{open}' from facility.site s, generate_series(1, 6) t;
insert into enrollment.program (id, code, name, nights, sessions_a_day, session_minutes, least_age_months)
values (gen_random_uuid(), 'THREE', 'Three weeks', 21, 3, 20, 4);

"""What a load keeps of logs without a row: empty tables, for which no query need be planned or run.

A query over nothing takes as long as one over thousands of rows: nearly all of it goes into understanding the query.
"""

RESTS_ON: dict[str, str] = {
    "declared_steps": "procedures",
    "procedure_plan": "procedures",
    "order_rules": "procedures",
    "connector_ends": "procedures",
    "job_sequence": "jobs",
    "unclean_attempts": "steps, diagnostics",
    "lost_jobs": "steps or diagnostics or parts",
    "turn_records": "steps",
    "record_steps": "steps",
    "overlapping_jobs": "jobs",
    "links": "jobs",
    "unclean_tests": "diagnostics",
    "unclean_runs": "diagnostics",
    "job_logs": "jobs",
    "decided_values": "jobs, diagnostics",
    "mixed_checks": "steps or diagnostics",
    "returned_jobs": "jobs",
    "unit_courses": "jobs",
    "job_turns": "jobs or steps",
    "job_breaches": "jobs, steps, procedures",
    "failed_attempts": "steps",
    "comeback_counts": "jobs",
    "step_counts": "steps",
    "test_counts": "diagnostics",
    "clean_counts": "steps or diagnostics",
    "held_rows": "jobs or steps or diagnostics or parts",
    "value_counts": "diagnostics",
    "limit_days": "diagnostics",
    "station_readings": "jobs, diagnostics",
    "passed_values": "jobs, diagnostics",
    "given_costs": "jobs",
    "site_days": "jobs",
    "retired_jobs": "jobs, retirements",
    "possible_breaches": "procedures",
}
"""What a table needs rows of, or has none itself: of each of these, and of "a or b" of one of them."""

COLUMNS: dict[str, str] = {
    "declared_steps": "procedure VARCHAR, step VARCHAR, phase VARCHAR, opportunities BIGINT",
    "procedure_plan": (
        "procedure VARCHAR, step VARCHAR, phase VARCHAR, subsystems VARCHAR[], hazards VARCHAR[], opportunities "
        "BIGINT, hold_point BOOLEAN, irreversible BOOLEAN, must_follow VARCHAR, place BIGINT, counts BOOLEAN, aligns "
        "BOOLEAN, isolates BOOLEAN, reconnects BOOLEAN"
    ),
    "order_rules": (
        "procedure VARCHAR, kind VARCHAR, step VARCHAR, milestone VARCHAR, act VARCHAR, rule BIGINT, way INTEGER"
    ),
    "connector_ends": (
        "procedure VARCHAR, step VARCHAR, phase VARCHAR, subsystem VARCHAR, releases BIGINT, reseats BIGINT"
    ),
    "job_sequence": (
        "job_id VARCHAR, unit_id VARCHAR, model VARCHAR, site VARCHAR, procedure VARCHAR, technician VARCHAR, billing "
        "VARCHAR, disposition VARCHAR, complaint VARCHAR, found VARCHAR, opened_at TIMESTAMP, closed_at TIMESTAMP, "
        "closed_on DATE, next_job_id VARCHAR, next_opened_at TIMESTAMP, next_opened_on DATE, next_disposition "
        "VARCHAR, next_found VARCHAR"
    ),
    "unclean_attempts": (
        "job_id VARCHAR, step VARCHAR, attempt BIGINT, outcome VARCHAR, began_at TIMESTAMP, done_at TIMESTAMP"
    ),
    "lost_jobs": "job_id VARCHAR",
    "turn_records": "job_id VARCHAR, technician VARCHAR, bench VARCHAR, done_on DATE, record BIGINT",
    "record_steps": (
        "record BIGINT, procedure VARCHAR, step VARCHAR, phase VARCHAR, opportunities BIGINT, tool VARCHAR, outcome "
        "VARCHAR, attempt BIGINT, reworked BOOLEAN, up_to_failure BOOLEAN, attempts BIGINT, first_of_step BOOLEAN"
    ),
    "overlapping_jobs": (
        "unit_id VARCHAR, job_id VARCHAR, opened_at TIMESTAMP, closed_at TIMESTAMP, other_job_id VARCHAR"
    ),
    "links": (
        "job_id VARCHAR, unit_id VARCHAR, model VARCHAR, site VARCHAR, procedure VARCHAR, technician VARCHAR, billing "
        "VARCHAR, disposition VARCHAR, closed_on DATE, closed_month DATE, return_job_id VARCHAR, return_opened_on "
        "DATE, elapsed_days BIGINT, class VARCHAR"
    ),
    "unclean_tests": (
        "job_id VARCHAR, test VARCHAR, site VARCHAR, model VARCHAR, procedure VARCHAR, technician VARCHAR, billing "
        "VARCHAR, disposition VARCHAR, closed_on DATE, linked BOOLEAN, first_outcome VARCHAR, first_on DATE, "
        "first_station VARCHAR, further INTEGER, further_aborted INTEGER, last_outcome VARCHAR, last_at TIMESTAMP, "
        "failed BOOLEAN, failed_on DATE, failed_station VARCHAR, confirmed BOOLEAN, untimed BOOLEAN, caught BOOLEAN"
    ),
    "unclean_runs": (
        "job_id VARCHAR, test VARCHAR, run BIGINT, outcome VARCHAR, run_on DATE, station VARCHAR, site VARCHAR, model "
        "VARCHAR, procedure VARCHAR, technician VARCHAR, billing VARCHAR, fate VARCHAR, elsewhere BOOLEAN, paired "
        "BOOLEAN, unit VARCHAR, before_outcome VARCHAR, before_on DATE, before_station VARCHAR, apart DOUBLE"
    ),
    "job_logs": (
        "job_id VARCHAR, unit_id VARCHAR, site VARCHAR, model VARCHAR, procedure VARCHAR, technician VARCHAR, billing "
        "VARCHAR, disposition VARCHAR, opened_on DATE, closed_on DATE, closed_at TIMESTAMP, labour_minutes DOUBLE, "
        "logged BOOLEAN, seconds BIGINT, checks INTEGER, failed_checks INTEGER, checked_by VARCHAR, checked_in DATE, "
        "checks_mixed BOOLEAN, test_checks INTEGER, failed_tests INTEGER, tested_in DATE, tests_mixed BOOLEAN, tests "
        "VARCHAR, later_tests VARCHAR, failed BOOLEAN, aborted BOOLEAN, worked_until TIMESTAMP, early BOOLEAN, "
        "tested_from DATE, tested_to DATE, linked BOOLEAN, elapsed_days INTEGER, class VARCHAR, fault_found VARCHAR, "
        "fitted BOOLEAN, refitted BOOLEAN"
    ),
    "decided_values": (
        "job_id VARCHAR, test VARCHAR, unit VARCHAR, disposition VARCHAR, closed_on DATE, class VARCHAR, elapsed_days "
        "INTEGER, failed_first BOOLEAN, value DOUBLE, over BOOLEAN, under BOOLEAN, mended BOOLEAN, untimed BOOLEAN, "
        "covers BOOLEAN"
    ),
    "mixed_checks": (
        "log VARCHAR, job_id VARCHAR, site VARCHAR, model VARCHAR, procedure VARCHAR, technician VARCHAR, billing "
        "VARCHAR, month DATE, checks INTEGER, failed INTEGER"
    ),
    "returned_jobs": (
        "job_id VARCHAR, unit_id VARCHAR, return_job_id VARCHAR, site VARCHAR, model VARCHAR, procedure VARCHAR, "
        "technician VARCHAR, billing VARCHAR, disposition VARCHAR, closed_on DATE, class VARCHAR, elapsed_days "
        "BIGINT, return_opened_on DATE, repaired VARCHAR, back_site VARCHAR, back_complaint VARCHAR, back_found "
        "VARCHAR, back_closed_on DATE, back_minutes DOUBLE, back_parts DOUBLE, back_freight DOUBLE, own_minutes "
        "DOUBLE, own_parts DOUBLE, own_freight DOUBLE"
    ),
    "unit_courses": (
        "unit_id VARCHAR, disposition VARCHAR, site VARCHAR, model VARCHAR, procedure VARCHAR, technician VARCHAR, "
        "billing VARCHAR, first_on DATE, closings DATE[], returned_on DATE[]"
    ),
    "job_turns": (
        "job_id VARCHAR, turn BIGINT, turns BIGINT, record BIGINT, worked BOOLEAN, site VARCHAR, model VARCHAR, "
        "procedure VARCHAR, billing VARCHAR, technician VARCHAR, bench VARCHAR, tools VARCHAR, done_on DATE, day "
        "DATE, job_technician VARCHAR, disposition VARCHAR, closed_on DATE, linked BOOLEAN, elapsed_days BIGINT, "
        "class VARCHAR, return_found VARCHAR, settled_on DATE, judged BOOLEAN, first_bench VARCHAR, last_bench "
        "VARCHAR, lots VARCHAR"
    ),
    "job_breaches": (
        "job_id VARCHAR, kind VARCHAR, step VARCHAR, first_of_kind BOOLEAN, first_of_step BOOLEAN, first_of_job "
        "BOOLEAN, site VARCHAR, model VARCHAR, procedure VARCHAR, job_technician VARCHAR, billing VARCHAR, closed_on "
        "DATE, linked BOOLEAN, elapsed_days BIGINT, settled_on DATE, first_bench VARCHAR, last_bench VARCHAR"
    ),
    "failed_attempts": (
        "job_id VARCHAR, step_seq BIGINT, attempt BIGINT, step VARCHAR, bench VARCHAR, tool VARCHAR, fault VARCHAR, "
        "site VARCHAR, model VARCHAR, procedure VARCHAR, billing VARCHAR, technician VARCHAR, day DATE, phase "
        "VARCHAR, way VARCHAR, to_step VARCHAR"
    ),
    "comeback_counts": (
        "closed_on DATE, elapsed_days BIGINT, class VARCHAR, disposition VARCHAR, site VARCHAR, model VARCHAR, "
        "procedure VARCHAR, technician VARCHAR, billing VARCHAR, jobs BIGINT"
    ),
    "step_counts": (
        "month DATE, site VARCHAR, model VARCHAR, procedure VARCHAR, billing VARCHAR, technician VARCHAR, step "
        "VARCHAR, exposures BIGINT, passed BIGINT, failed BIGINT, done BIGINT, skipped BIGINT"
    ),
    "test_counts": (
        "month DATE, site VARCHAR, model VARCHAR, procedure VARCHAR, billing VARCHAR, technician VARCHAR, station "
        "VARCHAR, test VARCHAR, exposures BIGINT, passed BIGINT, failed BIGINT, aborted BIGINT"
    ),
    "clean_counts": (
        "month DATE, site VARCHAR, model VARCHAR, procedure VARCHAR, technician VARCHAR, billing VARCHAR, jobs "
        "BIGINT, clean BIGINT"
    ),
    "held_rows": "what VARCHAR, name VARCHAR, month DATE, rows BIGINT",
    "value_counts": (
        "day DATE, station VARCHAR, test VARCHAR, unit VARCHAR, lower_limit DOUBLE, upper_limit DOUBLE, value DOUBLE, "
        "first BIGINT, every BIGINT"
    ),
    "limit_days": "run_on DATE, test VARCHAR, unit VARCHAR, lower_limit DOUBLE, upper_limit DOUBLE, runs BIGINT",
    "station_readings": (
        "month DATE, station VARCHAR, model VARCHAR, procedure VARCHAR, test VARCHAR, unit VARCHAR, value DOUBLE, "
        "readings BIGINT"
    ),
    "passed_values": (
        "whole_month BOOLEAN, closed_on DATE, disposition VARCHAR, test VARCHAR, unit VARCHAR, value DOUBLE, jobs "
        "BIGINT"
    ),
    "given_costs": "site VARCHAR, minutes BIGINT, parts BIGINT, freight BIGINT",
    "site_days": (
        "site VARCHAR, closed_on DATE, jobs BIGINT, logged BIGINT, touched BIGINT, tested BIGINT, returned BIGINT, "
        "found BIGINT"
    ),
    "retired_jobs": (
        "job_id VARCHAR, disposition VARCHAR, closed_on DATE, elapsed_days BIGINT, class VARCHAR, site VARCHAR, model "
        "VARCHAR, procedure VARCHAR, technician VARCHAR, billing VARCHAR, retired_on DATE"
    ),
    "possible_breaches": "procedure VARCHAR, kind VARCHAR, step VARCHAR",
}
"""Their columns, with types, as the queries give them."""


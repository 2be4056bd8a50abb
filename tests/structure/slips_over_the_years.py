"""Slips of time and duty, of records, files and people, and of judging; the tests that catch them.

As `slips_at_the_bench.py`, and what nothing here can catch.
"""

# Part: slip: tests, as module under tests/ and function.
SLIPS: dict[str, dict[str, tuple[str, ...]]] = {
    "time, duty and standing": {
        "a missed window vanishes with the next test": (
            "itm/schedule/test_chains.py::"
            "test_a_window_missed_stays_visible_after_the_next_is_done",
        ),
        "done too early to please a budget": (
            "itm/schedule/test_chains.py::test_a_duty_done_too_early_stays_open",
        ),
        "the due date creeps inside its windows": (
            "itm/web/test_duties.py::test_a_due_date_that_wanders_inside_its_windows_is_shown",
        ),
        "the server's date for the site's": (
            "itm/schedule/test_clocks.py::test_new_years_eve_at_the_site_is_not_the_servers",
        ),
        "a phone's clock is wrong": (
            "doors/test_entries.py::test_a_wrong_clock_is_kept_and_never_corrected",
        ),
        "a ship judged by the windows of the land": (
            "itm/schedule/test_due.py::"
            "test_without_room_the_duty_is_overdue_the_day_after_its_interval",
        ),
        "a failure stays open for years, or closes without a record": (
            "itm/schedule/test_due.py::"
            "test_law_a_retest_is_open_exactly_while_the_latest_result_does_not_prove",
        ),
        "only the pass after the repair is kept": (
            "itm/trends/test_queries.py::test_as_left_stands_apart_and_its_adjustment_is_an_event",
        ),
        "a valve is left shut after the test": (
            "itm/actions/test_main_job.py::"
            "test_nothing_is_handed_in_while_a_restoration_line_is_open",
        ),
        "an impairment closed by the office, or told to nobody": (
            "itm/records/test_services_discharge.py::"
            "test_line_left_out_says_why_and_to_whom_and_keeps_the_impairment_open",
        ),
        "old verdicts change with a new edition": (
            "itm/records/test_services.py::test_band_and_rule_are_frozen_at_prepare",
        ),
        "a 1 % proportioner tested as 3 % after a change of concentrate": (
            "itm/web/test_remarks.py::test_tank_of_another_nominal_percent_stops_at_prepare",
        ),
    },
    "records, files and people": {
        "a reading noted with two digits changed over": (
            "itm/intake/test_doubts.py::"
            "test_standard_whose_swapped_digits_lie_on_the_line_is_suggested",
            "doors/test_photos.py::test_a_photo_hangs_on_its_reading_and_stands_in_the_day",
        ),
        "a decimal comma read as something else": (
            "itm/intake/tables/test_slips.py::test_decimal_comma_is_found_and_shown",
            "itm/intake/tables/test_slips.py::test_a_comma_that_could_part_thousands_is_asked",
            "itm/intake/tables/test_slips.py::"
            "test_both_signs_in_one_file_are_refused_with_the_cells_named",
            "itm/intake/tables/test_slips.py::test_range_settles_what_the_digits_leave_open",
        ),
        "a day whose month could be its day": (
            "itm/intake/tables/test_slips.py::test_day_or_month_first_is_asked_and_shown_in_words",
            "itm/intake/tables/test_slips.py::test_another_day_of_the_file_settles_the_order",
            "itm/intake/tables/test_slips.py::test_both_orders_in_one_file_are_refused",
        ),
        "a spreadsheet that spoils a lot number": (
            "itm/intake/tables/test_slips.py::"
            "test_lost_zeros_are_asked_about_and_the_known_lot_is_offered",
            "itm/intake/tables/test_slips.py::"
            "test_a_name_that_became_a_power_of_ten_is_offered_back",
            "itm/intake/tables/test_slips.py::test_a_name_that_became_a_day_is_offered_back",
            "itm/intake/tables/test_slips.py::test_names_keep_their_zeros_in_text",
            "itm/intake/tables/test_slips.py::"
            "test_a_damaged_name_is_told_where_no_name_is_known_yet",
        ),
        "the same file twice, or under another name": (
            "itm/actions/test_import_history.py::test_the_same_file_again_is_the_same_import",
            "itm/actions/test_import_history.py::"
            "test_the_same_content_written_otherwise_is_recognised",
            "itm/actions/test_import_history.py::test_another_figure_for_the_same_test_is_told",
            "doors/test_entries.py::test_a_day_sent_ten_times_is_one_day",
        ),
        "an empty cell taken for zero": (
            "itm/intake/tables/test_slips.py::test_empty_is_missing_and_zero_is_a_number",
            "itm/intake/tables/test_slips.py::test_not_available_is_asked_about",
        ),
        "a result booked to the neighbouring system": (
            "itm/records/test_circumstances.py::"
            "test_concentrate_that_reads_as_another_systems_is_named",
            "doors/test_blank_sheets.py::test_a_code_opens_the_row_of_its_bottle_and_nobody_elses",
        ),
        "readings made up at a desk": (
            "itm/records/test_circumstances.py::"
            "test_the_same_readings_as_in_an_earlier_test_are_a_fact_of_the_record",
            "itm/web/test_entry_pattern.py::"
            "test_pace_digits_and_arrival_are_shown_to_who_signs_and_not_to_the_crew_at_work",
        ),
        "a record signed under a licence that had ended": (
            "itm/records/test_circumstances.py::"
            "test_a_licence_that_ended_before_the_day_of_the_work_stands_among_the_warnings",
            "itm/web/test_entry_pattern.py::"
            "test_qualification_is_said_by_the_person_and_fills_in_the_signature",
        ),
        "a contractor who takes the records along": (
            "itm/web/test_bulk.py::test_reassigning_is_previewed_and_then_done_for_all",
        ),
        "two people at one draft, one of whom loses": (
            "doors/test_two_phones.py::"
            "test_the_same_field_twice_is_crossed_and_says_who_wrote_what",
            "itm/web/test_entry_pattern.py::"
            "test_conditions_of_the_bench_are_said_on_its_page_and_a_crossed_one_is_asked",
        ),
        "a record changed after its signature": (
            "itm/actions/test_main_job.py::"
            "test_an_amendment_is_a_new_record_that_names_the_old_one",
            "itm/records/test_chain.py::test_a_change_past_all_guards_is_found_and_named",
        ),
        "a paper of the laboratory that is tied to no sample": (
            "itm/records/test_checking.py::"
            "test_sending_a_bottle_away_completes_nothing_and_hands_nothing_in",
            "itm/records/test_checking.py::"
            "test_a_report_names_its_laboratory_number_day_and_bottles",
            "itm/actions/test_import_values.py::"
            "test_a_laboratory_answers_for_two_tanks_in_one_table",
        ),
    },
    "judging": {
        "rich treated as harmless": (
            "calc/pitfalls/test_arithmetic.py::"
            "test_rich_inside_its_band_still_empties_the_tank_early",
        ),
        "water in place of foam without a baseline": (
            "calc/pitfalls/test_flow.py::"
            "test_water_in_place_of_foam_has_no_percent_without_a_baseline",
        ),
        "a change of lot, meter or device read as drift": (
            "calc/test_trend.py::test_new_lot_is_a_step_and_no_drift",
        ),
        "four rising results called a trend": (
            "calc/test_trend.py::test_four_rising_results_are_no_trend",
        ),
        "a torn bladder": (
            "calc/pitfalls/test_mixtures.py::"
            "test_shell_water_of_a_torn_bladder_holds_concentrate_by_its_index",
        ),
        "a refill with another liquid": (
            "calc/test_concentrate.py::test_another_liquid_moves_one_of_them_only",
        ),
        "foam discharged, and nobody counted it": (
            "itm/records/test_effluent.py::"
            "test_the_difference_is_said_and_goes_when_everything_is_noted",
        ),
        "tank volume taken for usable volume": (
            "calc/pitfalls/test_flow.py::test_concentrate_below_the_inlet_costs_minutes",
        ),
        "pass or fail without its uncertainty": (
            "calc/pitfalls/test_arithmetic.py::test_pass_alone_is_not_all_that_is_kept",
        ),
    },
}

# What nothing here can catch, and why.
OUT_OF_REACH: dict[str, str] = {
    "thick liquid tested in August, fire in January": "a site holds no cold limit, and a lot no "
    "viscosity over temperature; the temperatures of the day stand on the record",
}

"""Slips at the instrument, of samples, standards, flow and arithmetic; the tests that catch them.

Named in words; that they are met is common practice, no published source. Where a slip is worth a
number, the test says where that comes from.
"""

# Part: slip: tests, as module under tests/ and function.
SLIPS: dict[str, dict[str, tuple[str, ...]]] = {
    "reading the instrument": {
        "standards read in the warm van, samples cold from outside": (
            "calc/pitfalls/test_meter.py::"
            "test_one_degree_between_standards_and_sample_is_named_with_its_size",
            "calc/pitfalls/test_meter.py::test_one_degree_really_moves_the_answer_by_that_much",
            "calc/pitfalls/test_meter.py::test_warm_van_and_cold_samples_settle_nothing",
            "calc/pitfalls/test_meter.py::"
            "test_correction_to_one_temperature_gives_the_percent_back",
            "itm/intake/test_doubts.py::test_bottle_from_one_degree_apart_is_asked_about",
        ),
        "faith in a compensation that follows sugar or water, and only inside its range": (
            "calc/pitfalls/test_meter.py::"
            "test_compensating_meter_is_asked_for_temperatures_all_the_same",
            "calc/pitfalls/test_meter.py::test_compensating_meter_is_never_corrected_a_second_time",
            "calc/test_readings.py::test_compensation_for_sugar_is_not_compensation_for_foam",
            "itm/records/test_circumstances.py::"
            "test_readings_beyond_the_range_of_compensation_are_named",
            "itm/intake/test_doubts.py::"
            "test_temperature_beyond_the_range_of_compensation_is_asked_about",
        ),
        "four decimals where the band is narrower than the steps": (
            "calc/pitfalls/test_meter.py::test_step_of_a_four_decimal_meter_is_named_with_its_size",
            "calc/pitfalls/test_meter.py::test_step_of_a_five_decimal_meter_is_small_enough",
            "calc/pitfalls/test_meter.py::"
            "test_interval_by_four_decimals_is_never_below_the_rounding_of_the_sample_alone",
            "calc/pitfalls/test_meter.py::test_one_percent_system_is_out_of_reach_of_four_decimals",
            "itm/web/test_visits.py::test_prepare_says_what_each_instrument_can_settle",
        ),
        "an analogue line read to the nearest mark": (
            "itm/web/test_entry_pattern.py::"
            "test_last_digits_of_an_instrument_are_counted_by_person_over_its_benches",
            "itm/records/test_scale_with_marks.py::"
            "test_an_interpolated_digit_is_a_reading_and_one_beyond_it_is_none",
        ),
        "a bubble or foam on the prism": (
            "calc/pitfalls/test_meter.py::"
            "test_bubble_on_the_prism_is_seen_in_the_repeats_which_are_all_kept",
            "itm/intake/test_doubts.py::"
            "test_replicate_far_from_its_neighbours_is_asked_about_and_its_swap_suggested",
        ),
        "a prism not washed after the undiluted concentrate": (
            "calc/pitfalls/test_meter.py::"
            "test_prism_not_washed_after_the_concentrate_shows_in_the_first_drop",
            "itm/intake/test_doubts.py::"
            "test_reading_right_after_the_concentrate_is_told_to_wash_the_prism",
            "itm/records/test_circumstances.py::"
            "test_first_reading_after_the_concentrate_stays_named_until_it_is_set_aside",
        ),
        "the zero set with another water, and the test water never read": (
            "calc/pitfalls/test_meter.py::test_water_of_the_test_must_be_read",
            "calc/pitfalls/test_meter.py::"
            "test_zero_set_with_other_water_moves_nothing_when_the_test_water_is_read",
            "itm/actions/test_main_job.py::test_an_untouched_draft_says_everything_that_is_missing",
        ),
        "an instrument whose certificate ran out before the reading": (
            "itm/web/test_remarks.py::test_instrument_out_of_date_is_flagged_and_never_refused",
            "itm/records/test_circumstances.py::"
            "test_an_owner_may_refuse_results_of_an_instrument_out_of_date",
        ),
        "a meter that switched its range between two bottles": (
            "calc/pitfalls/test_meter.py::"
            "test_reading_in_another_range_is_flagged_and_never_converted",
            "itm/intake/test_doubts.py::"
            "test_thousandfold_beside_its_neighbours_is_asked_about_never_converted",
        ),
        "compensation on for the standards and off for the samples": (
            "itm/records/test_circumstances.py::"
            "test_two_settings_of_compensation_leave_no_verdict_until_that_is_resolved",
            "itm/records/test_circumstances.py::"
            "test_the_setting_of_the_meter_is_asked_of_the_bench_and_goes_to_the_engine",
        ),
        "conductivity in sea or brackish water": (
            "calc/pitfalls/test_meter.py::"
            "test_conductivity_that_falls_in_the_sea_is_refused_with_the_way_out",
            "calc/pitfalls/test_meter.py::test_degree_in_brackish_water_is_worth_many_points",
            "calc/pitfalls/test_meter.py::test_part_of_a_degree_in_brackish_water_is_warned_of_too",
            "calc/pitfalls/test_meter.py::"
            "test_signal_below_the_steps_of_a_salty_background_is_called_coarse",
        ),
        "a concentrate that hardly changes the property": (
            "calc/pitfalls/test_meter.py::"
            "test_concentrate_that_hardly_changes_the_index_cannot_be_judged",
            "calc/pitfalls/test_meter.py::test_property_that_does_not_change_at_all_is_refused",
        ),
        "Brix in the column of the index, or the index in that of Brix": (
            "calc/pitfalls/test_meter.py::test_brix_in_the_column_of_the_index_is_asked_about",
            "calc/pitfalls/test_meter.py::"
            "test_index_in_the_column_of_brix_is_asked_about_and_never_converted",
            "itm/intake/test_check.py::"
            "test_what_cannot_be_a_reading_is_refused_with_what_would_be_right",
        ),
    },
    "samples and standards": {
        "a sample taken before the mixture settled": (
            "calc/pitfalls/test_mixtures.py::"
            "test_sample_taken_before_the_mixture_settled_is_not_averaged_in_silence",
            "itm/records/test_circumstances.py::"
            "test_a_sample_caught_before_the_mixture_settled_stays_named",
        ),
        "one sample only": (
            "calc/pitfalls/test_mixtures.py::test_one_bottle_alone_leaves_more_open_than_three",
            "itm/records/test_circumstances.py::"
            "test_how_many_samples_are_wanted_is_data_of_the_programmes",
        ),
        "a bottle rinsed with water and left wet": (
            "calc/pitfalls/test_mixtures.py::"
            "test_what_happens_in_the_bottle_no_reading_shows_so_it_must_be_asked",
            "itm/records/test_circumstances.py::"
            "test_bottles_that_were_left_wet_are_named_with_what_that_is_worth",
        ),
        "a sample left open, or read a week later": (
            "calc/pitfalls/test_mixtures.py::"
            "test_what_happens_in_the_bottle_no_reading_shows_so_it_must_be_asked",
            "itm/records/test_circumstances.py::"
            "test_samples_left_open_are_named_with_what_that_is_worth",
            "itm/records/test_circumstances.py::"
            "test_a_sample_read_a_week_later_is_named_with_its_age",
        ),
        "standards from a drum of another lot than the tank holds": (
            "calc/pitfalls/test_mixtures.py::"
            "test_drum_in_the_store_and_diluted_tank_are_told_apart",
            "calc/pitfalls/test_mixtures.py::"
            "test_answer_that_hangs_on_which_concentrate_is_right_is_undecided",
            "itm/web/test_remarks.py::test_standards_from_a_lot_that_is_gone_are_remarked_upon",
        ),
        "water of the standards from the tap, water of the test from a pond": (
            "calc/pitfalls/test_meter.py::"
            "test_gram_of_salt_between_two_waters_is_worth_more_than_half_the_band",
            "calc/pitfalls/test_meter.py::"
            "test_pond_read_as_water_of_tap_standards_leaves_the_answer_open",
            "calc/pitfalls/test_meter.py::"
            "test_pond_beside_the_tap_of_the_standards_is_named_with_its_size",
            "itm/records/test_circumstances.py::"
            "test_two_sources_of_water_are_named_until_both_waters_are_read",
        ),
        "concentrate added to a full batch instead of made up to it": (
            "calc/pitfalls/test_mixtures.py::"
            "test_three_added_to_a_hundred_read_three_percent_too_rich_and_are_warned_of",
            "calc/pitfalls/test_mixtures.py::"
            "test_three_added_to_a_hundred_do_no_harm_when_volumes_as_made_are_given",
            "itm/web/test_bench.py::test_concentrate_added_to_a_full_batch_is_asked_about",
        ),
        "a recipe by mass called percent by volume": (
            "calc/pitfalls/test_mixtures.py::test_three_grams_called_three_percent_are_warned_of",
            "calc/test_standards.py::test_mass_without_density_is_refused",
            "itm/records/test_circumstances.py::"
            "test_a_mass_is_refused_as_a_volume_with_the_way_to_one",
            "itm/records/test_weighing.py::"
            "test_without_a_density_there_is_no_percent_by_volume_and_no_hand_in",
        ),
        "thick liquid left in the pipette": (
            "itm/web/test_weighed_bench.py::"
            "test_a_weighed_bench_says_percent_by_mass_until_it_has_the_density",
            "calc/pitfalls/test_mixtures.py::"
            "test_liquid_left_in_the_pipette_reads_lean_as_nominal_and_is_warned_of",
            "calc/pitfalls/test_mixtures.py::"
            "test_answer_that_hangs_on_which_concentrate_is_right_is_undecided",
            "itm/reports/test_statements.py::test_a_stronger_bottle_says_nothing_against_the_tank",
        ),
        "a standard that was not stirred": (
            "calc/pitfalls/test_mixtures.py::test_lumps_in_one_standard_show_in_its_own_repeats",
            "calc/pitfalls/test_mixtures.py::"
            "test_unstirred_standards_lie_off_the_line_by_more_than_their_repeats",
        ),
        "two standards changed over": (
            "calc/pitfalls/test_mixtures.py::test_swapped_standards_are_named_and_left_as_they_are",
        ),
        "a sample beyond the last standard": (
            "calc/pitfalls/test_mixtures.py::test_sample_beyond_the_last_standard_says_how_far",
            "calc/pitfalls/test_mixtures.py::"
            "test_recipe_brackets_the_band_so_that_no_answer_in_it_is_beyond",
        ),
        "a tank in layers, and only one end of it sampled": (
            "calc/pitfalls/test_mixtures.py::"
            "test_tank_topped_with_water_is_only_seen_where_both_ends_are_sampled",
            "itm/records/test_checking.py::"
            "test_top_and_bottom_apart_are_layers_unless_the_tank_was_circulated",
        ),
        "two lots mixed, and the baseline of one": (
            "calc/pitfalls/test_mixtures.py::test_two_lots_held_against_one_of_them_look_diluted",
            "itm/records/test_checking.py::test_the_baseline_of_several_lots_is_their_mixture",
            "itm/registry/test_contents.py::"
            "test_before_the_first_line_nothing_is_known_and_after_a_drain_it_is_empty",
        ),
    },
    "flow, level and arithmetic": {
        "a run at a trickle, below the listed range": (
            "itm/records/test_circumstances.py::"
            "test_a_run_below_the_listed_flow_stays_named_on_record_and_report",
        ),
        "a design flow typed as if it had been measured": (
            "itm/records/test_circumstances.py::"
            "test_a_flow_off_the_nameplate_stays_named_as_no_evidence",
        ),
        "two flow points averaged": (
            "calc/pitfalls/test_arithmetic.py::test_two_flow_points_are_never_averaged",
            "calc/pitfalls/test_flow.py::test_flow_points_stand_for_themselves_in_the_minutes_too",
        ),
        "percent of water instead of solution": (
            "calc/pitfalls/test_flow.py::test_percent_of_water_is_not_percent_of_solution",
        ),
        "a number in another unit than its writer thought": (
            "calc/pitfalls/test_flow.py::test_imperial_for_us_gallons_is_a_fifth_of_the_flow",
            "calc/pitfalls/test_flow.py::test_pressure_in_another_unit_is_a_flow_of_another_size",
            "calc/pitfalls/test_flow.py::"
            "test_bench_at_72_degrees_is_asked_whether_it_was_fahrenheit",
            "itm/records/test_services.py::test_air_temperature_in_fahrenheit_is_asked_about",
            "itm/intake/test_check.py::"
            "test_temperature_that_no_bench_has_is_refused_at_its_own_place",
        ),
        "a totaliser read as a rate, or 2:30 typed as 2.30": (
            "itm/core/test_durations.py::test_what_can_be_read_in_two_ways_is_asked",
            "itm/records/test_direct.py::test_a_totaliser_read_as_a_flow_is_asked_about",
            "doors/test_filled_sheet.py::"
            "test_slips_on_a_sheet_of_a_direct_test_come_back_with_their_text",
            "browser/test_field_direct.py::test_a_time_is_read_as_the_server_reads_it",
            "browser/test_field_direct_day.py::"
            "test_meters_are_read_by_kind_and_a_totaliser_counts_up",
        ),
        "a draw-down too short to be read": (
            "calc/pitfalls/test_flow.py::test_too_short_a_draw_down_is_seen_before_it_ends",
            "browser/test_field_direct.py::test_what_is_odd_is_asked_about_in_the_words_of_the_page",
        ),
        "rounding before the verdict": (
            "calc/pitfalls/test_arithmetic.py::test_verdict_comes_before_rounding",
            "itm/web/test_face.py::test_percent_never_contradicts_its_verdict",
        ),
        "a line through the origin, through two points, or by eye": (
            "calc/pitfalls/test_arithmetic.py::test_line_through_two_points_is_refused",
            "calc/pitfalls/test_arithmetic.py::"
            "test_line_has_its_own_intercept_and_is_that_of_an_independent_library",
        ),
        "the odd standard deleted to make the line nice": (
            "calc/pitfalls/test_arithmetic.py::test_line_through_two_points_is_refused",
            "calc/pitfalls/test_mixtures.py::"
            "test_slip_of_one_standard_is_named_and_stays_in_the_line",
            "itm/records/test_bench.py::test_setting_aside_without_a_reason_is_refused",
            "itm/web/test_results.py::test_set_aside_reading_is_struck_through_with_its_reason",
        ),
        "a temperature correction with the wrong sign": (
            "calc/pitfalls/test_meter.py::test_direction_of_the_correction_stands_in_words",
            "calc/pitfalls/test_meter.py::test_typed_readings_stay_raw_under_a_correction",
            "calc/test_readings.py::test_wrong_sign_would_double_the_error",
        ),
        "a line fitted the other way round from one year to the next": (
            "calc/pitfalls/test_arithmetic.py::test_percent_against_reading_would_be_another_line",
            "itm/web/test_imports.py::"
            "test_results_of_past_years_stand_in_the_trend_marked_as_reported",
        ),
    },
}

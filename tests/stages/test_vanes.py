"""Stage Inlet guide vanes: is the closed proof to be trusted, and what it says when it is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from startkit.procedure import payload
from startkit.science.closed_proof import failure_bound
from startkit.stages.vanes import STAGE
from startkit.units import Q
from startkit.verdict import Outcome
from tests.stages.strokes import block, enter, made, put_recorder
from workbook.stroke_model import VaneDrive


@pytest.fixture
def job(make_job, put):
    """A job with strokes of a drive, seen by eye."""

    def make(strokes=None, seen=True, sheet=None, system="SI"):
        created = make_job(
            {
                "limits": {
                    "vanes.closing_time": {"low": "-10 %", "high": "10 %", "source": "data sheet 3"}
                },
                **(sheet or {}),
            },
            system,
            stages={"vanes": STAGE},
        )
        strokes = (
            made(drive=VaneDrive(opening_time=40, closing_time=40)) if strokes is None else strokes
        )
        enter(created, put, strokes)
        put(created, "vanes.trace", block(strokes), instrument=put_recorder(put, created))
        if seen:
            put(created, "vanes.closed_seen", "yes")
            put(created, "vanes.open_seen", "yes")
        return created

    return make


def by_key(assess, job):
    return {v.key: v for v in assess(job).findings("vanes").verdicts}


def test_a_sound_drive_with_enough_strokes_may_be_trusted(job, assess):
    found = by_key(assess, job())
    assert {k: v.outcome for k, v in found.items() if v.outcome is not Outcome.PASS} == {}
    assert "only with the vanes on their stop" in found["vanes.closed_proof"].sentence


def test_nothing_entered_is_open_and_never_a_pass(make_job, assess):
    found = by_key(assess, make_job(stages={"vanes": STAGE}))
    assert {v.outcome for v in found.values()} == {Outcome.OPEN}


def test_three_good_closings_prove_little_and_the_stage_says_how_many_more(job, assess):
    strokes = made(pairs=3, drive=VaneDrive(opening_time=40, closing_time=40))
    found = by_key(assess, job(strokes))
    miss = found["vanes.switch_misses"]
    closings = sum(s.direction == "closing" for s in strokes)
    assert miss.outcome is Outcome.UNPROVEN and "too few" in miss.sentence
    assert miss.next_step == f"Make {10 - closings} more closings without a miss."
    assert found["vanes.closed_proof"].outcome is Outcome.UNPROVEN


def test_the_bound_printed_is_the_binomial_one(job, assess):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40))
    closings = sum(s.direction == "closing" for s in strokes)
    reading = by_key(assess, job(strokes))["vanes.switch_misses"].reading
    assert reading.to("dimensionless").magnitude == pytest.approx(
        failure_bound(0, closings).magnitude
    )


@pytest.mark.parametrize(
    ("at", "outcome"), [(2.0, Outcome.PASS), (4.0, Outcome.UNPROVEN), (7.0, Outcome.FAIL)]
)
def test_the_make_position_under_at_and_over_its_limit(job, assess, at, outcome):
    strokes = made(
        drive=VaneDrive(opening_time=40, closing_time=40, make=at / 100, switch_scatter=0.001)
    )
    assert by_key(assess, job(strokes))["vanes.switch_distance"].outcome is outcome


def test_a_switch_that_makes_far_out_keeps_the_shaft_from_turning(job, assess):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40, make=0.12))
    found = by_key(assess, job(strokes))
    assert found["vanes.switch_distance"].outcome is Outcome.FAIL
    assert found["vanes.closed_proof"].outcome is Outcome.FAIL
    assert not assess(job(strokes)).hold("turn_shaft").is_clear


def test_a_missed_make_fails_and_names_its_strokes(job, assess):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40, switch_failure=0.4), seed=5)
    missed = [n for n, s in enumerate(strokes, 1) if s.direction == "closing" and not s.switch[-1]]
    found = by_key(assess, job(strokes))["vanes.switch_misses"]
    assert missed and found.outcome is Outcome.FAIL
    assert all(str(n) in found.sentence for n in missed[:6])


def test_a_drive_that_finishes_on_its_timer_without_arriving_is_found(job, assess):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40, load_closed=1.2))
    found = by_key(assess, job(strokes))["vanes.arrived"]
    assert found.outcome is Outcome.FAIL and "its timer" in found.sentence


def test_strokes_before_an_adjustment_stay_on_the_record_and_do_not_count(job, put, assess):
    bad, good = (
        made(drive=VaneDrive(opening_time=40, closing_time=40, make=0.12), pairs=3),
        made(drive=VaneDrive(opening_time=40, closing_time=40)),
    )
    created = job([*bad, *good], seen=False)
    put(created, "vanes.adjustments.1.after_stroke", len(bad))
    put(created, "vanes.adjustments.1.item", "cam of the switch")
    put(created, "vanes.closed_seen", "yes")
    put(created, "vanes.open_seen", "yes")
    assert by_key(assess, created)["vanes.closed_proof"].outcome is Outcome.PASS
    part = payload.stage_part(assess(created), "vanes")
    table = next(t for t in part["tables"] if t["title"] == "Stroke by stroke")
    assert len(table["rows"]) == len(bad) + len(good)
    assert [row[2] for row in table["rows"]][: len(bad)] == ["no, adjusted since"] * len(bad)
    titles = [p.title for p in assess(created).findings("vanes").plots]
    assert (
        "Feedback over command, as found" in titles and "Feedback over command, as left" in titles
    )


def test_seen_by_eye_before_the_adjustment_no_longer_counts(job, put, assess):
    created = job()
    put(created, "vanes.adjustments.1.after_stroke", 0)
    put(created, "vanes.adjustments.1.item", "linkage")
    found = by_key(assess, created)
    assert (
        found["vanes.closed_seen"].outcome is Outcome.OPEN
        and "again" in found["vanes.closed_seen"].next_step
    )


@pytest.mark.parametrize(
    ("seconds", "outcome"),
    [(40, Outcome.PASS), (43, Outcome.PASS), (46, Outcome.FAIL), (33, Outcome.FAIL)],
)
def test_closing_time_against_the_sheets_own_tolerance(job, assess, seconds, outcome):
    strokes = made(
        drive=VaneDrive(
            opening_time=40, closing_time=seconds / 1.05, load_closed=0.05, load_open=0.05
        )
    )
    assert by_key(assess, job(strokes))["vanes.closing_time"].outcome is outcome


def cut(whole, after=1.0):
    """The stroke as a recorder has it that is stopped soon after the vanes have arrived."""
    end = 1.0 if whole.direction == "opening" else 0.0
    arrived = np.flatnonzero(np.abs(whole.feedback - end) < 0.03)[0]
    keep = whole.time <= whole.time[arrived] + after
    return replace(
        whole,
        time=whole.time[keep],
        command=whole.command[keep],
        feedback=whole.feedback[keep],
        switch=whole.switch[keep],
    )


def test_a_trace_that_ends_before_rest_is_unproven_and_an_end_read_by_hand_counts(job, put, assess):
    whole = made(drive=VaneDrive(opening_time=40, closing_time=40))
    created = job([cut(whole[0]), *whole[1:]])
    found = by_key(assess, created)["vanes.arrived"]
    assert found.outcome is Outcome.UNPROVEN and "before the vanes come to rest" in found.sentence
    put(created, "vanes.strokes.1.number", 1)
    put(created, "vanes.strokes.1.direction", whole[0].direction)
    end = "100" if whole[0].direction == "opening" else "0"
    put(created, "vanes.strokes.1.end_feedback", end, "%")
    assert by_key(assess, created)["vanes.arrived"].outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("typed", "outcome"),
    [("Opening", Outcome.PASS), ("OPENING", Outcome.PASS), ("up", Outcome.OPEN)],
)
def test_a_direction_that_cannot_be_read_does_not_judge_the_stroke(
    make_job, put, assess, typed, outcome
):
    created = make_job(stages={"vanes": STAGE})
    put(created, "vanes.strokes.1.number", 1)
    put(created, "vanes.strokes.1.direction", typed)
    put(created, "vanes.strokes.1.end_feedback", "100", "%")
    assert by_key(assess, created)["vanes.arrived"].outcome is outcome


def test_times_by_stopwatch_do_without_a_trace(make_job, put, assess):
    created = make_job(stages={"vanes": STAGE})
    for n in range(1, 5):
        put(created, f"vanes.strokes.{n}.number", n)
        put(created, f"vanes.strokes.{n}.direction", "closing" if n % 2 == 0 else "opening")
        put(created, f"vanes.strokes.{n}.travel_time", "41", "s")
        put(created, f"vanes.strokes.{n}.end_feedback", "0" if n % 2 == 0 else "100", "%")
        put(created, f"vanes.strokes.{n}.switch_at_end", "made" if n % 2 == 0 else "open")
    found = by_key(assess, created)
    assert found["vanes.closing_time"].outcome is Outcome.PASS
    assert found["vanes.arrived"].outcome is Outcome.PASS
    assert found["vanes.switch_distance"].outcome is Outcome.OPEN, (
        "where the switch makes cannot be known without a trace"
    )
    assert found["vanes.closed_proof"].outcome is not Outcome.PASS


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            lambda text: text.replace("\topen\n", "\thalf\n", 1),
            "'half'",
        ),
        (lambda text: text.replace("\t1.00\t", "\t0.00\t", 1), "time does not rise"),
        (lambda text: text.replace("\t100.00\t", "\t100 kPa\t", 1), "is not a unit of percent"),
        (lambda text: text.replace("\t100.00\t", "\t1,000\t", 1), "two ways"),
    ],
)
def test_bad_rows_are_one_sentence_and_the_other_strokes_still_count(
    make_job, put, assess, change, said
):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40))
    text = change(block(strokes))
    assert text != block(strokes)
    created = make_job(stages={"vanes": STAGE})
    enter(created, put, strokes)
    put(created, "vanes.trace", text)
    assessment = assess(created)
    told = [*assessment.findings("vanes").remarks, *assessment.stage_entries("vanes").problems()]
    assert any(said in sentence for sentence in told), told
    assert created.entries[-1].value == text, "nothing typed is lost"
    rows = next(
        t
        for t in payload.stage_part(assessment, "vanes")["tables"]
        if t["title"] == "Stroke by stroke"
    )["rows"]
    assert len(rows) == len(strokes)


def test_an_empty_block_is_no_stroke(make_job, put, assess):
    created = make_job(stages={"vanes": STAGE})
    put(created, "vanes.trace", "\n\n")
    assert by_key(assess, created)["vanes.arrived"].outcome is Outcome.OPEN


@pytest.mark.parametrize(
    ("feedback", "low", "high", "name", "unit"),
    [("volts", 2.0, 10.0, "trace_volts", "V"), ("ohms", 1000.0, 0.0, "trace_ohms", "ohm")],
)
def test_raw_volts_and_ohms_are_scaled_by_the_sheets_two_points(
    make_job, put, assess, feedback, low, high, name, unit
):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40))
    created = make_job(
        {"vanes.feedback": feedback, "vanes.feedback_closed": low, "vanes.feedback_open": high},
        stages={"vanes": STAGE},
    )
    enter(created, put, strokes)
    put(
        created,
        f"vanes.{name}",
        block(strokes, scale=lambda part: low + (high - low) * part, unit=unit),
    )
    found = by_key(assess, created)
    assert found["vanes.zero"].reading.to("percent").magnitude == pytest.approx(0, abs=0.5)
    assert found["vanes.open_end"].reading.to("percent").magnitude == pytest.approx(100, abs=0.5)


def test_a_machine_without_a_switch_is_never_trusted_by_itself(job, assess):
    found = by_key(assess, job(sheet={"vanes.switch": "none"}))
    assert found["vanes.closed_proof"].outcome is Outcome.UNPROVEN
    assert "vanes.switch_distance" not in found


def test_the_diagnosis_names_its_evidence(job, assess):
    part = payload.stage_part(assess(job(made("calibration lost"))), "vanes")
    table = next(t for t in part["tables"] if t["title"].startswith("What the pattern"))
    assert table["rows"][0][0] == "calibration lost" and "%" in table["rows"][0][1]


def test_an_instrument_out_of_calibration_does_not_pass(make_job, put, assess, verdict_of):
    from startkit.stages.setup import STAGE as SETUP

    created = make_job(stages={"setup": SETUP, "vanes": STAGE})
    for name, value in (
        ("tag", "SW-1"),
        ("kind", "time"),
        ("accuracy", "0.2 s"),
        ("due", "2020-01-01"),
    ):
        put(created, f"setup.instruments.1.{name}", value)
    put(created, "vanes.strokes.1.number", 1)
    put(created, "vanes.strokes.1.direction", "closing")
    put(created, "vanes.strokes.1.travel_time", "40", "s", instrument="SW-1")
    assert verdict_of(created, "vanes.closing_time").outcome is Outcome.UNPROVEN


# --- what cannot all be true ---------------------------------------------------------------------


def changed(job, put, **cells):
    """Cells of stroke 2, which closes, and the whole judged."""
    for column, (value, unit) in cells.items():
        put(job, f"vanes.strokes.2.{column}", value, unit)
    return job


@pytest.mark.parametrize(
    ("seen", "outcome"), [(4.9, Outcome.PASS), (5.1, Outcome.FAIL), (12, Outcome.FAIL)]
)
def test_a_position_seen_at_the_closed_end_is_part_of_the_closed_proof(
    job, put, assess, seen, outcome
):
    found = by_key(assess, changed(job(), put, seen_position=(seen, "%")))
    assert found["vanes.closed_seen"].outcome is outcome
    assert found["vanes.closed_proof"].outcome is outcome
    if outcome is Outcome.FAIL:
        assert "stroke 2" in found["vanes.closed_seen"].sentence


@pytest.mark.parametrize(("seen", "outcome"), [(90.1, Outcome.PASS), (89.9, Outcome.FAIL)])
def test_a_position_seen_at_the_open_end_is_held_against_the_answer(
    job, put, assess, seen, outcome
):
    created = job()
    put(created, "vanes.strokes.1.seen_position", seen, "%")
    found = by_key(assess, created)
    assert found["vanes.open_seen"].outcome is outcome
    assert found["vanes.closed_proof"].outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("column", "text", "unit", "agrees"),
    [
        ("switch_at_end", "made", "", True),
        ("switch_at_end", "open", "", False),
        ("end_feedback", "1.8", "%", True),
        ("end_feedback", "2.4", "%", False),
    ],
)
def test_what_the_table_says_of_a_stroke_is_held_against_its_trace(
    job, put, assess, column, text, unit, agrees
):
    found = by_key(assess, changed(job(), put, **{column: (text, unit)}))
    assert ("vanes.table_against_trace" not in found) is agrees
    assert (found["vanes.closed_proof"].outcome is Outcome.PASS) is agrees


def test_a_stopwatch_may_run_from_the_trace_s_end_of_travel_to_its_rest_and_three_seconds_more(
    job, put, assess
):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40))
    for seconds, agrees in ((39.3, True), (45.9, True), (39.1, False), (46.1, False)):
        found = by_key(assess, changed(job(strokes), put, travel_time=(seconds, "s")))
        assert ("vanes.table_against_trace" not in found) is agrees, seconds


def test_one_stroke_pasted_for_another_proves_one_stroke(job, assess):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40))
    copied = [replace(strokes[n % 2], number=n + 1) for n in range(len(strokes))]
    found = by_key(assess, job(copied))
    assert found["vanes.copied_strokes"].outcome is Outcome.FAIL
    assert found["vanes.closed_proof"].outcome is Outcome.FAIL


def test_strokes_timed_by_hand_scatter(make_job, put, assess):
    def typed(times):
        created = make_job(stages={"vanes": STAGE})
        for n, time in enumerate(times, 1):
            put(created, f"vanes.strokes.{n}.number", n)
            put(created, f"vanes.strokes.{n}.direction", "closing")
            put(created, f"vanes.strokes.{n}.travel_time", time, "s")
        return by_key(assess, created)

    assert "vanes.copied_strokes" in typed(["40.2"] * 5)
    assert "vanes.copied_strokes" not in typed(["40.2"] * 4 + ["40.3"])
    assert "vanes.copied_strokes" not in typed(["40"] * 5)


def test_a_stroke_that_begins_elsewhere_is_no_full_stroke(job, assess):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40))
    second = strokes[1]
    late = second.feedback < 0.6
    strokes[1] = replace(
        second,
        time=second.time[late],
        command=second.command[late],
        feedback=second.feedback[late],
        switch=second.switch[late],
        drive_finished=None,
    )
    found = by_key(assess, job(strokes))
    assert found["vanes.part_strokes"].outcome is Outcome.UNPROVEN
    assert "troke 2" in found["vanes.part_strokes"].sentence
    assert found["vanes.closed_proof"].outcome is Outcome.UNPROVEN


@pytest.mark.parametrize("seed", (4, 5))
def test_sound_strokes_contradict_nothing(job, assess, seed):
    strokes = made(drive=VaneDrive(opening_time=40, closing_time=40), seed=seed)
    found = by_key(assess, job(strokes))
    assert not {"vanes.copied_strokes", "vanes.table_against_trace", "vanes.part_strokes"} & set(
        found
    )
    assert found["vanes.closed_seen"].outcome is Outcome.PASS


def test_a_switch_made_at_the_open_end_proves_nothing(job, put, assess):
    created = job()
    put(created, "vanes.strokes.99.number", 99)
    put(created, "vanes.strokes.99.direction", "opening")
    put(created, "vanes.strokes.99.switch_at_end", "made")
    assert by_key(assess, created)["vanes.switch_chatter"].outcome is Outcome.FAIL


def test_a_trace_without_its_recorder_proves_no_number(job, put, assess):
    created = job()
    trace = next(entry for entry in created.entries if entry.what == "vanes.trace")
    created.entries[created.entries.index(trace)] = replace(trace, instrument="")
    zero = (
        assess(created).stage_entries("vanes").block("trace").reading("feedback", Q(0, "percent"))
    )
    assert zero.u is None


# --- without a recorder ---------------------------------------------------------------------------

MADE = (1.6, 1.8, 1.7, 1.9, 1.5)


@pytest.fixture
def by_hand(make_job, put):
    """Strokes by stopwatch, and the switch inched by hand."""

    def make(made=MADE, pairs=5, clean="yes", gap=1.2):
        created = make_job(stages={"vanes": STAGE})
        for n in range(1, 2 * pairs + 1):
            closing = n % 2 == 0
            put(created, f"vanes.strokes.{n}.number", n)
            put(created, f"vanes.strokes.{n}.direction", "closing" if closing else "opening")
            put(created, f"vanes.strokes.{n}.travel_time", f"{40 + n / 10:.1f}", "s")
            put(created, f"vanes.strokes.{n}.end_feedback", "0" if closing else "100", "%")
            put(created, f"vanes.strokes.{n}.switch_at_end", "made" if closing else "open")
            put(created, f"vanes.strokes.{n}.seen_position", "0" if closing else "100", "%")
        inch(created, put, made, clean, gap)
        put(created, "vanes.closed_seen", "yes")
        put(created, "vanes.open_seen", "yes")
        return created

    return make


def inch(created, put, made=MADE, clean="yes", gap=1.2, first=1):
    for n, at in enumerate(made, first):
        if at is not None:
            put(created, f"vanes.jogs.{n}.made", f"{at:.1f}", "%")
            put(created, f"vanes.jogs.{n}.broke", f"{at + gap:.1f}", "%")
        put(created, f"vanes.jogs.{n}.clean", clean)


def test_a_switch_inched_by_hand_shows_what_a_trace_would(by_hand, assess):
    found = by_key(assess, by_hand())
    assert found["vanes.switch_distance"].reading.magnitude == pytest.approx(1.7)
    assert found["vanes.switch_differential"].reading.magnitude == pytest.approx(1.2)
    spread = found["vanes.switch_spread"]
    # Standard deviation of five, and its own uncertainty by JCGM 100:2008 E.4.3.
    assert spread.reading.magnitude == pytest.approx(0.1581, abs=1e-4)
    assert spread.uncertainty.magnitude == pytest.approx(0.1581 / 8**0.5, abs=1e-4)
    assert found["vanes.switch_chatter"].outcome is Outcome.PASS


def test_closings_by_hand_count_beside_the_strokes(by_hand, assess):
    found = by_key(assess, by_hand())["vanes.switch_misses"]
    assert found.outcome is Outcome.PASS and "10 closings, 5 of them by hand" in found.sentence
    few = by_key(assess, by_hand(made=MADE[:2], pairs=3))["vanes.switch_misses"]
    assert few.outcome is Outcome.UNPROVEN
    assert few.reading.magnitude == pytest.approx(100 * failure_bound.si(0, 5, 0.95))
    assert "5 more" in few.next_step


def test_few_tries_are_judged_by_a_wider_band(by_hand, assess):
    # 0.7 % scatter: within 1 %, and twice its uncertainty still is only with enough tries.
    swing = (1.0, 2.4)
    outcomes = {
        n: by_key(assess, by_hand(made=(swing * n)[:n]))["vanes.switch_spread"].outcome
        for n in (1, 3, 20)
    }
    assert outcomes == {1: Outcome.OPEN, 3: Outcome.UNPROVEN, 20: Outcome.PASS}


@pytest.mark.parametrize(
    ("change", "key", "outcome"),
    [
        ({"made": (9.0, 9.1, 9.0, 9.2, 9.1)}, "vanes.switch_distance", Outcome.FAIL),
        ({"gap": 12.0}, "vanes.switch_differential", Outcome.FAIL),
        ({"made": (0.0, 8.0, 0.5, 8.5, 0.2)}, "vanes.switch_spread", Outcome.FAIL),
        ({"clean": "no"}, "vanes.switch_chatter", Outcome.FAIL),
        ({"clean": ""}, "vanes.switch_chatter", Outcome.OPEN),
        ({"made": (*MADE, None), "clean": "no"}, "vanes.switch_misses", Outcome.FAIL),
    ],
)
def test_a_switch_that_is_off_fails_by_hand_as_by_trace(by_hand, assess, change, key, outcome):
    created = by_hand(**change)
    assert by_key(assess, created)[key].outcome is outcome
    assert not assess(created).hold("turn_shaft").is_clear


def test_what_was_inched_before_an_adjustment_does_not_count(by_hand, put, assess):
    created = by_hand()
    put(created, "vanes.adjustments.1.after_stroke", "0")
    assert by_key(assess, created)["vanes.switch_distance"].outcome is Outcome.OPEN
    inch(created, put, first=6)
    found = by_key(assess, created)["vanes.switch_misses"]
    assert "5 of them by hand" in found.sentence


def test_a_trace_of_the_switch_goes_before_what_was_read_by_hand(job, put, assess):
    created = job()
    before = by_key(assess, created)["vanes.switch_distance"].reading
    inch(created, put, made=(9.0, 9.1))
    assert by_key(assess, created)["vanes.switch_distance"].reading == before

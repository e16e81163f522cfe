"""From readings to verdicts: the guard band, missing and unreadable readings, questions,
completeness, waivers.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from startkit.facts.limits import Limit
from startkit.procedure.judging import Answer, bounds, by_choice, check, confirm, filled
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Choice, Field, Findings, Stage
from startkit.stages.setup import STAGE as SETUP
from startkit.units import Q
from startkit.verdict import Outcome

MADE, OPEN, NOT_SEEN = (
    Choice("made", "made"),
    Choice("open", "open"),
    Choice("not_seen", "not seen"),
)
BENCH = Stage(
    "bench",
    "Bench",
    "Something to judge.",
    (
        Field("drop", "Drop over the strainer", "pressure_drop"),
        Field("bled", "Air bled", "yes_no"),
        Field("note", "Note", required=False),
        Field("switch", "Switch", "choice", choices=(MADE, OPEN, NOT_SEEN), required=False),
    ),
    lambda machine, limits, entries: Findings(
        verdicts=(check(entries, WINDOW, entries.reading("drop"), next_step="Clean it."),)
    ),
    before="oil_pump",
    order=1,
)
WINDOW = Limit(
    "bench.drop",
    "Strainer drop",
    "pressure_drop",
    Q(10, "kPa"),
    Q(20, "kPa"),
    "data sheet, page 3",
    "published",
)
STAGES = {"setup": SETUP, "bench": BENCH}


def on_the_job(put, job, name: str = "B. Jansen", role: str = "commissioning engineer") -> None:
    put(job, "setup.people.1.name", name)
    put(job, "setup.people.1.role", role)


@pytest.fixture
def entries(make_job, put, assess):
    def make(entered=None, system="SI"):
        job = make_job(system=system, stages=STAGES)
        for what, (value, unit) in (entered or {}).items():
            put(job, f"bench.{what}", value, unit)
        return assess(job).stage_entries("bench")

    return make


@pytest.mark.parametrize(
    ("kilopascal", "outcome"),
    [
        (9.999, Outcome.FAIL),
        (10, Outcome.PASS),
        (10.001, Outcome.PASS),
        (19.999, Outcome.PASS),
        (20, Outcome.PASS),
        (20.001, Outcome.FAIL),
    ],
)
def test_without_uncertainty_the_limit_itself_passes(entries, kilopascal, outcome):
    assert check(entries(), WINDOW, Q(kilopascal, "kPa"), next_step="").outcome is outcome


@pytest.mark.parametrize(
    ("kilopascal", "outcome"),
    [
        (7.99, Outcome.FAIL),
        (8.01, Outcome.UNPROVEN),
        (11.99, Outcome.UNPROVEN),
        (12, Outcome.PASS),
        (18, Outcome.PASS),
        (18.01, Outcome.UNPROVEN),
        (22.01, Outcome.FAIL),
    ],
)
def test_twice_the_standard_uncertainty_is_kept_from_either_limit(entries, kilopascal, outcome):
    assert (
        check(entries(), WINDOW, Q(kilopascal, "kPa"), u=Q(1, "kPa"), next_step="").outcome
        is outcome
    )


def test_a_reading_in_another_unit_is_judged_alike(entries):
    assert check(entries(), WINDOW, Q(15000, "Pa"), next_step="").outcome is Outcome.PASS
    assert check(entries(), WINDOW, Q(3, "psi"), next_step="").outcome is Outcome.FAIL


def test_a_missing_reading_is_open_and_never_a_pass(entries):
    found = check(entries(), WINDOW, None, next_step="Clean it.")
    assert (found.outcome, found.sentence, found.next_step) == (
        Outcome.OPEN,
        "Not taken.",
        "Take the reading.",
    )


def test_a_text_that_cannot_be_read_is_open_and_says_why(entries):
    found = check(
        entries({"drop": ("much", "kPa")}),
        WINDOW,
        entries({"drop": ("much", "kPa")}).reading("drop"),
        next_step="Clean it.",
    )
    assert (
        found.outcome is Outcome.OPEN
        and "'much' is not a number" in found.sentence
        and found.next_step == "Correct the entry."
    )


def test_a_reading_in_a_wrong_unit_is_open(entries):
    made = entries({"drop": ("15", "°C")})
    assert check(made, WINDOW, made.reading("drop"), next_step="").outcome is Outcome.OPEN


@pytest.mark.parametrize("kilopascal", [5, 15])
def test_what_an_instrument_out_of_calibration_shows_is_unproven_on_either_side(
    entries, kilopascal
):
    reading = Reading(
        "bench.drop",
        "x",
        Q(kilopascal, "kPa"),
        untrusted="instrument P1 was out of calibration since 2026-01-01",
    )
    found = check(entries(), WINDOW, reading, next_step="Clean it.")
    assert found.outcome is Outcome.UNPROVEN and "out of calibration" in found.sentence
    assert "in calibration" in found.next_step


def test_an_unsteady_machine_is_not_judged(entries):
    found = check(entries(), WINDOW, Q(15, "kPa"), next_step="Wait.", steady=False)
    assert found.outcome is Outcome.UNPROVEN and "not steady" in found.sentence


def test_the_sentence_says_reading_side_and_limit(entries):
    assert (
        check(entries(), WINDOW, Q(25, "kPa"), next_step="Clean it.").sentence
        == "25.0 kPa: above 20.0 kPa."
    )
    assert (
        check(entries(), WINDOW, Q(5, "kPa"), next_step="Clean it.").sentence
        == "5.0 kPa: below 10.0 kPa."
    )
    assert (
        check(
            entries(), WINDOW, Q(15, "kPa"), next_step="Clean it.", note="Both strainers."
        ).sentence
        == "15.0 kPa: within 10.0 kPa to 20.0 kPa. Both strainers."
    )


def test_an_unproven_sentence_gives_the_uncertainty(entries):
    assert (
        "± 2.0 kPa" in check(entries(), WINDOW, Q(10, "kPa"), u=Q(1, "kPa"), next_step="").sentence
    )


def test_sentences_follow_the_jobs_units(entries):
    assert "ft H2O" in check(entries(system="I-P"), WINDOW, Q(15, "kPa"), next_step="").sentence


def test_only_what_is_not_a_pass_has_a_next_step(entries):
    assert check(entries(), WINDOW, Q(15, "kPa"), next_step="Clean it.").next_step == ""
    assert check(entries(), WINDOW, Q(25, "kPa"), next_step="Clean it.").next_step == "Clean it."


def test_a_verdict_prints_where_its_limit_comes_from(entries):
    found = check(entries(), WINDOW, Q(15, "kPa"), next_step="")
    assert (found.source, found.low, found.high, found.kind) == (
        "data sheet, page 3",
        Q(10, "kPa"),
        Q(20, "kPa"),
        "pressure_drop",
    )


def test_key_and_title_of_the_limit_can_be_replaced(entries):
    found = check(
        entries(), WINDOW, Q(15, "kPa"), next_step="", key="bench.drop.2", title="Second strainer"
    )
    assert (found.key, found.title) == ("bench.drop.2", "Second strainer")


def test_bounds_are_words(entries):
    low, high = (
        Limit("a", "A", "pressure_drop", low=Q(10, "kPa")),
        Limit("a", "A", "pressure_drop", high=Q(20, "kPa")),
    )
    assert (bounds(entries(), low), bounds(entries(), high)) == (
        "at least 10.0 kPa",
        "at most 20.0 kPa",
    )


# --- questions ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("answer", "wanted", "outcome"),
    [
        ("yes", True, Outcome.PASS),
        ("no", True, Outcome.FAIL),
        ("no", False, Outcome.PASS),
        ("yes", False, Outcome.FAIL),
        ("perhaps", True, Outcome.OPEN),
    ],
)
def test_a_question_passes_with_the_wanted_answer_only(entries, answer, wanted, outcome):
    made = entries({"bled": (answer, "")})
    assert (
        confirm(
            made,
            "bled",
            "bench.bled",
            "Air bled",
            good="Bled.",
            bad="Air left.",
            next_step="Bleed.",
            wanted=wanted,
        ).outcome
        is outcome
    )


def test_a_question_without_answer_is_open(entries):
    found = confirm(
        entries(),
        "bled",
        "bench.bled",
        "Air bled",
        good="Bled.",
        bad="Air left.",
        next_step="Bleed.",
    )
    assert found.outcome is Outcome.OPEN and found.next_step == "Answer the question."


# --- choices -----------------------------------------------------------------------------------

SWITCH = {
    MADE: Answer(Outcome.PASS, "It made."),
    OPEN: Answer(Outcome.FAIL, "It stayed open.", "Adjust it."),
    NOT_SEEN: Answer(Outcome.UNPROVEN, "Not seen.", "Look again."),
}


@pytest.mark.parametrize(
    ("chosen", "outcome", "next_step"),
    [
        ("", Outcome.OPEN, "Look at it."),
        ("maybe", Outcome.OPEN, "Correct the entry."),
        ("made", Outcome.PASS, ""),
        ("open", Outcome.FAIL, "Adjust it."),
        ("not seen", Outcome.UNPROVEN, "Look again."),
    ],
)
def test_a_choice_is_worth_what_its_answer_says(entries, chosen, outcome, next_step):
    found = by_choice(
        entries({"switch": (chosen, "")}),
        "switch",
        "bench.switch",
        "Switch",
        answers=SWITCH,
        next_step="Look at it.",
    )
    assert (found.outcome, found.next_step) == (outcome, next_step)
    assert found.rests_on == ("bench.switch",)


def test_no_choice_of_any_field_leaves_its_stage_without_verdicts(make_job, put, assess):
    """As a choice to which a judge has no answer would."""
    job = make_job()
    for name, stage in job.stages.items():
        for declared in stage.fields_for(job.machine):
            for choice in declared.options:
                put(job, f"{name}.{declared.name}", choice.label)
                judged = {verdict.key for verdict in assess(job).findings(name).verdicts}
                assert f"{name}.judged" not in judged, (declared.name, choice.code)


# --- completeness ------------------------------------------------------------------------------


def test_a_stage_is_complete_once_every_required_field_can_be_read(entries):
    assert filled(entries({"drop": ("15", "kPa"), "bled": ("yes", "")})).outcome is Outcome.PASS


def test_completeness_names_what_is_empty(entries):
    found = filled(entries({"bled": ("yes", "")}))
    assert (
        found.outcome is Outcome.OPEN and found.sentence == "Still empty: Drop over the strainer."
    )


def test_an_unreadable_optional_text_keeps_a_stage_open_too(entries):
    found = filled(entries({"drop": ("15", "kPa"), "bled": ("aye", "")}))
    assert found.outcome is Outcome.OPEN and "neither yes nor no" in found.sentence


# --- what a verdict rests on -------------------------------------------------------------------


def test_a_verdict_rests_on_the_items_of_its_reading_and_on_those_named_besides(entries):
    made = entries({"drop": ("15", "kPa")})
    drop = made.reading("drop")
    assert check(made, WINDOW, drop, next_step="").rests_on == ("bench.drop",)
    share = drop.less(Q(1, "kPa"))
    assert check(
        made, WINDOW, share, next_step="", rests_on=("bench.drop", "bench.bled")
    ).rests_on == ("bench.drop", "bench.bled")


def test_a_verdict_on_a_missing_reading_rests_on_the_item_to_be_filled(entries):
    made = entries()
    assert check(made, WINDOW, made.reading("drop"), next_step="").rests_on == ("bench.drop",)


@pytest.mark.parametrize("answer", ["yes", "no", "perhaps", ""])
def test_a_question_rests_on_its_field(entries, answer):
    found = confirm(
        entries({"bled": (answer, "")}),
        "bled",
        "bench.bled",
        "Air bled",
        good="",
        bad="",
        next_step="",
    )
    assert found.rests_on == ("bench.bled",)


def test_completeness_rests_on_what_is_empty_or_else_cannot_be_read(entries):
    assert filled(entries({"bled": ("yes", "")})).rests_on == ("bench.drop",)
    assert filled(entries({"bled": ("aye", "")})).rests_on == ("bench.bled",)


def test_a_waiver_keeps_what_the_verdict_rests_on(make_job, put, verdict_of):
    job = make_job(stages=STAGES)
    put(job, "bench.drop", "25", "kPa")
    put(job, "waiver.bench.drop", "strainer is due next week")
    assert verdict_of(job, "bench.drop").rests_on == ("bench.drop",)


# --- waivers --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("who", "reason", "outcome"),
    [
        ("B. Jansen", "strainer is due next week", Outcome.WAIVED),
        ("", "strainer is due next week", Outcome.FAIL),
        ("B. Jansen", "", Outcome.FAIL),
    ],
)
def test_a_waiver_counts_only_with_a_name_and_a_reason(
    make_job, put, verdict_of, who, reason, outcome
):
    job = make_job(stages=STAGES)
    on_the_job(put, job)
    put(job, "bench.drop", "25", "kPa")
    put(job, "waiver.bench.drop", reason, who=who)
    assert verdict_of(job, "bench.drop").outcome is outcome


def test_a_waiver_can_be_withdrawn(make_job, put, verdict_of):
    job = make_job(stages=STAGES)
    put(job, "bench.drop", "25", "kPa")
    put(job, "waiver.bench.drop", "strainer is due next week")
    put(job, "waiver.bench.drop", "", note="strainer came today")
    assert verdict_of(job, "bench.drop").outcome is Outcome.FAIL


# --- how well it was measured --------------------------------------------------------------------


def test_a_measured_reading_without_a_known_uncertainty_is_never_a_pass(entries):
    measured = replace(WINDOW, measured=True)
    assert check(entries(), measured, Q(15, "kPa"), next_step="x").outcome is Outcome.UNPROVEN
    assert check(entries(), measured, Q(25, "kPa"), next_step="x").outcome is Outcome.FAIL
    known = check(entries(), measured, Q(15, "kPa"), u=Q(0.5, "kPa"), next_step="x")
    assert known.outcome is Outcome.PASS
    setting = replace(WINDOW, measured=False)
    assert check(entries(), setting, Q(15, "kPa"), next_step="x").outcome is Outcome.PASS

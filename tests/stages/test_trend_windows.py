"""Load-up from a trend: steady stretches found where the machine stood still, chosen by a person,
their means within their own uncertainty of the truth.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from startkit.facts.job import State
from startkit.facts.trend import trend as trend_
from startkit.facts.trend.column_map import Mapped
from startkit.facts.trend.quality import STUCK
from startkit.procedure.assessment import Assessment
from startkit.science.steadiness import Hunting
from startkit.stages.load_up import assumed, trend_figures, trend_windows
from startkit.stages.load_up.fields import COLUMNS
from startkit.stages.load_up.formulas import BY_KEY, circuit
from startkit.units import KINDS, Q
from startkit.verdict import Outcome

from .loads import BAROMETER, TAGS, put_instruments, readings

STEP = 10.0
BEGIN = 1776326400.0  # 2026-04-16 08:00 on the panel's own clock
_KIND = {column.name: column.kind for column in COLUMNS}
NOISE = {
    "temperature": 0.01,
    "gauge_pressure": 100.0,
    "flow": 1e-4,
    "power": 300.0,
    "current": 0.3,
    "pressure_drop": 100.0,
    "percent": 1e-4,
}


def si(name: str, value: str, unit: str) -> float:
    from startkit.units import parse

    kind = "relative_pressure" if _KIND[name] == "gauge_pressure" else _KIND[name]
    return float(parse(value, kind, unit).to_base_units().magnitude)


def truth(**asked) -> dict[str, float]:
    """Readings of one load [SI]; pressures gauge."""
    return {name: si(name, value, unit) for name, (value, unit) in readings(**asked).items()}


def made(
    values: dict[str, np.ndarray], instruments: bool = True, step: float = STEP, **flags
) -> trend_.Trend:
    """A trend in memory."""
    count = next(iter(values.values())).size
    time = BEGIN + step * np.arange(count)
    columns = {
        name: Mapped(
            name,
            name,
            instrument=TAGS.get(name, "") if instruments else "",
            reference="gauge" if _KIND[name] == "gauge_pressure" else "",
        )
        for name in values
    }
    quality = {name: flags.get(name, np.zeros(count, np.uint8)) for name in values}
    return trend_.Trend(
        "day", "day.csv", "", time, "", np.arange(count), step, (), values, quality, columns
    )


def course(*pieces: tuple[float, dict[str, float]], seed: int = 1) -> dict[str, np.ndarray]:
    """Held loads (minutes, readings), joined by changes of ten minutes, with noise."""
    rng, knots, levels, at = np.random.default_rng(seed), [], [], 0.0
    for minutes, level in pieces:
        knots += [at, at + 60 * minutes]
        levels += [level, level]
        at += 60 * minutes + 600
    seconds = np.arange(0, knots[-1] + 1, STEP)
    return {
        name: (
            np.interp(seconds, knots, [level[name] for level in levels])
            + rng.normal(0, NOISE[_KIND[name]], seconds.size)
        )
        for name in pieces[0][1]
    }


FULL, HALF = truth(), truth(share=0.5, power=80.0, warm=19.0, current=130.0)


@pytest.fixture
def day() -> trend_.Trend:
    return made(course((40, FULL), (40, HALF)))


@pytest.fixture
def look(make_job, put):
    """``look(trend, windows=[(begin, end, who)])``: the stage's findings with this trend in the
    job.
    """

    def found(trend, windows=(), sheet=None, named=True):
        job = make_job(sheet)
        if named:
            put_instruments(put, job)
        put(job, "load_up.trend", "day")
        for n, (begin, end, who) in enumerate(windows, 1):
            for column, value in (
                ("begin", begin),
                ("end", end),
                ("chosen_by", who),
                ("label", f"load {n}"),
            ):
                if value:
                    put(job, f"load_up.windows.{n}.{column}", value)
        assessment = Assessment(
            job.machine,
            job.limits,
            job.stages,
            State(tuple(job.entries)),
            trends={} if trend is None else {"day": trend},
        )
        return SimpleNamespace(
            findings=assessment.findings("load_up"),
            verdicts={v.key: v for v in assessment.findings("load_up").verdicts},
            assessment=assessment,
        )

    return found


def minutes(n: float) -> str:
    return (datetime(2026, 4, 16, 8) + timedelta(minutes=n)).strftime("%Y-%m-%d %H:%M:%S")


# --- figures over arrays --------------------------------------------------------------------------


def test_a_whole_trend_gives_what_single_readings_give(make_job, day):
    machine = make_job().machine
    found = trend_figures.figures(machine, day, Q(BAROMETER, "kilopascal"), slow=True)
    constants, taken = circuit(machine), assumed.values(machine)
    for i in (0, 100, 250, 400):
        read = {**taken, **{name: float(column[i]) for name, column in found.readings.items()}}
        for key, values in found.found.items():
            formula = BY_KEY[key]
            single = formula.make(constants, **{name: read[name] for name in formula.needs})
            assert values[i] == pytest.approx(single, rel=2e-5, abs=2e-4), (key, i)
    assert {
        key for key, formula in BY_KEY.items() if set(formula.needs) <= {*day.values, *taken}
    } == set(found.found)


def test_marked_readings_stay_out_of_the_figures_and_only_there(make_job):
    values = course((40, FULL))
    flags = np.zeros(values["power"].size, np.uint8)
    flags[17] = trend_.quality.SPIKE
    found = trend_figures.figures(
        make_job().machine, made(values, power=flags), Q(BAROMETER, "kilopascal")
    )
    assert np.flatnonzero(np.isnan(found.found["specific_power"])).tolist() == [17]
    assert np.isfinite(found.found["capacity"]).all()


def test_flow_comes_from_the_drop_and_current_from_its_share(make_job):
    values = {
        name: each
        for name, each in course((20, FULL)).items()
        if name not in ("evaporator_flow", "current")
    }
    count = values["power"].size
    values |= {"evaporator_drop": np.full(count, 55e3), "current_share": np.full(count, 0.9)}
    trend = made({name: each for name, each in values.items() if name in _KIND})
    trend = replace(
        trend,
        values={**trend.values, "current_share": values["current_share"]},
        quality={**trend.quality, "current_share": np.zeros(count, np.uint8)},
        columns={**trend.columns, "current_share": Mapped("FLC", "current_share")},
    )
    found = trend_figures.figures(make_job().machine, trend, Q(BAROMETER, "kilopascal"))
    assert found.readings["evaporator_flow"][5] == pytest.approx(0.075)
    assert found.found["current"][5] == pytest.approx(0.9)


def test_what_lacks_for_a_figure_is_named(make_job):
    values = {name: each for name, each in course((20, FULL)).items() if name != "power"}
    found = trend_figures.figures(make_job().machine, made(values), Q(BAROMETER, "kilopascal"))
    assert found.why_not["specific_power"] == "needs power"


# --- steady stretches -----------------------------------------------------------------------------


def stretches(findings):
    return next(t for t in findings.tables if t.title.startswith("Steady stretches")).rows


def test_each_held_load_is_one_stretch_and_the_change_between_is_none(look, day):
    rows = stretches(look(day).findings)
    assert len(rows) == 2
    for row, (begin, end) in zip(rows, ((0, 40), (50, 90)), strict=True):
        assert (
            abs(
                (
                    datetime.fromisoformat(row[0]) - datetime.fromisoformat(minutes(begin))
                ).total_seconds()
            )
            <= 180
        )
        assert (
            abs(
                (
                    datetime.fromisoformat(row[1]) - datetime.fromisoformat(minutes(end))
                ).total_seconds()
            )
            <= 180
        )
    assert [float(row[3].to("percent").magnitude) for row in rows] == pytest.approx(
        [100, 50], abs=0.5
    )


def test_a_machine_at_rest_is_not_called_steady(look):
    rest = {**FULL, "power": 0.0, "current": 0.0, "chilled_entering": FULL["chilled_leaving"]}
    assert len(stretches(look(made(course((40, rest), (40, FULL)))).findings)) == 1


def test_a_slow_drift_hidden_in_a_small_deviation_is_not_steady(look):
    values = course((60, FULL))
    values["chilled_entering"] = values["chilled_entering"] + np.linspace(
        0, 1.5, values["power"].size
    )  # 0.025 K/min
    assert len(stretches(look(made(values)).findings)) == 0


def test_a_swing_is_found_with_its_period_and_lengthens_what_must_stand_still(look):
    values = course((120, FULL))
    seconds = STEP * np.arange(values["power"].size)
    values["chilled_leaving"] = values["chilled_leaving"] + 0.4 * np.sin(2 * np.pi * seconds / 240)
    found = look(made(values))
    assert len(stretches(found.findings)) == 0
    table = next(t for t in found.findings.tables if t.title.startswith("Hunting"))
    assert table.rows[0][0] == "chilled leaving" and table.rows[0][2] == "± 0.40 K"
    assert float(table.rows[0][3].to("second").magnitude) == pytest.approx(240, rel=0.02)


def test_a_swing_longer_than_half_the_window_asks_for_two_periods(make_job, day, monkeypatch):
    swing = trend_windows.Swing("power", BEGIN, Hunting(720.0, 5e3, 0.9))
    monkeypatch.setattr(trend_windows, "hunting", lambda *_: (swing,))
    job = make_job()
    found = trend_windows.steady(
        job.machine, job.limits, replace(day, digest="other"), Q(BAROMETER, "kilopascal")
    )
    assert found.window == pytest.approx(1440.0)
    assert any("24 min" in note for note in found.notes)


def test_a_row_every_five_minutes_needs_hours_to_hold_thirty_readings(make_job):
    rng = np.random.default_rng(3)
    values = {name: level + rng.normal(0, NOISE[_KIND[name]], 60) for name, level in FULL.items()}
    job = make_job()
    found = trend_windows.steady(
        job.machine, job.limits, made(values, step=300.0), Q(BAROMETER, "kilopascal")
    )
    assert found.window == pytest.approx(9000.0)
    assert len(found.stretches) == 1


def test_the_thresholds_are_limits_that_the_sheet_sets(look):
    values = course((60, FULL))
    values["chilled_leaving"] = values["chilled_leaving"] + np.random.default_rng(5).normal(
        0, 0.15, values["power"].size
    )
    assert len(stretches(look(made(values)).findings)) == 0
    looser = {
        "limits": {"load_up.steady_temperature": {"high": "0.25 K", "source": "order, page 2"}}
    }
    assert len(stretches(look(made(values), sheet=looser).findings)) == 1


# --- chosen by a person ---------------------------------------------------------------------------


def test_a_chosen_stretch_becomes_a_load_with_its_means(look, day):
    found = look(day, [(minutes(10), minutes(35), "Ana"), (minutes(60), minutes(85), "Ana")])
    figures = {f.key: f for f in found.findings.figures}
    assert float(figures["load_up.capacity"].value.to("kW").magnitude) == pytest.approx(
        1760, rel=2e-3
    )
    assert float(figures["load_up.evaporator_approach"].value.magnitude) == pytest.approx(
        1.0, abs=0.01
    )
    assert found.verdicts["load_up.steady"].outcome is Outcome.PASS
    assert found.verdicts["load_up.loads"].sentence.startswith("2")
    table = next(t for t in found.findings.tables if t.title == "Figures at each load")
    assert [c.label for c in table.columns[1:]] == ["load 1", "load 2"]


def test_a_stretch_nobody_chose_by_name_is_shown_and_not_judged(look, day):
    found = look(day, [(minutes(10), minutes(35), "")])
    assert found.verdicts["load_up.steady"].outcome is Outcome.UNPROVEN
    assert "who chose it is not entered" in found.verdicts["load_up.steady"].sentence


def test_a_stretch_that_reaches_into_a_change_is_not_judged(look, day):
    found = look(day, [(minutes(10), minutes(45), "Ana")])
    assert "reaches beyond the steady stretches" in found.verdicts["load_up.steady"].sentence
    assert found.verdicts["load_up.heat_balance"].outcome is Outcome.UNPROVEN


@pytest.mark.parametrize(
    ("begin", "end"),
    [("2026-04-15 08:00:00", "2026-04-15 09:00:00"), (minutes(30), minutes(10)), ("", minutes(10))],
)
def test_a_stretch_outside_the_trend_is_said_in_a_sentence(look, day, begin, end):
    found = look(day, [(begin, end, "Ana")])
    assert any("Stretches of the trend, row 1" in remark for remark in found.findings.remarks)
    assert found.verdicts["load_up.loads"].outcome is Outcome.OPEN


def test_a_trend_that_was_not_imported_is_said_in_a_sentence(look):
    assert any("no trend is called 'day'" in remark for remark in look(None).findings.remarks)


def test_an_imported_trend_that_is_not_used_is_mentioned(make_job, put, day):
    job = make_job()
    found = Assessment(
        job.machine, job.limits, job.stages, State(tuple(job.entries)), trends={"day": day}
    ).findings("load_up")
    assert any("Imported but not used: day" in remark for remark in found.remarks)


def test_typed_readings_and_stretches_stand_side_by_side(make_job, put, day):
    from .loads import put_load

    job = make_job()
    put_load(put, job, label="typed")
    put(job, "load_up.trend", "day")
    for column, value in (("begin", minutes(60)), ("end", minutes(85)), ("chosen_by", "Ana")):
        put(job, f"load_up.windows.1.{column}", value)
    found = Assessment(
        job.machine, job.limits, job.stages, State(tuple(job.entries)), trends={"day": day}
    ).findings("load_up")
    table = next(t for t in found.tables if t.title == "Figures at each load")
    assert [c.label for c in table.columns[1:]] == ["typed", "04-16 09:00"]


def test_a_sensor_that_did_not_move_proves_nothing(look):
    values = course((40, FULL))
    flags = np.full(values["power"].size, STUCK, np.uint8)
    found = look(made(values, chilled_leaving=flags), [(minutes(10), minutes(35), "Ana")])
    assert found.verdicts["load_up.heat_balance"].outcome is Outcome.UNPROVEN
    assert "sensor is live" in found.verdicts["load_up.heat_balance"].sentence


# --- uncertainty of a mean ------------------------------------------------------------------------


def test_the_error_of_a_mean_of_neighbours_that_lean_on_each_other_is_wider(outside):
    rng = np.random.default_rng(9)
    count, r = 900, 0.7
    means, said = [], []
    for _ in range(300):
        white, red = rng.standard_normal(count), np.zeros(count)
        for i in range(1, count):
            red[i] = r * red[i - 1] + white[i]
        mean, error = trend_windows.mean_of(10.0 * np.arange(count), red)
        means.append(mean)
        said.append(error)
    closed = ((1 / (1 - r**2)) * (1 + r) / (1 - r) / count) ** 0.5
    outside.check(
        "trend_windows.mean_of",
        printed=closed,
        ours=float(np.mean(said)),
        source="AR(1) of r = 0.7: sigma^2/(1 - r^2) (1 + r)/(1 - r)/n",
        standing="closed form",
        rel=0.05,
    )
    assert float(np.std(means)) == pytest.approx(float(np.mean(said)), rel=0.12)


def test_a_windows_readings_carry_instrument_and_scatter(look):
    noisy = course((40, FULL))
    noisy["power"] = noisy["power"] + np.random.default_rng(2).normal(0, 4e3, noisy["power"].size)
    windows = [(minutes(10), minutes(35), "Ana")]
    quiet_u, noisy_u = (
        next(f.u for f in look(made(values), windows).findings.figures if f.key == "load_up.power")
        .to("watt")
        .magnitude
        for values in (course((40, FULL)), noisy)
    )
    instrument = 0.005 * 295e3 / 3**0.5
    assert quiet_u == pytest.approx(instrument, rel=2e-3)
    assert noisy_u == pytest.approx((instrument**2 + 4e3**2 / 151) ** 0.5, rel=0.1)


def test_without_an_instrument_in_the_map_no_uncertainty_is_claimed(look):
    found = look(made(course((40, FULL)), instruments=False), [(minutes(10), minutes(35), "Ana")])
    assert all(
        f.u is None for f in found.findings.figures if f.key != "load_up.evaporator_approach"
    )
    assert any("have no instrument in the map" in t.note for t in found.findings.tables)


# --- plots ----------------------------------------------------------------------------------------


def test_the_overview_shows_the_steady_stretches_and_loses_no_excursion(look):
    values = course((200, FULL))
    values["chilled_entering"][700] += 3.0
    plots = {plot.title: plot for plot in look(made(values)).findings.plots}
    overview = plots["Trend day: water temperatures"]
    assert overview.rules and all(rule.until > rule.at for rule in overview.rules)
    entering = next(line for line in overview.lines if line.label == "chilled water entering")
    assert max(entering.y) == pytest.approx(values["chilled_entering"].max())
    assert len(entering.x) <= 1000


def test_kinds_of_all_columns_are_known():
    assert all(kind in KINDS for name, kind in _KIND.items() if name in FULL)

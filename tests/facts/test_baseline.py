"""The baseline: figures of an earlier record, found wherever its data keep them."""

from __future__ import annotations

import json

import pytest

from startkit.errors import JobError
from startkit.facts import baseline

FIGURE = {
    "key": "lube.pump_speed",
    "label": "Pump speed",
    "number": 41.5,
    "u_number": 0.1,
    "kind": "frequency",
    "text": "41.50 Hz",
}


def _file(tmp_path, data):
    path = tmp_path / "baseline.json"
    path.write_text(data if isinstance(data, str) else json.dumps(data), encoding="utf-8")
    return path


def test_figures_with_a_key_are_read_with_their_uncertainty(tmp_path):
    found = baseline.load(
        _file(
            tmp_path,
            {
                "title": "Commissioning record T-1",
                "front": {"last_entry": "2024-05-02T10:00:00+00:00"},
                "body": [{"block": "stage", "figures": [FIGURE]}],
            },
        )
    )
    assert (found.title, found.date) == ("Commissioning record T-1", "2024-05-02")
    figure = found.figures["lube.pump_speed"]
    assert figure.value.to("Hz").magnitude == pytest.approx(41.5) and figure.u.to(
        "Hz"
    ).magnitude == pytest.approx(0.1)


def test_a_temperature_comes_back_as_a_temperature_and_its_uncertainty_as_a_difference(tmp_path):
    row = {**FIGURE, "key": "a.b", "kind": "temperature", "number": 283.15, "u_number": 0.2}
    figure = baseline.load(_file(tmp_path, [{"figures": [row]}])).figures["a.b"]
    assert figure.value.to("degC").magnitude == pytest.approx(10.0) and figure.u.to(
        "delta_degF"
    ).magnitude == pytest.approx(0.36)


@pytest.mark.parametrize(
    "change",
    [{"key": ""}, {"kind": "colour"}, {"number": None}, {"number": float("nan")}, {"number": True}],
)
def test_a_figure_that_cannot_be_compared_is_left_out(tmp_path, change):
    found = baseline.load(
        _file(tmp_path, {"figures": [FIGURE, {**FIGURE, "key": "other.one", **change}]})
    )
    assert set(found.figures) == {"lube.pump_speed"}


def test_a_figure_without_uncertainty_has_none(tmp_path):
    assert (
        baseline.load(_file(tmp_path, {"figures": [{**FIGURE, "u_number": None}]}))
        .figures["lube.pump_speed"]
        .u
        is None
    )


def test_a_job_without_the_file_has_an_empty_baseline(tmp_path):
    assert not baseline.in_folder(tmp_path)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("{", "not JSON"),
        ("[" * 100_000, "not JSON"),
        ("{}", "no figure"),
        ('{"figures": 3}', "no figure"),
        ("7", "no figure"),
    ],
)
def test_a_file_that_is_no_record_is_refused_in_one_sentence(tmp_path, content, told):
    with pytest.raises(JobError, match=told) as refused:
        baseline.load(_file(tmp_path, content))
    assert refused.value.where == "baseline.json" and refused.value.remedy


def test_a_folder_in_place_of_the_file_is_refused(tmp_path):
    with pytest.raises(JobError, match="not a file"):
        baseline.load(tmp_path)

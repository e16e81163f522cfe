"""New jobs from a list: CSV and XLSX, sheets made or found, errors that name the row, nothing half
made.
"""

from __future__ import annotations

import csv
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.errors import JobError, SheetError, StartkitError
from startkit.facts import machine as machine_
from startkit.facts import plugins, toml_file
from startkit.facts.job import Job
from startkit.fleet import folder, new_jobs
from startkit.fleet.folder import Fleet
from startkit.fleet.machine_list import read

ROWS = [
    [
        "tag",
        "like",
        "units",
        "machine.serial",
        "site.plant",
        "motor.voltage",
        "machine.year",
        "motor.poles",
    ],
    ["CH-1", "", "", "", "", "", "", ""],
    ["CH-7", "CH-2", "", "S-7", "Skerrow Harbour Market Hall", "460 V", "2025", "4"],
    ["CH-8", "CH-3", "I-P", "S-8", "", "", "", ""],
]


def as_csv(
    path: Path, rows: list[list[str]], delimiter: str = ",", encoding: str = "utf-8"
) -> Path:
    with path.open("w", encoding=encoding, newline="") as file:
        csv.writer(file, delimiter=delimiter).writerows(rows)
    return path


def as_xlsx(path: Path, rows: list[list[object]]) -> Path:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append([None if cell == "" else cell for cell in row])
    book.save(path)
    return path


def made(fleet: Fleet, listed: Path) -> dict[str, Job]:
    return {
        plan.tag: Job(new_jobs.make(plan, fleet, "Ana"))
        for plan in new_jobs.plans(fleet, listed)
        if not plan.exists
    }


@pytest.fixture
def fleet(plant: Path) -> Fleet:
    return new_jobs.start(plant)


@pytest.mark.parametrize("kind", ["csv", "semicolons with a mark", "xlsx"])
def test_a_list_makes_sheets_and_jobs(fleet: Fleet, tmp_path: Path, kind: str) -> None:
    listed = (
        as_xlsx(tmp_path / "list.xlsx", [[2025 if c == "2025" else c for c in row] for row in ROWS])
        if kind == "xlsx"
        else (as_csv(tmp_path / "list.csv", ROWS, *((";", "utf-8-sig") if kind != "csv" else ())))
    )
    jobs = made(fleet, listed)
    assert list(jobs) == ["CH-1", "CH-7", "CH-8"] == [job.name for job in fleet.jobs()]
    sheet = jobs["CH-7"].machine
    assert (
        sheet.machine.serial,
        sheet.machine.year,
        sheet.motor.poles,
        sheet.machine.refrigerant,
    ) == ("S-7", 2025, 4, "R-1233zd(E)")
    assert sheet.site.plant == "Skerrow Harbour Market Hall" and sheet.site.elevation.to(
        "m"
    ).magnitude == pytest.approx(45)
    assert (jobs["CH-7"].system, jobs["CH-8"].system) == ("SI", "I-P")
    assert (fleet.machines / "CH-7.toml").read_text(encoding="utf-8").startswith("# CH-7: ")


def test_the_specification_of_the_fleet_reaches_every_job(fleet: Fleet, tmp_path: Path) -> None:
    jobs = made(fleet, as_csv(tmp_path / "list.csv", ROWS))
    assert all(job.limits["lube.heater_time"].authority == "specification" for job in jobs.values())


def test_limits_in_the_settings_serve_as_specification(plant: Path, tmp_path: Path) -> None:
    (plant / "specification.toml").unlink()
    (plant / "fleet.toml").write_text(
        (plant / "fleet.toml").read_text(encoding="utf-8")
        + '\n[limits]\n"lube.heater_time" = { low = "36 h", source = "letter of 3 March" }\n',
        encoding="utf-8",
    )
    job = made(new_jobs.start(plant), as_csv(tmp_path / "list.csv", [["tag"], ["CH-1"]]))["CH-1"]
    assert (
        job.limits["lube.heater_time"].low.to("hour").magnitude == 36
        and job.limits["lube.heater_time"].origin == "specification: letter of 3 March"
    )


def test_defaults_hold_where_neither_list_nor_model_sheet_says_more(
    plant: Path, tmp_path: Path
) -> None:
    (plant / "fleet.toml").write_text(
        (plant / "fleet.toml").read_text(encoding="utf-8")
        + '\n[defaults.site]\nmachinery_room_area = "99 m²"\n[defaults.motor]\nsupport ='
        ' "flexible"\n',
        encoding="utf-8",
    )
    (plant / "machines" / "CH-3.toml").write_text(
        (plant / "machines" / "CH-3.toml")
        .read_text(encoding="utf-8")
        .replace("machinery_room_area", "# machinery_room_area"),
        encoding="utf-8",
    )
    sheet = made(
        new_jobs.start(plant), as_csv(tmp_path / "list.csv", [["tag", "like"], ["CH-9", "CH-3"]])
    )["CH-9"].machine
    assert (
        sheet.site.machinery_room_area.to("m²").magnitude == 99 and sheet.motor.support == "rigid"
    )  # the sheet it is like says rigid


def test_jobs_that_are_there_are_left_alone(fleet: Fleet, tmp_path: Path) -> None:
    listed = as_csv(tmp_path / "list.csv", ROWS)
    first = made(fleet, listed)["CH-1"].state().entries
    assert made(fleet, listed) == {}
    assert Job(fleet.jobs_folder / "CH-1").state().entries == first


def test_what_a_stopped_making_left_behind_is_no_job_and_does_no_harm(
    fleet: Fleet, tmp_path: Path
) -> None:
    half = fleet.jobs_folder / ".making" / "CH-1"
    half.mkdir(parents=True)
    (half / "job.db").write_bytes(b"")
    assert fleet.jobs() == []
    assert (
        list(made(fleet, as_csv(tmp_path / "list.csv", [["tag"], ["CH-1"]]))) == ["CH-1"]
        and not half.exists()
    )


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (
            [["machine", "like"], ["CH-9", "CH-1"]],
            "list.csv: the first row",
        ),
        ([["tag", "motor"], ["CH-9", ""]], "'motor'"),
        ([["tag", "tag"], ["CH-9", ""]], "two columns 'tag'"),
        ([["tag"]], "no machine"),
        ([["tag", "like"], ["", "CH-1"]], "list.csv, row 2: the machine has no tag"),
        (
            [["tag", "like"], ["CH-9", "CH-1"], ["ch-9", "CH-1"]],
            "list.csv, row 3: 'ch-9' is already in row 2",
        ),
        ([["tag", "like"], ["CH 9", "CH-1"], ["CH-9", "CH-1"]], "folder CH-9"),
        ([["tag"], ["CH-9"]], "list.csv, row 2: there is no sheet for CH-9"),
        (
            [["tag", "like"], ["CH-9", "CH-77"]],
            "list.csv, row 2, like: there is no sheet for 'CH-77'",
        ),
        (
            [["tag", "like", "motor.voltage"], ["CH-9", "CH-1", "460"]],
            "list.csv, row 2, motor.voltage: '460' has no unit",
        ),
        (
            [["tag", "like", "motor.colour"], ["CH-9", "CH-1", "red"]],
            "list.csv, row 2, motor.colour: 'colour' is not a key of a machine sheet",
        ),
        (
            [["tag", "like", "units"], ["CH-9", "CH-1", "metric"]],
            "list.csv, row 2, units: 'metric' is not a system",
        ),
        ([["tag", "like", "template"], ["CH-9", "CH-1", "other"]], "there is no template 'other'"),
        (
            [["tag", "like", "job"], ["CH-9", "CH-1", "../../out"]],
            "list.csv, row 2, job: '../../out' ",
        ),
        ([["tag", "motor.voltage"], ["CH-30", "400 V"]], "is missing"),
    ],
)
def test_a_row_that_cannot_be_used_is_named_and_no_job_is_made(
    fleet: Fleet, tmp_path: Path, rows: list[list[str]], said: str
) -> None:
    rows = [*rows, *([["CH-1", *[""] * (len(rows[0]) - 1)]] if len(rows) > 1 else [])]
    with pytest.raises(StartkitError) as caught:
        new_jobs.plans(fleet, as_csv(tmp_path / "list.csv", rows))
    assert said in str(caught.value) and str(caught.value).count("\n") == 0
    assert fleet.jobs() == []


def test_a_sheet_that_says_something_else_is_not_written_over(fleet: Fleet, tmp_path: Path) -> None:
    with pytest.raises(SheetError, match=r"machines/CH-2.toml exists already"):
        new_jobs.plans(fleet, as_csv(tmp_path / "list.csv", [["tag", "like"], ["CH-2", "CH-3"]]))


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"\xff\xfe\x00", b'tag\n"CH-1'])
@pytest.mark.parametrize("name", ["list.csv", "list.xlsx"])
def test_a_damaged_list_is_one_sentence(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    try:
        assert [row["tag"] for row in read(tmp_path / name)] == [
            "CH-1"
        ]  # an open quote ends with the file
    except SheetError as error:
        assert name in str(error)


def test_a_workbook_that_unpacks_to_too_much_is_refused(tmp_path: Path) -> None:
    import zipfile

    with zipfile.ZipFile(tmp_path / "list.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 21_000_000)
    with pytest.raises(SheetError, match="list of machines"):
        read(tmp_path / "list.xlsx")


def test_the_command_makes_a_fleet_from_nothing(tmp_path: Path, plant: Path) -> None:
    listed = as_csv(tmp_path / "list.csv", [["tag"], ["CH-1"]])
    assert (
        CliRunner().invoke(main, ["fleet", "new", str(tmp_path / "fresh"), str(listed)]).exit_code
        == 2
    )  # no sheet yet, but the folder is a fleet now
    (tmp_path / "fresh" / "machines" / "CH-1.toml").write_bytes(
        (plant / "machines" / "CH-1.toml").read_bytes()
    )
    result = CliRunner().invoke(main, ["fleet", "new", str(tmp_path / "fresh"), str(listed)])
    assert result.exit_code == 0 and f"{tmp_path / 'fresh' / 'jobs'}: 1. " in result.output
    with pytest.raises(JobError, match=r"fleet.toml"):
        new_jobs.start(tmp_path)


# --- settings and sheets as text ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[fleet]\ncolour = 1\n",
            "fleet.toml, line 2, fleet.colour: 'colour' is not a key of fleet",
        ),
        ("[flet]\n", "'flet' is not a key of fleet.toml"),
        (
            '[fleet]\nunits = "metric"\n',
            "fleet.toml, line 2, fleet.units: 'metric' is not a choice; use SI or I-P.",
        ),
        ('[[site]]\nelevation = "3 m"\n', "fleet.toml, line 1, site.1: a site needs its name"),
        (
            '[[site]]\nplant = "A"\nelevation = "3"\n',
            "fleet.toml, line 3, site.1.elevation: '3' has no unit",
        ),
        (
            '[limits]\n"lube.none" = { high = "1 s", source = "x" }\n',
            "'lube.none' is not the name of a limit",
        ),
        (
            '[limits]\n"lube.heater_time" = { low = "1 h", source = "x" }\n',
            "limits here and in specification.toml",
        ),
        ("site = 1\n", "'site' is not a list of tables"),
    ],
)
def test_settings_that_cannot_be_used_are_named_with_their_line(
    plant: Path, text: str, said: str
) -> None:
    (plant / "fleet.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SheetError) as caught:
        folder.load(plant)
    assert said in str(caught.value)


def test_a_folder_without_settings_says_how_to_make_some(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="make one with `startkit fleet new`"):
        folder.load(tmp_path)


@pytest.mark.parametrize("tag", ["CH-1", "CH-2", "CH-3"])
def test_a_sheet_written_as_text_reads_back_the_same(plant: Path, tag: str) -> None:
    path = plant / "machines" / f"{tag}.toml"
    text = toml_file.text_of(toml_file.load(path)[0], "written anew")
    again = machine_.from_table(toml_file.parse(text, "sheet"), "sheet", text)
    assert again.model_dump() == machine_.load(path).model_dump()


# --- templates of a company -----------------------------------------------------------------------


def test_a_companys_own_templates_are_found_once_its_package_is_installed(
    make_fleet: Callable[..., Fleet], tmp_path: Path
) -> None:
    """A wheel of a company's, made by hand and unpacked beside the installed packages, as pip does
    it.
    """
    import zipfile

    wheel = tmp_path / "alder_templates-1.0-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w") as archive:
        archive.writestr(
            "alder_templates/__init__.py",
            "from pathlib import Path\n\ndef folder():\n    return Path(__file__).parent /"
            " 'notebooks'\n",
        )
        archive.writestr(
            "alder_templates/notebooks/alder-annual.ipynb",
            plugins.find_template("new-machine")
            .read_text(encoding="utf-8")
            .replace("Start-up of a new machine", "Annual visit"),
        )
        archive.writestr(
            "alder_templates-1.0.dist-info/METADATA",
            "Metadata-Version: 2.1\nName: alder-templates\nVersion: 1.0\n",
        )
        archive.writestr(
            "alder_templates-1.0.dist-info/WHEEL",
            "Wheel-Version: 1.0\nGenerator: hand\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
        )
        archive.writestr(
            "alder_templates-1.0.dist-info/entry_points.txt",
            "[startkit.templates]\nalder = alder_templates:folder\n",
        )
        archive.writestr("alder_templates-1.0.dist-info/RECORD", "")
    site = tmp_path / "site"
    command = [
        sys.executable,
        "-m",
        "pip",
        "install",
        "--quiet",
        "--no-index",
        "--no-deps",
        "--disable-pip-version-check",
        "--target",
        str(site),
        str(wheel),
    ]
    subprocess.run(command, check=True)
    fleet = make_fleet(0)
    listed = as_csv(tmp_path / "list.csv", [["tag", "template"], ["CH-1", "alder-annual"]])
    code = (
        f"import sys; sys.path.insert(0, {str(site)!r}); from startkit.cli import main;"
        f" main(['fleet', 'new', {str(fleet.folder)!r}, {str(listed)!r}])"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
    assert Job(fleet.jobs_folder / "CH-1").template.name == "alder-annual.ipynb"
    result = CliRunner().invoke(
        main, ["fleet", "new", str(fleet.folder), str(listed), "--template", "alder-annual"]
    )
    assert (
        result.exit_code == 2 and "there is no template 'alder-annual'" in result.output
    )  # without the package it is not there

"""Whatever the clock, the zone, the language or the computer: entries keep their order, numbers
their marks, files their names.
"""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import time
import unicodedata
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from startkit.desk import cards
from startkit.desk.notebook import open_book
from startkit.errors import StartkitError
from startkit.facts import journal as journal_
from startkit.facts import safe_files
from startkit.facts.job import Job, check_new_folder
from startkit.facts.journal import Entry
from startkit.facts.safe_files import file_safe
from startkit.facts.trend import importer

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "workbook" / "plant" / "machines" / "CH-1.toml"


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return Job.create(
        tmp_path / "J",
        SHEET,
        ROOT / "templates" / "new-machine.ipynb",
        who="Ana",
        at="2026-10-25T01:00:00.000+02:00",
    )


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator:
    """Set this process's zone, and put it back."""

    def put(name: str) -> None:
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield put
    monkeypatch.undo()
    time.tzset()


def put_at(job: Job, *times: str) -> None:
    for n, at in enumerate(times):
        job.record(Entry("lube.filter_drop", f"{10 + n}", "kPa", "Ana", note=f"reading {n}", at=at))


# --- the clock ------------------------------------------------------------------------------------


def test_the_newest_entry_is_the_one_written_last_though_the_clock_was_set_back(job):
    put_at(job, "2026-10-25T14:30:00.000+01:00", "2026-10-25T09:00:00.000+01:00")
    state = Job(job.folder).state()
    assert state.latest["lube.filter_drop"].value == "11" and [
        e.seq for e in state.entries
    ] == list(range(1, len(state.entries) + 1))
    assert state.faults == ()


def test_both_times_are_shown_on_the_card_and_on_page_1(job):
    put_at(job, "2026-10-25T14:30:00.000+01:00", "2026-10-25T09:00:00.000+01:00")
    part = open_book(job.folder, "record").front().part
    said = part["clock"][0]
    assert re.match(
        r"Entry \d+ \(lube\.filter_drop\) .*2026-10-25 09:00:00 \+01:00.* entry \d+"
        r" \(2026-10-25 14:30:00 \+01:00\)",
        said,
    )
    assert said in str(cards.html(part))
    assert "front.clock" in (ROOT / "startkit" / "paper" / "printing" / "record.typ").read_text(
        encoding="utf-8"
    )


def test_page_1_prints_both_times(job):
    import io

    from pypdf import PdfReader

    from startkit.paper.printing.export import export

    put_at(job, "2026-10-25T14:30:00.000+01:00", "2026-10-25T09:00:00.000+01:00")
    page = " ".join(
        PdfReader(io.BytesIO(export(job.folder).read_bytes())).pages[0].extract_text().split()
    )
    assert re.search(r"2026-10-25 09:00:00 .*entry \d+ \(2026-10-25 14:30:00 \+01:00\)", page)
    assert "+02:00, +01:00 from UTC" in page


def test_the_hour_that_comes_twice_is_no_clock_set_back(job):
    put_at(job, "2026-10-25T02:50:00.000+02:00", "2026-10-25T02:10:00.000+01:00")
    (said,) = open_book(job.folder, "record").front().part["clock"]
    assert "+02:00, +01:00 from UTC" in said and "stamped" not in said


def test_a_job_in_one_zone_with_a_clock_that_goes_forward_says_nothing(job):
    put_at(job, "2026-10-25T01:50:00.000+02:00", "2026-10-25T02:10:00.000+02:00")
    assert open_book(job.folder, "record").front().part["clock"] == []


def test_many_such_entries_are_counted(job):
    put_at(job, *(f"2026-10-25T{hour:02d}:00:00.000+02:00" for hour in range(23, 9, -1)))
    said = open_book(job.folder, "record").front().part["clock"][0]
    assert said.count("is stamped") == 3 and "10 more" in said


@pytest.mark.parametrize(
    ("name", "offset"),
    [
        ("Europe/Berlin", "+01:00"),
        ("America/Denver", "-07:00"),
        ("Asia/Kathmandu", "+05:45"),
        ("Pacific/Chatham", "+13:45"),
        ("UTC", "+00:00"),
    ],
)
def test_an_entry_carries_the_offset_of_its_place(zone, monkeypatch, name, offset):
    zone(name)

    class Winter(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime.fromtimestamp(1_769_000_000, tz)  # in January

    monkeypatch.setattr(journal_, "datetime", Winter)
    assert journal_.now().endswith(offset)
    assert datetime.fromisoformat(journal_.now()).timestamp() == 1_769_000_000


def test_the_same_clock_time_twice_in_autumn_is_two_moments(zone, monkeypatch):
    zone("Europe/Berlin")
    written = []
    for moment in (1_792_888_200, 1_792_891_800):  # 2026-10-25 00:30 and 01:30 UTC

        class Autumn(datetime):
            _at = moment

            @classmethod
            def now(cls, tz=None):
                return datetime.fromtimestamp(cls._at, tz)

        monkeypatch.setattr(journal_, "datetime", Autumn)
        written.append(journal_.now())
    assert [text[:16] for text in written] == ["2026-10-25T02:30"] * 2 and [
        text[-6:] for text in written
    ] == ["+02:00", "+01:00"]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.datetimes(datetime(2020, 1, 1), datetime(2040, 1, 1)), st.integers(-14 * 60, 14 * 60)
        ),
        min_size=1,
        max_size=12,
    )
)
def test_in_whatever_order_the_stamps_come_the_chain_stays_whole(times):
    stamps = [
        moment.replace(tzinfo=timezone(timedelta(minutes=offset))).isoformat(
            timespec="milliseconds"
        )
        for moment, offset in times
    ]
    chained = journal_.chained(
        [Entry("a", str(n), at=at) for n, at in enumerate(stamps)], 0, journal_.GENESIS
    )
    assert journal_.chain_faults(chained) == [] and [e.at for e in chained] == stamps
    assert all(entry.moment is not None and entry.day is not None for entry in chained)


# --- language -------------------------------------------------------------------------------------


# The language of the computer taken over by the whole process, as a program that embeds ours might
# do.
TAKEN_OVER = (
    "import locale; locale.setlocale(locale.LC_ALL, '');"
    " print(locale.localeconv()['decimal_point']); from startkit.cli import main;"
    " main(prog_name='startkit')"
)


COMMANDS = (["status", "J"], ["limits"], ["items", "J"])


def answers(
    folder: Path,
    code: str = "from startkit.cli import main; main(prog_name='startkit')",
    commands: tuple[list[str], ...] = COMMANDS,
    **environment: str,
) -> list[str]:
    """What the commands say in an environment."""
    said = []
    for command in commands:
        done = subprocess.run(
            [sys.executable, "-c", code, *command],
            env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
            capture_output=True,
            cwd=folder,
            check=False,
        )
        assert done.returncode in (0, 1) and b"Traceback" not in done.stderr, done.stderr
        said.append(done.stdout.decode(environment.get("PYTHONIOENCODING", "utf-8")))
    return said


@pytest.fixture(scope="module")
def german(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """An environment whose language writes decimal commas, made for the test."""
    folder = tmp_path_factory.mktemp("languages")
    try:
        done = subprocess.run(
            ["localedef", "-i", "de_DE", "-f", "UTF-8", str(folder / "de_DE.UTF-8")],
            capture_output=True,
            check=False,
        )
    except FileNotFoundError:
        pytest.skip("localedef is not installed")
    if not (folder / "de_DE.UTF-8").is_dir():
        pytest.skip(f"the language cannot be made here: {done.stderr.decode()[:80]}")
    return {"LOCPATH": str(folder), "LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8"}


def test_a_language_with_decimal_commas_changes_no_number(job, tmp_path, german):
    put_at(job, "2026-10-25T01:50:00.000+02:00")
    numbers = (["status", "J"], ["limits"])
    usual, taken = (
        answers(tmp_path, commands=numbers, LC_ALL="C.UTF-8"),
        answers(tmp_path, TAKEN_OVER, numbers, **german),
    )
    assert all(said.startswith(",\n") for said in taken), "the language did write commas"
    assert [said.removeprefix(",\n") for said in taken] == usual and any(
        re.search(r"\d\.\d", said) for said in usual
    )


def test_nothing_of_ours_writes_by_the_computers_language():
    """`n` in a format, names of months and days, and `locale` are what a language changes."""
    found = []
    for path in (ROOT / "startkit").rglob("*.py"):
        if path.name == "doctor.py":  # it tells what the computer's language is
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found += [
            f"{path.name}: locale"
            for node in ast.walk(tree)
            if isinstance(node, ast.Import | ast.ImportFrom)
            and "locale" in [a.name for a in node.names] + [getattr(node, "module", "")]
        ]
        found += [
            f"{path.name}: {node.args[0].value}"
            for node in ast.walk(tree)
            if isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr == "strftime"
            and node.args
            and isinstance(node.args[0], ast.Constant)
            and re.search("%[aAbBcxXpn]", str(node.args[0].value))
        ]
        found += [
            f"{path.name}: :n"
            for node in ast.walk(tree)
            if isinstance(node, ast.FormattedValue)
            and isinstance(node.format_spec, ast.JoinedStr)
            and any(
                isinstance(part, ast.Constant) and str(part.value).endswith("n")
                for part in node.format_spec.values
            )
        ]
    assert found == []


@pytest.mark.parametrize("encoding", ["cp1252", "latin-1", "cp437"])
def test_a_console_without_our_signs_gets_question_marks_and_no_traceback(job, tmp_path, encoding):
    assert "? Setup" in answers(tmp_path, commands=(["status", "J"],), PYTHONIOENCODING=encoding)[0]


def test_every_text_file_is_opened_with_its_encoding():
    """The default differs between computers; Windows takes its code page."""
    found = []
    for path in [*(ROOT / "startkit").rglob("*.py"), *(ROOT / "workbook").rglob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr in ("read_text", "write_text", "open")
                and not _is_sure(node)
            ):
                found.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert found == []


def _is_sure(node: ast.Call) -> bool:
    """True for a call that names its encoding, opens bytes, or opens no file of text."""
    named = any(keyword.arg == "encoding" for keyword in node.keywords)
    if node.func.attr != "open":
        return named or (
            isinstance(node.func.value, ast.Name) and node.func.value.id == "readings"
        )  # our own reader of texts
    modes = [
        a.value
        for a in [*node.args, *(k.value for k in node.keywords if k.arg == "mode")]
        if isinstance(a, ast.Constant) and isinstance(a.value, str)
    ]
    on_path = isinstance(node.func.value, ast.Name | ast.Attribute) and not (
        isinstance(node.func.value, ast.Name) and node.func.value.id[:1].isupper()
    )
    other = isinstance(node.func.value, ast.Name) and node.func.value.id in (
        "os",
        "zipfile",
        "webbrowser",
        "keys",
        "Job",
        "Journal",
    )
    return named or other or not on_path or any("b" in mode for mode in modes if len(mode) < 4)


# --- names of files -------------------------------------------------------------------------------

FORBIDDEN = re.compile(r'[<>:"|?*\\\x00-\x1f\x7f]')


def names() -> list[str]:
    """Every file of the repository."""
    done = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        capture_output=True,
        cwd=ROOT,
        check=False,
    )
    if done.returncode:
        pytest.skip("this is not a checkout")
    return [name for name in done.stdout.decode().split("\0") if name]


def fault_of_name(name: str) -> str:
    """Why some computer cannot have a file of this name; empty if every one can."""
    for part in name.split("/"):
        if FORBIDDEN.search(part):
            return "a sign that Windows does not allow"
        if part.endswith((".", " ")) or part.startswith(" "):
            return "a blank or dot at its end"
        if safe_files.is_reserved(part):
            return "the name of a device"
        if len(part) > 120 or len(part.encode()) > 240:
            return "too long"
    return "too long a path" if len(name) > 180 else ""


def test_every_file_of_the_repository_can_lie_on_every_computer():
    assert [(name, fault) for name in names() if (fault := fault_of_name(name))] == []


def test_no_two_files_differ_by_case_or_accents_alone():
    """Windows and macOS take them for one; macOS takes an accent apart from its letter."""
    seen: dict[str, str] = {}
    for name in names():
        for depth in range(1, name.count("/") + 2):
            part = "/".join(name.split("/")[:depth])
            assert seen.setdefault(unicodedata.normalize("NFC", part).casefold(), part) == part


@pytest.mark.parametrize(
    "name",
    [
        "con",
        "CON.csv",
        "aux.tar.gz",
        "a:b",
        "a?b",
        "x ",
        "x.",
        "lpt1",
        "a\\b",
        "com¹",
        "nul .txt",
        "b" * 200,
    ],
)
def test_the_rule_knows_a_bad_name(name):
    assert fault_of_name(name)


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        st.text(max_size=200),
        st.sampled_from(
            [
                "con",
                "CON",
                "nul.pdf",
                "aux.x.y",
                "lpt9",
                "...",
                "",
                " ",
                "a" * 300,
                "Ü",
                "../../x",
                "c:\\x",
                ".hidden",
                "-rf",
                "x. . .",
            ]
        ),
    )
)
def test_a_name_made_from_a_tag_can_lie_on_every_computer(tag):
    for suffix in (
        ".ipynb",
        "-commissioning-record.pdf",
        "-failed.ipynb",
        "-commissioning-record-B.pdf",
    ):
        assert fault_of_name(file_safe(tag) + suffix) == ""
    assert not file_safe(tag).startswith((".", "-")) and file_safe(file_safe(tag)) == file_safe(tag)


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        st.text(max_size=120),
        st.sampled_from(["con", "CON", "nul.x", "lpt1", "a" * 300, "---", "Ü"]),
    ).filter(lambda name: "/" not in name and "\0" not in name)
)
def test_a_trend_is_kept_under_a_name_that_every_computer_takes(name):
    assert fault_of_name(importer._name_of(Path(f"{name}.csv")) + ".csv") == ""


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        st.text(min_size=1, max_size=60),
        st.sampled_from(["con", "nul.x", "a.", "a ", ".a", "CH-1", "CH 1 start-up", "a/b", "a:b"]),
    ).filter(lambda name: name not in (".", "..") and "/" not in name and "\0" not in name)
)
def test_a_job_folder_is_only_made_where_every_computer_takes_its_name(name):
    try:
        check_new_folder(Path("nowhere") / name)
    except StartkitError:
        return
    assert fault_of_name(name) == ""

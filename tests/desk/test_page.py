"""The page before it is served: what it is told, and what is refused in a sentence."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from startkit.cli import main
from startkit.desk import page
from startkit.errors import JobError
from startkit.facts.job import Job
from tests.desk.sample import make_job


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return make_job(tmp_path)


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def test_it_listens_to_this_computer_only_with_a_new_token_each_time(job: Job) -> None:
    one, other = page.configuration(job), page.configuration(job)
    assert one.Voila.ip == "127.0.0.1"
    assert len(one.Voila.token) >= 32 and one.Voila.token != other.Voila.token


def test_it_serves_one_notebook_no_file_no_source_and_no_error_text(job: Job) -> None:
    told = page.configuration(job).VoilaConfiguration
    assert (told.file_allowlist, told.strip_sources, told.show_tracebacks) == ([], True, False)
    assert (told.template, told.allow_template_override, told.allow_theme_override) == (
        "startkit",
        "NO",
        "NO",
    )


def test_kernels_of_closed_pages_are_ended_and_those_of_open_ones_kept(job: Job) -> None:
    told = page.configuration(job).MappingKernelManager
    assert (
        600 <= told.cull_idle_timeout <= 7200
        and told.cull_interval <= 300
        and told.cull_connected is False
    )


def test_the_template_names_no_other_computer() -> None:
    for path in (page.HOME / "voila").rglob("*"):
        if path.is_file():
            text = path.read_text(encoding="utf-8")
            assert "//" not in text.replace("// ", ""), path.name


def test_without_voila_it_says_what_to_install(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "voila.app", None)
    result = run("open", job.folder, "--page")
    assert result.exit_code == 2
    # The name startkit alone is someone else's package on the public index.
    assert "Voila" in result.stderr and "pip install -e '.[page]'" in result.stderr


def test_an_address_without_a_page_is_misuse(job: Job) -> None:
    result = run("open", job.folder, "--address", "0.0.0.0")
    assert result.exit_code == 2 and "--address goes with --page" in result.stderr


def test_an_address_that_this_computer_does_not_have_is_one_sentence(job: Job) -> None:
    pytest.importorskip("voila")
    with pytest.raises(JobError, match=r"192\.0\.2\.1"):
        page.serve_page(job.folder, browser=False, address="192.0.2.1")


def test_a_job_without_its_notebook_is_one_sentence(job: Job) -> None:
    pytest.importorskip("voila")
    job.template.unlink()
    with pytest.raises(JobError, match="notebook"):
        page.serve_page(job.folder, browser=False)


def test_the_token_is_handed_to_the_browser_in_a_file_of_this_person_only(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    opened: list[str] = []
    monkeypatch.setattr(page.webbrowser, "open", opened.append)
    page._open("http://127.0.0.1:8866/?token=abc&x=<y>")
    assert "abc" not in opened[0]
    file = Path(opened[0].removeprefix("file://"))
    assert "token=abc&amp;x=&lt;y&gt;" in file.read_text(encoding="utf-8")
    if sys.platform != "win32":
        assert file.stat().st_mode & 0o077 == 0
    file.unlink()

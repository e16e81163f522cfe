"""A sample job and its open book."""

from __future__ import annotations

from pathlib import Path

import pytest

from startkit.desk.book import Book
from startkit.desk.messages import answer
from startkit.desk.notebook import open_book
from startkit.facts.job import Job
from tests.desk.sample import STAGES, make_job


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return make_job(tmp_path)


@pytest.fixture
def book(job: Job) -> Book:
    opened = open_book(job.folder, "form", STAGES)
    answer(opened, "oil", {"id": 1, "ask": "desk", "who": "A. Technician"})
    yield opened
    assert opened.settle()


@pytest.fixture
def save(book: Book):
    """Send one change to the stage Oil and give the answer."""

    def saved(field: str, value: str, unit: str = "", note: str = "", **more: object) -> dict:
        return answer(
            book,
            "oil",
            {
                "id": 2,
                "ask": "save",
                "note": note,
                "changes": [{"field": field, "value": value, "unit": unit, **more}],
            },
        )

    return saved

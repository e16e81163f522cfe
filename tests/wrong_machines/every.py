"""Every row of wrong machines."""

from __future__ import annotations

from tests.wrong_machines import rows, running

ROWS = (*rows.ROWS, *running.ROWS)

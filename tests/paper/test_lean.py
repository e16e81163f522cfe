"""What our own processes leave out."""

from __future__ import annotations

import subprocess
import sys


def test_a_notebook_is_validated_without_the_grammar_of_addresses() -> None:
    code = ("import sys; from startkit.paper import lean; lean.addresses(); import nbformat; nbformat.validate(nbformat.v4.new_notebook());"
            " print(sys.modules.get('rfc3987_syntax'), 'jsonschema' in sys.modules)")
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split() == ["None", "True"]


def test_where_it_is_loaded_already_it_stays() -> None:
    code = "import sys; sys.modules['rfc3987_syntax'] = there = object(); from startkit.paper import lean; lean.addresses(); print(sys.modules['rfc3987_syntax'] is there)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "True"


def test_the_property_library_does_not_complain_at_the_end() -> None:
    code = "from startkit.paper import lean; lean.ending(); from startkit.science import refrigerant_equations as e; from startkit.science.refrigerant_data import find; e.state(find('R-134a'))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == done.stderr == ""


def test_a_process_ends_with_its_own_status() -> None:
    assert subprocess.run([sys.executable, "-c", "from startkit.paper import lean; lean.ending(); raise SystemExit(3)"], check=False).returncode == 3


def test_verification_begins_with_the_signatures_before_it_loads_what_judges() -> None:
    code = "import sys, startkit.paper.verification; print([m for m in ('numpy', 'pint', 'typst', 'startkit.facts.job') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"

"""Files made to fill memory or to keep a reader busy: refused in a sentence, within 2 s of
processor time and 1 GB.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from benchmarks.fuzz import MOST_MEMORY
from benchmarks.fuzz_base import MACHINES
from benchmarks.fuzz_targets import _workbook

ROOT = Path(__file__).parents[2]
SLOWEST = float(
    os.environ.get("STARTKIT_SLOWEST", "4")
)  # s; twice what is promised, for a busy computer
SHEET = (MACHINES / "CH-1.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def reader() -> Iterator[Callable[[str, bytes, Path], dict]]:
    """What a process of its own makes of a file."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.trust.reader"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert process.stdin is not None and process.stdout is not None

    def result(name: str, data: bytes, folder: Path) -> dict:
        path = folder / "flood"
        path.write_bytes(data)
        process.stdin.write(json.dumps([name, str(path)]) + "\n")
        process.stdin.flush()
        return json.loads(process.stdout.readline())

    yield result
    process.stdin.close()
    process.wait(20)


def workbook(part: str, content: bytes, ballast: int = 0) -> bytes:
    """A workbook with one part exchanged; `ballast` bytes that cannot be packed hide how well the
    rest is.
    """
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(_workbook())) as archive,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as made,
    ):
        for name in archive.namelist():
            made.writestr(name, content if name == part else archive.read(name))
        if ballast:
            made.writestr("ballast.bin", os.urandom(ballast))
    return stream.getvalue()


def cells(count: int, width: int = 20) -> bytes:
    """A sheet of many small cells."""
    head = (
        b'<?xml version="1.0"?><worksheet'
        b' xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    )
    return (
        head
        + (b"<row>" + b"<c><v>1</v></c>" * width + b"</row>") * (count // width)
        + b"</sheetData></worksheet>"
    )


LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(10))
    + b"]><worksheet"
    b' xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row><c'
    b' t="str"><v>&k;</v></c></row></sheetData></worksheet>'
)
OUTSIDE = (
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><sst'
    b' xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>&a;</t></si></sst>'
)
SHEET1 = "xl/worksheets/sheet1.xml"


def flooded_pdf(size: int) -> bytes:
    packed = zlib.compress(b"\\0" * size, 9)
    head = (
        b"%PDF-1.7\n1 0 obj\n<</Type/Catalog/Names<</EmbeddedFiles<</Names[(record.json)2 0"
        b" R]>>>>>>\nendobj\n2 0 obj\n<</EF<</F 3 0 R>>/UF(record.json)>>\nendobj\n"
    )
    body = (
        b"3 0 obj\n<</Filter/FlateDecode/Length %d>>stream\n" % len(packed)
        + packed
        + b"\nendstream\nendobj\n"
    )
    places = [head.index(b"1 0 obj"), head.index(b"2 0 obj"), len(head)]
    rows = b"".join(b"%010d 00000 n \n" % place for place in places)
    return (
        head
        + body
        + b"xref\n0 4\n0000000000 65535 f \n"
        + rows
        + b"trailer\n<</Size 4/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF" % (len(head) + len(body))
    )


def repeated_parquet() -> bytes:
    """Ten million times the same long text, in a few kilobytes."""
    import pyarrow as pa
    from pyarrow import parquet

    stream = io.BytesIO()
    text = pa.DictionaryArray.from_arrays(
        pa.array([0] * 1_000_000, pa.int32()), pa.array(["x" * 2000])
    )
    parquet.write_table(pa.table({"Time": text, "CHWS Temp (°C)": text}), stream)
    return stream.getvalue()


FLOODS: dict[str, tuple[str, Callable[[], bytes]]] = {
    "a zip bomb": ("trend, archive", lambda: workbook(SHEET1, b"<" * 80_000_000)),
    "a zip bomb that hides its ratio": (
        "trend, archive",
        lambda: workbook(SHEET1, cells(int(os.environ.get("STARTKIT_CELLS", "250000"))), 2_000_000),
    ),
    "a billion laughs": ("trend, archive", lambda: workbook(SHEET1, LAUGHS)),
    "an entity that names a file": (
        "trend, archive",
        lambda: workbook("xl/sharedStrings.xml", OUTSIDE),
    ),
    "a billion laughs in the entry sheet": ("entry sheet", lambda: b"\x00" + LAUGHS),
    "the row number 10^18": (
        "trend, archive",
        lambda: workbook(SHEET1, cells(40).replace(b"<row>", b'<row r="1000000000000000000">', 1)),
    ),
    "a million columns": (
        "trend, text",
        lambda: (
            b"Time"
            + b",a" * 1_000_000
            + b"\n"
            + (b"2026-04-16 08:00:00" + b",1" * 1_000_000 + b"\n") * 3
        ),
    ),
    "a hundred thousand columns": (
        "trend, text",
        lambda: (
            b"Time"
            + b",a" * 100_000
            + b"\n"
            + (b"2026-04-16 08:00:00" + b",1" * 100_000 + b"\n") * 3
        ),
    ),
    "one line of digits": ("trend, text", lambda: b"Time,A\n" + b"1" * 3_000_000 + b",2\n" * 3),
    "a name as long as the file": (
        "trend, text",
        lambda: b"Time,A" + b" (" * 60_000 + b"\n" + b"2026-04-16 08:00:00,1\n" * 20,
    ),
    "a million columns of readings": (
        "readings",
        lambda: b"item,value" + b",note" * 1_000_000 + b"\na,1\n",
    ),
    "one open quotation mark": ("readings", lambda: b'item,value\na,"' + b"1\n" * 5_000_000),
    "ten million faulty lines": ("readings", lambda: b"item,value\n" + b"a,1\n" * 4_000_000),
    "a pasted block of a million cells": ("series", lambda: b"1\t" * 100_000 + b"\n"),
    "a number of a million digits": ("units", lambda: b"1" * 1_000_000 + b" kPa"),
    "a number of a million marks": ("units", lambda: b"1,2." * 250_000),
    "an accuracy of ten thousand terms": ("instruments", lambda: b"0.1 K + " * 10_000),
    "deep brackets in the sheet": ("sheet", lambda: SHEET.encode() + b"\nx = " + b"[" * 1_000_000),
    "a deep key in the sheet": (
        "sheet",
        lambda: SHEET.replace("voltage = ", "voltage" + ".a" * 20_000 + " = ").encode(),
    ),
    "a deep key in the limits": (
        "limits",
        lambda: b'[limits]\n"lube.oil_superheat"' + b".a" * 20_000 + b" = 1\n",
    ),
    "a deep key in a check list": (
        "check list",
        lambda: b'name = "x"\ntitle' + b".a" * 20_000 + b" = 1\n",
    ),
    "a sheet of a hundred megabytes": ("sheet", lambda: SHEET.encode() + b"# \n" * 35_000_000),
    "a line of blanks in the sheet": (
        "sheet",
        lambda: SHEET.encode() + b'\nx = """\n[' + b" " * 100_000 + b'\n"""\n',
    ),
    "a line of dots in the sheet": (
        "sheet",
        lambda: SHEET.encode() + b'\nx = """\n' + b"a." * 100_000 + b'\n"""\n',
    ),
    "a deep baseline": ("baseline", lambda: b'{"figures":' * 200_000 + b"1" + b"}" * 200_000),
    "a deep record": ("record, carried", lambda: b"r" + b"[" * 500_000),
    "a deep journal": ("record, carried", lambda: b'j{"entries":' + b"[" * 500_000),
    "a deep notebook": ("notebook", lambda: b'{"cells":' * 200_000),
    "deep quotations in a notebook": (
        "notebook",
        lambda: json.dumps(
            {
                "cells": [
                    {
                        "cell_type": "markdown",
                        "id": "a",
                        "metadata": {},
                        "source": ">" * 20_000 + " x",
                    }
                ],
                "metadata": {},
                "nbformat": 4,
                "nbformat_minor": 5,
            }
        ).encode(),
    ),
    "deep brackets in a notebook": (
        "notebook",
        lambda: json.dumps(
            {
                "cells": [
                    {
                        "cell_type": "markdown",
                        "id": "a",
                        "metadata": {},
                        "source": "[" * 20_000 + "*" * 20_000,
                    }
                ],
                "metadata": {},
                "nbformat": 4,
                "nbformat_minor": 5,
            }
        ).encode(),
    ),
    "a record of packed zeros": ("record, PDF", lambda: flooded_pdf(1_500_000_000 // 10)),
    "the same text a million times": ("trend, Parquet", repeated_parquet),
}


# Nothing tells these from long recordings: they are read, in time that grows with their size and no
# faster.
HONEST = ("a zip bomb that hides its ratio",)


@pytest.mark.parametrize("name", list(FLOODS))
def test_a_file_made_to_flood_is_said_so_in_time_and_memory(
    name: str, tmp_path: Path, reader
) -> None:
    target, made = FLOODS[name]
    found = reader(target, made(), tmp_path)
    assert found["wrong"] == ""
    assert found["took"] < (SLOWEST if name not in HONEST else 60), found
    assert found["memory"] < MOST_MEMORY, found

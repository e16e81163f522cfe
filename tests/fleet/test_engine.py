"""The engine: every output as a stock kernel gives it, cell by cell; a fresh process for each
notebook.
"""

from __future__ import annotations

import asyncio
import os
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import nbformat
import papermill
import pytest
from nbclient.exceptions import DeadKernelError
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from startkit.errors import PaperError
from startkit.fleet import engine, workers
from startkit.paper.printing import runs

KERNEL = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
# What a template, a stage or a check list of a company may do in a cell.
CELLS = {
    "value": "1 + 1",
    "nothing": "None",
    "quiet": "3 + 4;",
    "streams in turn": (
        "import sys\nprint('out')\nprint('err', file=sys.stderr)\nprint('out again')"
    ),
    "below Python": "import os\nprint('above')\nsys.stdout.flush()\nos.system('echo below')\nNone",
    "shell line": "!echo from a shell",
    "rich object": (
        "class Part:\n    def _repr_html_(self):\n        return '<b>part</b>'\n    def"
        " _repr_mimebundle_(self, include=None, exclude=None):\n        return"
        " {'application/x-part+json': {'a': (1, 2.5, None, 'é')}}, {'seen': True}\nPart()"
    ),
    "display": (
        "from IPython.display import HTML, Markdown, SVG, clear_output, display,"
        " update_display\ndisplay(HTML('<i>x</i>'), Markdown('**y**'))\n'last'"
    ),
    "display handle": (
        "handle = display('first', display_id='spot')\nprint('between')\nhandle.update('second')"
    ),
    "update from another cell": "update_display('third', display_id='spot')",
    "clear": "print('gone')\nclear_output()\nprint('kept')",
    "clear and wait": "print('gone')\nclear_output(wait=True)\nprint('kept')",
    "clear and wait for nothing": "print('kept too')\nclear_output(wait=True)",
    "inline plot": (
        "import matplotlib.pyplot as plt\nplt.rcParams['svg.hashsalt'] = 'x'\nfig, ax ="
        " plt.subplots(figsize=(2, 1))\nax.plot([1, 2, 3])\nplt.show()"
    ),
    "plot without show": "plt.plot([3, 1])",
    "left from before": "_ , Out[1], In[1]",
    "magic": "%precision 3\n3.14159265",
    "cell magic": "%%capture caught\nprint('caught')",
    "what was caught": "caught.stdout",
    "await": "import asyncio\nawait asyncio.sleep(0)\n'awaited'",
    "task goes on": (
        "async def later():\n    await asyncio.sleep(0.01)\n    return 'done'\ntask ="
        " asyncio.ensure_future(later())"
    ),
    "task is awaited": "await task",
    "in the loop": "asyncio.get_running_loop().is_running()",
    "main": "__name__, type(get_ipython()).__name__",
    "pickled by name": (
        "import pickle\nclass Mine:\n    pass\ntype(pickle.loads(pickle.dumps(Mine()))).__name__"
    ),
    "input": (
        "try:\n    input('say')\nexcept Exception as error:\n    print(type(error).__name__, error)"
    ),
    "help": "int.bit_length?",
    "logging": "import logging\nlogging.warning('to stderr')",
    "thread": (
        "import threading\nthread = threading.Thread(target=print, args=('from a"
        " thread',))\nthread.start()\nthread.join()"
    ),
    "not a number": (
        "import numpy as np\ndisplay({'application/json': {'x': 1.5}}, raw=True)\nnp.float64(2.5)"
    ),
    "long": "list(range(2000))",
    "lone surrogate": "print('a' + chr(0x1F600))",
    "last line without end": "print('no end', end='')",
}
STABLE = {
    name: source for name, source in CELLS.items() if name != "below Python"
}  # a kernel catches that in its own time


def notebook(*sources: str, tags: dict[int, list[str]] | None = None) -> Any:
    cells = [
        new_code_cell(source, id=f"c{n}", metadata={"tags": (tags or {}).get(n, [])})
        for n, source in enumerate(sources)
    ]
    return new_notebook(cells=[new_markdown_cell("# Head", id="head"), *cells], metadata=KERNEL)


def run(node: Any, folder: Path, name: str | None) -> tuple[Any, Any]:
    executed, failure = runs.execute(node, {}, folder, name)
    return runs.settled(executed), failure


def comparable(output: Any) -> str:
    """An output without what differs between any two processes: their number in names of temporary
    files, addresses in memory.
    """
    return re.sub(
        r"0x[0-9a-f]{8,}", "0xN", re.sub(r"ipykernel_\d+", "ipykernel_N", repr(dict(output)))
    )


@pytest.fixture(autouse=True)
def engines() -> None:
    engine.register()


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, Any]:
    """The same notebook by a stock kernel and by our engine."""
    engine.register()
    folder = tmp_path_factory.mktemp("both")
    node = notebook(*STABLE.values())
    return run(node, folder, None), run(node, folder, engine.NAME)


@pytest.mark.parametrize("name", STABLE)
def test_a_cell_gives_what_a_stock_kernel_gives(both: tuple[Any, Any], name: str) -> None:
    number = 1 + list(STABLE).index(name)
    stock, ours = (executed.cells[number] for executed, _ in both)
    assert [comparable(output) for output in ours.outputs] == [
        comparable(output) for output in stock.outputs
    ]
    assert ours.execution_count == stock.execution_count


def test_nothing_but_the_cells_differs_either(both: tuple[Any, Any]) -> None:
    stock, ours = (executed for executed, _ in both)
    assert ours.metadata == stock.metadata
    assert [(c.cell_type, c.source, c.metadata, c.id) for c in ours.cells] == [
        (c.cell_type, c.source, c.metadata, c.id) for c in stock.cells
    ]


def test_what_is_written_below_python_is_not_lost(tmp_path: Path) -> None:
    node, _ = run(notebook(CELLS["streams in turn"], CELLS["below Python"]), tmp_path, engine.NAME)
    assert node.cells[2].outputs[0].text == "above\nbelow\n"


@pytest.mark.parametrize(
    "source",
    [
        "1 / 0",
        "def f():\n    raise KeyError('deep')\nf()",
        "x = (",
        "print('before')\nraise SystemExit(3)",
        "await __import__('asyncio').sleep('x')",
    ],
)
def test_a_failing_cell_stops_the_notebook_with_the_same_error(tmp_path: Path, source: str) -> None:
    node = notebook("'first'", source, "'never'")
    (stock, failure), (ours, our_failure) = (
        run(node, tmp_path, name) for name in (None, engine.NAME)
    )
    assert our_failure == failure
    assert [[comparable(o) for o in c.get("outputs", [])] for c in ours.cells] == [
        [comparable(o) for o in c.get("outputs", [])] for c in stock.cells
    ]


def test_after_an_error_that_is_expected_the_next_cell_runs(tmp_path: Path) -> None:
    node = notebook("1 / 0", "'after'", tags={0: ["raises-exception"]})
    (stock, failure), (ours, our_failure) = (
        run(node, tmp_path, name) for name in (None, engine.NAME)
    )
    assert ours.cells[2].outputs[0].data["text/plain"] == "'after'"
    assert our_failure == failure and [c.get("outputs") for c in ours.cells] == [
        c.get("outputs") for c in stock.cells
    ]


def test_a_cell_that_quits_the_kernel_is_said_to_have_killed_it(tmp_path: Path) -> None:
    with pytest.raises(PaperError, match="the notebook's kernel died"):
        run(notebook("exit()", "1"), tmp_path, engine.NAME)


def test_a_process_that_is_killed_by_its_own_cell_is_named_and_nothing_hangs(
    tmp_path: Path,
) -> None:
    with pytest.raises(PaperError, match="the notebook's kernel died"):
        run(
            notebook("import os, signal\nos.kill(os.getpid(), signal.SIGKILL)"),
            tmp_path,
            engine.NAME,
        )


def test_a_cell_that_never_ends_is_ended(tmp_path: Path) -> None:
    node = notebook("while True:\n    pass")
    path = tmp_path / "in.ipynb"
    nbformat.write(node, path)
    with pytest.raises(DeadKernelError, match="1 s"):
        papermill.execute_notebook(
            str(path), None, engine_name=engine.NAME, execution_timeout=1, progress_bar=False
        )


def test_each_notebook_has_a_process_of_its_own_and_finds_nothing_of_the_one_before(
    tmp_path: Path,
) -> None:
    first, _ = run(
        notebook("import os, math\nmath.left = 1\nkept = 2\nos.getpid()"), tmp_path, engine.NAME
    )
    second, _ = run(
        notebook("import os, math\nhasattr(math, 'left'), 'kept' in globals(), os.getpid()"),
        tmp_path,
        engine.NAME,
    )
    assert second.cells[1].outputs[0].data["text/plain"].startswith("(False, False,")
    assert (
        first.cells[1].outputs[0].data["text/plain"]
        not in second.cells[1].outputs[0].data["text/plain"]
    )


def test_a_process_that_ran_a_notebook_itself_is_given_back_as_it_was(tmp_path: Path) -> None:
    before = dict(os.environ), sys.modules["__main__"], sys.stdout
    run(
        notebook("import os\nos.environ['LEFT'] = 'behind'\nos.environ['FORCE_COLOR']"),
        tmp_path,
        engine.IN_PROCESS,
    )
    assert (dict(os.environ), sys.modules["__main__"], sys.stdout) == before


def test_a_notebook_runs_here_also_where_a_loop_is_running(tmp_path: Path) -> None:
    async def inside() -> Any:
        return run(
            notebook("import asyncio\nawait asyncio.sleep(0)\n'awaited'"),
            tmp_path,
            engine.IN_PROCESS,
        )[0]

    with ThreadPoolExecutor(1) as thread:  # another test may have left a loop in this one
        assert (
            thread.submit(asyncio.run, inside()).result().cells[1].outputs[0].data["text/plain"]
            == "'awaited'"
        )


@pytest.mark.skipif(workers.usual_method() != workers.FORKSERVER, reason="only Linux forks")
def test_the_imports_are_there_before_the_first_cell(tmp_path: Path) -> None:
    ours, _ = run(
        notebook(
            "import sys\n[name in sys.modules for name in ('scipy.optimize', 'matplotlib',"
            " 'startkit.desk.book')]"
        ),
        tmp_path,
        engine.NAME,
    )
    assert ours.cells[1].outputs[0].data["text/plain"] == "[True, True, True]"


def test_papermill_finds_the_engine_by_its_name(tmp_path: Path) -> None:
    node = notebook("tag = 'none'", "tag", tags={0: ["parameters"]})
    nbformat.write(node, tmp_path / "in.ipynb")
    command = [
        sys.executable,
        "-m",
        "papermill",
        "--engine",
        "startkit",
        "--no-progress-bar",
        "in.ipynb",
        "out.ipynb",
        "-p",
        "tag",
        "CH-1",
    ]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert (
        nbformat.read(tmp_path / "out.ipynb", 4).cells[-1].outputs[0].data["text/plain"] == "'CH-1'"
    )

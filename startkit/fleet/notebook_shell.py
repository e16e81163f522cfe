"""A shell that runs a notebook's cells in this process, with the outputs that a kernel would give.

The kernel's own shell class does the work; what it would send over a socket goes to nbclient's own
bookkeeping instead. So the same code as in a kernel makes each output, without the time that a
kernel takes to start.
"""

# `Any` here: a kernel's messages, and what nbclient hands on untyped.
from __future__ import annotations

import asyncio
import builtins
import io
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from types import ModuleType, SimpleNamespace
from typing import Any

from ipykernel.compiler import XCachingCompiler
from ipykernel.ipkernel import IPythonKernel
from ipykernel.zmqshell import ZMQInteractiveShell
from IPython.core.error import StdinNotImplementedError
from jupyter_client.session import Session
from nbclient.exceptions import CellExecutionError, DeadKernelError
from papermill.clientwrap import PapermillNotebookClient
from traitlets.config import Config

Message = dict[str, Any]
INLINE = "module://matplotlib_inline.backend_inline"


class Tape(Session):
    """Receives the shell's messages: packs and unpacks them as on the wire, then passes them on."""

    hand_on: Callable[[Message], None] = staticmethod(lambda message: None)

    def send(
        self,
        stream: Any,
        msg_or_type: Any,
        content: Any = None,
        parent: Any = None,
        *rest: Any,
        **more: Any,
    ) -> Message:
        message = (
            self.msg(msg_or_type, content, parent) if isinstance(msg_or_type, str) else msg_or_type
        )
        plain = {**message, "content": self.unpack(self.pack(message["content"]))}
        self.hand_on(plain)
        return message


class Stream(io.TextIOBase):
    """Standard output or error of a cell: buffered until it is flushed, as in a kernel."""

    encoding = "UTF-8"
    errors = None

    def __init__(self, tape: Tape, name: str, number: int) -> None:
        self._tape, self.name, self._number = tape, name, number
        self._kept: list[str] = []

    def write(self, text: str) -> int:
        if not isinstance(text, str):
            raise TypeError(f"write() argument must be str, not {type(text)}")
        self._kept.append(text)
        return len(text)

    def flush(self) -> None:
        text, self._kept = "".join(self._kept), []
        if text:
            self._tape.send(None, "stream", {"name": self.name, "text": text})

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self._number


class Shell:
    """One shell for one notebook: `run` gives a cell's reply, its messages go to `hand_on`."""

    def __init__(self) -> None:
        self.tape = Tape(key=b"", debug=False)
        self._environment = dict(
            os.environ
        )  # to which the kernel's shell adds colours and pagers of its own
        self._loop = asyncio.new_event_loop()
        asyncio.set_event_loop(self._loop)
        os.environ.setdefault("MPLBACKEND", INLINE)
        self._main = sys.modules["__main__"]  # which the shell takes the place of
        self._shell = _new_shell(self.tape)
        self._streams = Stream(self.tape, "stdout", 1), Stream(self.tape, "stderr", 2)

    def run(self, source: str, hand_on: Callable[[Message], None]) -> Message:
        """Run one cell.

        Returns
        -------
        dict
            Content of an ``execute_reply``: ``status``, and after an error ``ename``, ``evalue``,
            ``traceback``.
        """
        self.tape.hand_on = hand_on
        self.tape.send(
            None, "execute_input", {"code": source, "execution_count": self._shell.execution_count}
        )
        with _standing_in(self._streams), _below(self._streams), _no_input():
            result = self._loop.run_until_complete(self._cell(source))
        if self._shell.exit_now:
            raise DeadKernelError("Kernel died")
        error = result.error_before_exec or result.error_in_exec
        if result.success and not getattr(self._shell, "_last_traceback_during_displayhook", False):
            return {"status": "ok"}
        return {
            "status": "error",
            "ename": type(error).__name__,
            "evalue": str(error),
            "traceback": self._shell._last_traceback or [],  # noqa: SLF001 - as ipykernel does
        }

    async def _cell(self, source: str) -> Any:
        """Run a cell; only one with a top-level ``await`` runs as a coroutine of the loop."""
        shell, fault = self._shell, None
        try:
            transformed = shell.transform_cell(source)
        except Exception:
            transformed, fault = source, sys.exc_info()
        if not shell.should_run_async(
            source, transformed_cell=transformed, preprocessing_exc_tuple=fault
        ):
            return shell.run_cell(source, store_history=True)
        result = None
        try:
            result = await shell.run_cell_async(
                source,
                store_history=True,
                transformed_cell=transformed,
                preprocessing_exc_tuple=fault,
            )
        finally:
            shell.events.trigger("post_execute")
            shell.events.trigger("post_run_cell", result)
        return result

    def close(self) -> None:
        """Restore the process: release everything that belongs to the notebook."""
        self._loop.run_until_complete(self._loop.shutdown_asyncgens())
        self._loop.close()
        # Its flush would collect garbage while the namespace still holds everything.
        hook = self._shell.displayhook
        hook.flush = lambda: None  # type: ignore[method-assign]  # this one shell only
        self._shell.reset(new_session=False)
        sys.modules["__main__"] = self._main
        os.environ.clear()
        os.environ.update(self._environment)
        ZMQInteractiveShell.clear_instance()


def _new_shell(tape: Tape) -> ZMQInteractiveShell:
    """A shell with its own namespace; the history stays in memory."""
    settings = Config()
    settings.HistoryManager.hist_file = ":memory:"
    ZMQInteractiveShell.clear_instance()
    module = ModuleType("__main__")
    kernel = SimpleNamespace(eventloop=None)  # what `exit()` looks for
    shell: Any = ZMQInteractiveShell.instance(
        config=settings,
        user_module=module,
        user_ns=module.__dict__,
        kernel=kernel,
        compiler_class=XCachingCompiler,
    )
    shell.displayhook.session = shell.display_pub.session = tape
    shell.displayhook.topic = b"execute_result"
    _as_if_new(shell)
    return shell


def _as_if_new(shell: ZMQInteractiveShell) -> None:
    """Set the shell up as in a new kernel, although libraries are imported already."""
    numpy, inline = sys.modules.get("numpy"), sys.modules.get("matplotlib_inline.backend_inline")
    if numpy is not None and shell.display_formatter is not None:
        shell.display_formatter.formatters["text/plain"].type_printers.pop(numpy.float64, None)
    if inline is not None:  # an earlier notebook drew in this process
        from matplotlib_inline.config import InlineBackend

        InlineBackend.clear_instance()
        inline.configure_inline_support.current_backend = "unset"
        inline.configure_inline_support(shell, INLINE)


@contextmanager
def _standing_in(streams: tuple[Stream, Stream]) -> Iterator[None]:
    """Replace ``sys.stdout`` and ``sys.stderr`` by our streams."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = streams
    try:
        yield
    finally:
        for stream in streams:
            stream.flush()
        sys.stdout, sys.stderr = before


@contextmanager
def _below(streams: tuple[Stream, Stream]) -> Iterator[None]:
    """Catch what is written below Python (a C library, a child process) for the cell as well, after
    the rest.
    """
    with ExitStack() as stack:
        for stream in streams:
            stack.enter_context(_caught(stream))
        yield


@contextmanager
def _caught(stream: Stream) -> Iterator[None]:
    number = stream.fileno()
    saved = os.dup(number)
    with tempfile.TemporaryFile() as file:
        os.dup2(file.fileno(), number)
        try:
            yield
        finally:
            os.dup2(saved, number)
            os.close(saved)
            file.seek(0)
            stream.write(file.read().decode("utf-8", "replace"))


@contextmanager
def _no_input() -> Iterator[None]:
    """Refuse ``input()``: a batch has no keyboard."""

    def refused(prompt: object = "") -> str:
        raise StdinNotImplementedError(
            "raw_input was called, but this frontend does not support input requests."
        )

    before = builtins.input
    builtins.input = refused
    try:
        yield
    finally:
        builtins.input = before


class Client(PapermillNotebookClient):
    """nbclient's bookkeeping around a `Shell`: which output belongs where, what is replaced, what
    is cleared.
    """

    def execute(self, **kwargs: Any) -> Any:
        """Run every cell of the notebook and return it."""
        self.reset_execution_trackers()
        self._here = Shell()
        try:
            self.papermill_execute_cells()
        finally:
            with suppress(RuntimeError):
                self._here.close()
        self.nb.metadata["language_info"] = dict(IPythonKernel.language_info)
        return self.nb

    def execute_cell(
        self,
        cell: Any,
        cell_index: int,
        execution_count: int | None = None,
        store_history: bool = True,
    ) -> Any:
        tags = cell.metadata.get("tags", [])
        if cell.cell_type != "code" or not cell.source.strip() or self.skip_cells_with_tag in tags:
            return cell
        cell.outputs = []
        self.clear_before_next_output = False
        reply = self._here.run(
            cell.source, lambda message: self.process_message(message, cell, cell_index)
        )
        if reply["status"] == "error" and not self._forgiven(reply, tags):
            raise CellExecutionError.from_cell_and_msg(cell, reply)
        return cell

    def _forgiven(self, reply: Message, tags: list[str]) -> bool:
        return not self.force_raise_errors and (
            self.allow_errors
            or reply["ename"] in self.allow_error_names
            or "raises-exception" in tags
        )

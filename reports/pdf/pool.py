"""Rendering processes: started, fed, watched and, when told to stop, killed."""

from __future__ import annotations

import json
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Self

ROOT = Path(__file__).resolve().parent.parent.parent
PATIENCE_S = 0.5
"""Time between two looks at whether somebody asked to stop."""

Ask = dict[str, Any]


class RenderingFailed(Exception):
    """A document could not be rendered; the message is fit for a user."""


class Stopped(Exception):
    """Somebody asked to stop; every rendering process is gone."""


class _Child:
    """One rendering process."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "reports.pdf.child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd=ROOT,
            text=True,
        )

    def answer(self, ask: Ask) -> Ask:
        """Ask for one thing and wait for it."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        line = ""
        with suppress(BrokenPipeError):
            self.process.stdin.write(json.dumps(ask) + "\n")
            self.process.stdin.flush()
            line = self.process.stdout.readline()
        if not line:
            raise RenderingFailed(_ending(self.process.wait()))
        answer: Ask = json.loads(line)
        if "error" in answer:
            raise RenderingFailed(str(answer["error"]))
        return answer

    def kill(self) -> None:
        """End the process at once and wait until it is gone."""
        self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                with suppress(BrokenPipeError):
                    pipe.close()


def _ending(code: int) -> str:
    if code == -signal.SIGXCPU:
        return "A part of the document took more processor time than is allowed."
    if code == -signal.SIGKILL:
        return "The rendering process was ended from outside, perhaps for want of memory."
    return f"The rendering process ended unexpectedly (code {code}); the worker's log says more."


class Pool:
    """Rendering processes that answer several rounds of asks; on leaving all are ended.

    Starting one takes about a second of processor time, so that a document keeps its own until
    it is bound.
    """

    def __init__(self, processes: int) -> None:
        self._children = [_Child() for _ in range(max(1, processes))]

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._end()

    def run(
        self,
        asks: Sequence[Ask],
        *,
        on_answer: Callable[[Ask], None],
        should_stop: Callable[[], bool],
    ) -> None:
        """Have the processes answer everything, in any order.

        Raises
        ------
        RenderingFailed
            One of them failed; the others are ended.
        Stopped
            ``should_stop`` said so; all are ended.
        """
        waiting: queue.SimpleQueue[Ask] = queue.SimpleQueue()
        for ask in asks:
            waiting.put(ask)
        answers: queue.SimpleQueue[Ask | Exception] = queue.SimpleQueue()
        threads = [
            threading.Thread(target=_feed, args=(child, waiting, answers), daemon=True)
            for child in self._children
        ]
        for thread in threads:
            thread.start()
        try:
            _gather(answers, len(asks), on_answer, should_stop)
        except BaseException:
            # A thread that waits for an answer only goes on when its process is gone.
            self._end()
            raise
        finally:
            for thread in threads:
                thread.join()

    def _end(self) -> None:
        for child in self._children:
            child.kill()


def _feed(
    child: _Child, waiting: queue.SimpleQueue[Ask], answers: queue.SimpleQueue[Ask | Exception]
) -> None:
    with suppress(queue.Empty):
        while True:
            ask = waiting.get_nowait()
            try:
                answers.put(child.answer(ask))
            except (RenderingFailed, OSError, ValueError) as error:
                answers.put(error)
                return


def _gather(
    answers: queue.SimpleQueue[Ask | Exception],
    count: int,
    on_answer: Callable[[Ask], None],
    should_stop: Callable[[], bool],
) -> None:
    missing = count
    while missing:
        try:
            answer = answers.get(timeout=PATIENCE_S)
        except queue.Empty:
            answer = {}
        if isinstance(answer, RenderingFailed):
            raise answer
        if isinstance(answer, Exception):
            raise RenderingFailed("The rendering process could not be reached.") from answer
        if answer:
            missing -= 1
            on_answer(answer)
        if should_stop():
            raise Stopped

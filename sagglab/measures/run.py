"""Tasks done by the processes that share them, as far as they are not kept from before."""

from __future__ import annotations

import signal
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from multiprocessing import resource_tracker

import joblib

from sagglab.measures.kept import MOST, Digests, memory
from sagglab.measures.reviews import Reviews
from sagglab.measures.task import Task, View, pictures_of, view_of


class Run:
    """Tasks done, by the processes that share them, as far as they are not kept from before."""

    def __init__(self, jobs: int, reviews: Reviews | None, afresh: bool) -> None:
        self._jobs, self._reviews, self._afresh = jobs, reviews, afresh
        self._memory, self._digests = memory(), Digests()
        self._new = False
        if reviews is not None:
            reviews.folder.mkdir(parents=True, exist_ok=True)

    def __call__(self, tasks: Mapping[int, Task | View]) -> Iterator[tuple[int, str, View]]:
        """Yield the place of each task, the key that it is kept under, and what came of it."""
        left = {}
        for place, task in tasks.items():
            if isinstance(task, View):
                yield place, "", task
                continue
            steps = _Steps(task.key(self._digests), task, self._memory, self._reviews)
            if steps.kept and not self._afresh:
                yield place, steps.key, self._done(task, *steps())
            else:
                left[place] = steps
        if not left:
            return
        self._new = True
        with (
            warnings.catch_warnings(),
            joblib.Parallel(n_jobs=self._jobs, return_as="generator") as shared,
        ):
            # A worker that large photographs left large is replaced, and joblib's words for it would puzzle
            # the reader; where warnings are errors, they would end the thread that hands out the work.
            warnings.filterwarnings("ignore", "A worker stopped while some jobs")
            with _workers_deaf_to_stop():
                done = shared(joblib.delayed(steps)(self._afresh) for steps in left.values())
            for (place, steps), found in zip(left.items(), done, strict=True):
                yield place, steps.key, self._done(steps.task, *found)

    def _done(self, task: Task, view: View, pictures: Mapping[str, bytes]) -> View:
        if self._reviews is not None:
            self._reviews.write(task.name, pictures)
        return view

    def end(self) -> None:
        """Write down what was learnt, and let go of what is least used."""
        self._digests.keep()
        if self._new and self._memory.location is not None:
            self._memory.reduce_size(bytes_limit=MOST)


@contextmanager
def _workers_deaf_to_stop() -> Iterator[None]:
    """Start processes that a stop does not reach: this one stops, and ends them.

    A notebook's stop button and a shell's Ctrl-C go to all of them at once. One that is only just starting
    would write a traceback of its own.
    """
    if not hasattr(signal, "pthread_sigmask"):  # a system where processes do not inherit what is held back
        yield
        return
    # Python 3.11's own tracker of shared memory, when it is first started, lets through what is held back.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _Steps:
    """Measuring and drawing of one task, each kept by its key."""

    def __init__(self, key: str, task: Task, kept: joblib.Memory, reviews: Reviews | None) -> None:
        self.key, self.task = key, task
        self._kept = kept if key else joblib.Memory(None, verbose=0)
        self._draw = None if reviews is None else reviews.draw
        self._picture_key = "" if reviews is None else joblib.hash((key, task.name, reviews.version))

    @property
    def kept(self) -> bool:
        """Whether all is there from before."""
        measure, draw = self._functions
        return measure.check_call_in_cache(self.key, self.task) and (
            self._draw is None or draw.check_call_in_cache(self._picture_key, self.task, self._draw)
        )

    @property
    def _functions(self) -> tuple[joblib.memory.MemorizedFunc, joblib.memory.MemorizedFunc]:
        return (
            self._kept.cache(view_of, ignore=["task"]),
            self._kept.cache(pictures_of, ignore=["task", "draw"]),
        )

    def __call__(self, afresh: bool = False) -> tuple[View, dict[str, bytes]]:
        measure, draw = self._functions
        asked, drawn = (self.key, self.task), (self._picture_key, self.task, self._draw)
        view = measure.call(*asked)[0] if afresh else measure(*asked)
        if self._draw is None:
            return view, {}
        return view, draw.call(*drawn)[0] if afresh else draw(*drawn)

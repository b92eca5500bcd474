"""Processor time of each stage of reading, told by the module that does the work; for the benchmarks.

Whatever functions `scan.vision.pipeline` and `measuring` call from the rooms are wrapped for a while; a
stage is a module. So the benchmark goes on working when the steps are cut in another way.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FunctionType
from typing import Any

from shortpencil.scan.vision import measuring, pipeline

ROOM = "shortpencil.scan.vision."


class Stages:
    """Milliseconds of processor time by stage, one number a photo; what nobody claims is "other"."""

    def __init__(self) -> None:
        self.ms: dict[str, float] = defaultdict(float)
        self._inner: list[float] = [0.0]

    def timed(self, stage: str, call: Callable[..., Any]) -> Callable[..., Any]:
        """Return `call` with its time, less that of stages within it, added to its stage."""

        def wrapped(*args: Any, **kwargs: Any) -> Any:
            self._inner.append(0.0)
            start = time.process_time()
            try:
                return call(*args, **kwargs)
            finally:
                took = 1000 * (time.process_time() - start)
                self.ms[stage] += took - self._inner.pop()
                self._inner[-1] += took

        return wrapped


@contextmanager
def stages_timed() -> Iterator[Stages]:
    """Time the stages of whatever is read meanwhile."""
    stages = Stages()
    found = [
        (caller, name, value)
        for caller in (pipeline, measuring)
        for name, value in vars(caller).items()
        if isinstance(value, FunctionType)
        and value.__module__.startswith(ROOM)
        and (value.__module__ != caller.__name__ or name == "read_photo")
    ]
    try:
        for caller, name, value in found:
            stage = value.__module__.rsplit(".", 1)[-1]
            stage = "other" if stage in ("pipeline", "measuring") else stage
            setattr(caller, name, stages.timed(stage, value))
        yield stages
    finally:
        for caller, name, value in found:
            setattr(caller, name, value)

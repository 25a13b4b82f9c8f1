"""One declaration for each formula: symbols as printed, unit, domain and source beside the code that computes.

A function decorated with :func:`formula` behaves as before. While a :class:`Working` is being recorded,
each call is noted with its arguments and result, so that the chain behind any number can be shown (and
replayed) without a second description that could drift from the code.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple, ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")

Kind = Literal["published", "derived", "common practice", "memory"]


@dataclass(frozen=True, slots=True)
class Formula:
    """What is declared once about a formula: how it is printed, in what unit, where it holds, where it is from."""

    name: str
    module: str
    symbols: str
    unit: str
    source: str
    kind: Kind
    domain: str
    function: Callable[..., Any]
    parameters: tuple[str, ...]

    @property
    def key(self) -> str:
        """The name that is unique in the program, such as ``optics.focus.exit_vergence_d``."""
        return f"{self.module}.{self.name}"


class Step(NamedTuple):
    """One recorded call: the formula, the numbers put in, the result, and how deep it stood in the chain."""

    formula: Formula
    args: tuple[Any, ...]
    kwargs: dict[str, Any]
    result: Any
    depth: int

    def arguments(self) -> dict[str, Any]:
        """The numbers put in, by parameter name, defaults included."""
        import inspect

        bound = inspect.signature(self.formula.function).bind(*self.args, **self.kwargs)
        bound.apply_defaults()
        return dict(bound.arguments)

    def replay(self) -> Any:
        """The result computed anew from the recorded numbers."""
        return self.formula.function(*self.args, **self.kwargs)


@dataclass(slots=True)
class Working:
    """The chain of formulas behind a number, innermost first, as it was computed.

    While it is recorded each call is only noted; the steps are made when somebody asks for them.
    """

    _notes: list[tuple[Formula, tuple[Any, ...], dict[str, Any], Any, int]] = field(default_factory=list)
    _depth: int = 0

    @property
    def steps(self) -> list[Step]:
        """The calls in the order in which they were finished."""
        return [Step(*note) for note in self._notes]

    def last(self) -> Step:
        """The step that produced the final number."""
        return Step(*self._notes[-1])


# The flag of a function with a parameter that gathers the rest, as the language's data model states it.
_TAKES_ANY_NUMBER = 0x04


def _parameters_of(function: Callable[..., Any]) -> tuple[str, ...]:
    """The names of the parameters of a plain function, in order, without the cost of describing each."""
    code = function.__code__
    gathered = bool(code.co_flags & _TAKES_ANY_NUMBER)
    return code.co_varnames[: code.co_argcount + code.co_kwonlyargcount + gathered]


REGISTRY: dict[str, Formula] = {}
_current: ContextVar[Working | None] = ContextVar("working", default=None)
# How many workings are being recorded anywhere: while it is 0 a decorated call costs one test.
_recording = 0


def formula(
    symbols: str, *, unit: str, source: str, kind: Kind, domain: str
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Declare a formula. ``unit`` is "" for a ratio; ``source`` is a key of :mod:`.sources` or "" when derived here.

    ``kind`` says how sure it is: *published* (read in the source), *derived* (follows from the others and is
    recomputed by an independent route in the tests), *common practice* (no source), *memory* (not re-read).
    """

    def declare(function: Callable[P, R]) -> Callable[P, R]:
        module = function.__module__.removeprefix("afocal.core.")
        entry = Formula(
            function.__name__,
            module,
            symbols,
            unit,
            source,
            kind,
            domain,
            function,
            _parameters_of(function),
        )
        REGISTRY[entry.key] = entry

        @functools.wraps(function)
        def call(*args: P.args, **kwargs: P.kwargs) -> R:
            if not _recording:
                return function(*args, **kwargs)
            working = _current.get()
            if working is None:
                return function(*args, **kwargs)
            depth = working._depth
            working._depth = depth + 1
            try:
                result = function(*args, **kwargs)
            finally:
                working._depth = depth
            working._notes.append((entry, args, kwargs, result, depth))
            return result

        call.__formula__ = entry  # type: ignore[attr-defined]
        return call

    return declare


@contextmanager
def recording() -> Iterator[Working]:
    """Record the formulas called in this block (in this thread or task only)."""
    global _recording
    working = Working()
    token = _current.set(working)
    _recording += 1
    try:
        yield working
    finally:
        _recording -= 1
        _current.reset(token)


@contextmanager
def unrecorded() -> Iterator[None]:
    """Formulas called in this block are part of no working: they decide something, and make no number that is shown."""
    token = _current.set(None)
    try:
        yield
    finally:
        _current.reset(token)

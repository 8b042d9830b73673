"""The few exceptions of the house, and the form every input fault takes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong with the input.

    where: file and key path or row, ``case.toml: job.close_chance`` or ``history.csv: row 17, oil_bbl``.
    found: what stands there, with its unit.  allowed: what may stand there.  remedy: what to do.
    line: of the key in its file, None where it is not known or `where` says it.
    """

    where: str
    found: str
    allowed: str
    remedy: str
    line: int | None = None

    def __str__(self) -> str:
        """One line: where, what was found, what is allowed, what to do; what does not print is escaped."""
        where = self.where if self.line is None else self.where.replace(": ", f":{self.line}: ", 1)
        text = f"{where}: found {self.found}; allowed: {self.allowed}; {self.remedy}"
        line = " ".join(text.split())
        return "".join(sign if sign.isprintable() else ascii(sign)[1:-1] for sign in line)


class InputError(Exception):
    """The input cannot be used; `faults` holds everything found wrong, `well` the well it concerns (or None).

    The command line prints one line per fault and ends with exit code 2.
    """

    def __init__(self, faults: Iterable[Fault] | Fault, well: str | None = None) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        self.well = well
        if not self.faults:
            raise ValueError("an InputError needs at least one fault")
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Fault, ...], str | None]]:
        """Survive the way back from a worker process with the faults intact."""
        return (type(self), (self.faults, self.well))


class RunFailure(Exception):
    """The input is sound but the run could not be finished (disk, worker, altered block); exit code 1."""


def beyond_numbers(error: Exception) -> RunFailure:
    """What to say where numbers that were each allowed could not be worked with together."""
    if isinstance(error, MemoryError):
        return RunFailure("out of memory; use fewer --workers or fewer strategies")
    text = " ".join(str(error).split())
    return RunFailure(
        f"the numbers of this case cannot be worked with ({text[:300]}); look for a value that is far too large or "
        "too small"
    )

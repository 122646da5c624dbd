"""What soffit raises when it cannot go on: every error says what, where, why and what to do."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing that is wrong, in the four parts a person needs.

    Parameters
    ----------
    what
        The fact, with the installer's id and the offending value.
    where
        File, line and key path, or the argument that carried the value.
    why
        The reason, with numbers and the allowed set.
    do
        One action that cures it.
    """

    what: str
    where: str
    why: str
    do: str

    def text(self) -> str:
        """Return the four parts as lines a terminal can show."""
        parts = [self.what]
        parts += [
            f"  {name:<6} {value}"
            for name, value in (("where", self.where), ("why", self.why), ("do", self.do))
            if value
        ]
        return "\n".join(parts)

    def as_dict(self) -> dict[str, str]:
        """Return the four parts by name, as JSON faces show them."""
        return {"what": self.what, "where": self.where, "why": self.why, "do": self.do}


class SoffitError(Exception):
    """Base of all errors that soffit raises on purpose.

    Parameters
    ----------
    what, where, why, do
        The four parts of the first problem.
    more
        Further problems found by the same reading.
    """

    somewhere: ClassVar[str] = ""
    """What ``where`` says if the one who raises cannot know more."""

    def __init__(
        self,
        what: str,
        *,
        where: str = "",
        why: str = "",
        do: str = "",
        more: Iterable[Problem] = (),
    ) -> None:
        super().__init__(what)
        self.problems: tuple[Problem, ...] = (
            Problem(what=what, where=where or self.somewhere, why=why, do=do),
            *more,
        )

    def __str__(self) -> str:
        """Return all problems, a blank line between them."""
        return "\n\n".join(problem.text() for problem in self.problems)


class DomainError(SoffitError, ValueError):
    """A number lies outside the range in which a formula holds."""


class TableError(SoffitError, LookupError):
    """A published table has no such row, or its file is broken."""

    somewhere = "the tables that soffit brings"


class UnitError(SoffitError, ValueError):
    """A text cannot be read as a quantity of the wanted kind."""

    somewhere = "the value that was given"


class JobError(SoffitError, ValueError):
    """A file of the job cannot be used; all four parts are required.

    Parameters
    ----------
    what, where, why, do
        The four parts of the first problem.
    more
        Further problems found by the same reading.
    """

    def __init__(
        self, *, what: str, where: str, why: str, do: str, more: Iterable[Problem] = ()
    ) -> None:
        super().__init__(what, where=where, why=why, do=do, more=more)

    @classmethod
    def of(cls, problems: Sequence[Problem]) -> "JobError":
        """Return one error that carries all ``problems``, of which there must be at least one."""
        first, *rest = problems
        return cls(what=first.what, where=first.where, why=first.why, do=first.do, more=rest)


class StaleError(JobError):
    """Somebody else has written the job since it was read."""


class NoSolutionError(SoffitError):
    """No arrangement meets the constraints; the message names those that cannot hold together."""


class StoppedError(SoffitError):
    """A person stopped the work; nothing was written."""


class MissingExtraError(SoffitError, ImportError):
    """An optional dependency is not installed."""


class ChildError(SoffitError):
    """Work in a child process ran out of time or memory, or died."""

    somewhere = "the process that does the long work"

"""Findings that say the same of many places, said once."""

from collections.abc import Sequence
from dataclasses import dataclass

from soffit.model.findings import DEFER, Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingGroup:
    """Findings with one code, one limit and one cure.

    Parameters
    ----------
    first
        The first of them.
    members
        All of them, in their order.
    """

    first: Finding
    members: tuple[Finding, ...]

    @property
    def places(self) -> str:
        """Places, each once."""
        return ", ".join(dict.fromkeys(item.place for item in self.members))

    @property
    def what(self) -> str:
        """The fact; where it differs, after the places that it holds for."""
        by_fact: dict[str, list[str]] = {}
        for item in self.members:
            places = by_fact.setdefault(item.what, [])
            if item.place not in places:
                places.append(item.place)
        if len(by_fact) == 1:
            return self.first.what
        return "; ".join(f"{', '.join(places)}: {fact}" for fact, places in by_fact.items())

    @property
    def do(self) -> str:
        """The cure, without the fixed ending of cautions."""
        return self.first.do.removesuffix(DEFER).strip()

    @property
    def defers(self) -> bool:
        """Whether the fixed ending of cautions belongs to it."""
        return any(item.is_caution or item.do.endswith(DEFER) for item in self.members)

    @property
    def is_general(self) -> bool:
        """Whether it is a caution that holds for the work as such: nothing of it is measured."""
        item = self.first
        return item.severity == "note" and item.is_caution and not item.limit


def group_findings(findings: Sequence[Finding]) -> tuple[FindingGroup, ...]:
    """Group findings by what cures them, in the order of the first of each group.

    Parameters
    ----------
    findings
        Any findings.
    """
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for item in findings:
        same = (
            item.severity,
            item.code,
            item.do,
            item.limit,
            item.limit_source,
            item.why,
            item.accepted_by,
        )
        groups.setdefault(same, []).append(item)
    return tuple(
        FindingGroup(first=members[0], members=tuple(members)) for members in groups.values()
    )

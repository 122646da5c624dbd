"""Findings about what is near a speaker in or under the ceiling."""

from typing import Final

from soffit.check.ceiling import move_mends
from soffit.check.kit import Check, Context, at_speaker, found
from soffit.evaluate.ceiling import Neighbour, SpeakerFit
from soffit.model.findings import Finding


def _near(context: Context, kinds: frozenset[str], *, rule: bool | None = None) -> list[Finding]:
    findings = []
    for fit in context.states.ceiling.speakers:
        for near in fit.neighbours:
            is_wanted = near.kind in kinds and (rule is None or near.is_sprinkler_rule == rule)
            if is_wanted and near.is_short and near.distance_m >= -1e-6:
                findings.append(_word(context, fit, near))
    return findings


def _word(context: Context, fit: SpeakerFit, near: Neighbour) -> Finding:
    gap = (
        f"overlaps {near.label} by {context.fine(-near.distance_m)}"
        if near.distance_m < 0.0
        else f"its trim is {context.fine(near.distance_m)} from {near.label}"
    )
    return at_speaker(
        fit,
        gap,
        limit=f"{context.fine(near.needed_m)} at least",
        source=near.source,
        mends=move_mends(context, fit),
    )


_KNOWN: Final = frozenset({"sprinkler", "air outlet", "detector", "light", "curtain"})


def _overlap(context: Context) -> list[Finding]:
    return [
        _word(context, fit, near)
        for fit in context.states.ceiling.speakers
        for near in fit.neighbours
        if near.distance_m < -1e-6
    ]


def _sprinkler(context: Context) -> list[Finding]:
    return _near(context, frozenset({"sprinkler"}), rule=False)


def _sprinkler_hanging(context: Context) -> list[Finding]:
    return _near(context, frozenset({"sprinkler"}), rule=True)


def _air_outlet(context: Context) -> list[Finding]:
    return _near(context, frozenset({"air outlet"}))


def _detector(context: Context) -> list[Finding]:
    return _near(context, frozenset({"detector"}))


def _light(context: Context) -> list[Finding]:
    return _near(context, frozenset({"light"}))


def _curtain(context: Context) -> list[Finding]:
    return _near(context, frozenset({"curtain"}))


def _other(context: Context) -> list[Finding]:
    kinds = {item.kind for item in context.job.survey.obstacles}
    return _near(context, frozenset(kinds) - _KNOWN)


def _doubtful(context: Context) -> list[Finding]:
    return [
        found(
            item.label or item.kind,
            f"its kind ({item.kind}) is not sure: {item.doubt}",
            key=item.key,
            limit="a surveyed kind",
        )
        for item in context.job.survey.obstacles
        if item.doubt
    ]


CHECKS: Final = (
    Check(
        code="CLEAR-01",
        severity="stop",
        title="Speaker over something else",
        why="Two things cannot be in one place of the ceiling.",
        do="move the speaker",
        find=_overlap,
        source="two things in one place",
        has_mend=True,
    ),
    Check(
        code="CLEAR-02",
        severity="warn",
        title="Flush speaker close to a sprinkler",
        why="The spray rules bite on what hangs below the ceiling, but the head, its escutcheon and"
        " its cover must stay free, and nobody wants a ladder against it.",
        do="move the speaker, and ask the fire contractor where in doubt",
        find=_sprinkler,
        limits=("place_clear_sprinkler_m",),
        is_caution=True,
        has_mend=True,
    ),
    Check(
        code="CLEAR-03",
        severity="stop",
        title="Hanging speaker shadows a sprinkler",
        why="What hangs below the deflector takes the water: three times its largest dimension must"
        " be clear, up to a cap.",
        do="move the speaker, or have the fire contractor judge it",
        find=_sprinkler_hanging,
        limits=("sprinkler_factor", "sprinkler_cap_m"),
        is_caution=True,
        has_mend=True,
    ),
    Check(
        code="CLEAR-04",
        severity="warn",
        title="Speaker close to an air outlet",
        why="Moving air whistles at the trim, brings dust and damp, and hides quiet speech.",
        do="move the speaker away from the outlet",
        find=_air_outlet,
        limits=("place_clear_air_outlet_m",),
        has_mend=True,
    ),
    Check(
        code="CLEAR-05",
        severity="warn",
        title="Speaker close to a detector",
        why="The detector's own rules keep the space around it free; some false alarms start with"
        " dust from a hole.",
        do="move the speaker, and have the detector covered while holes are cut",
        find=_detector,
        limits=("place_clear_detector_m",),
        is_caution=True,
        has_mend=True,
    ),
    Check(
        code="CLEAR-06",
        severity="warn",
        title="Speaker close to a light",
        why="Heat, a rattling frame and a shadow of the trim.",
        do="move the speaker",
        find=_light,
        limits=("place_clear_light_m",),
        has_mend=True,
    ),
    Check(
        code="CLEAR-07",
        severity="warn",
        title="Speaker close to a smoke curtain",
        why="Nothing may stand in the way of a curtain that falls.",
        do="move the speaker",
        find=_curtain,
        limits=("place_clear_curtain_m",),
        is_caution=True,
        has_mend=True,
    ),
    Check(
        code="CLEAR-08",
        severity="warn",
        title="Speaker close to something else",
        why="Trim, clamps and a hand need a little room.",
        do="move the speaker",
        find=_other,
        limits=("place_clear_other_m",),
        has_mend=True,
    ),
    Check(
        code="CLEAR-09",
        severity="note",
        title="Obstacle of a doubtful kind",
        why="Its clearance depends on what it is.",
        do="look up on site and write its kind",
        find=_doubtful,
        no_mend="only a person on site can see it",
    ),
)

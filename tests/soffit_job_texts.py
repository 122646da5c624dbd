"""Texts of small jobs that several tests of the job folder share."""

from importlib import resources

SMALL = """\
format = 1
revision = 1

[site]
name = "Test"
line_voltage = 100

[storeys.ground]
label = "Ground floor"

[rooms.hall] # the only room
corner = [0, 0]
size = [12, 9]
use = "classroom"

[[rooms.hall.ceilings]]
key = "grid"
kind = "grid"
height = 3.0
grid = { origin = [0, 0], pitch = [0.6, 0.6] }

[[rooms.hall.obstacles]]
kind = "light"
at = [3, 3]
diameter = 0.2
repeat = [2, 1]
step = [3, 0]

[[placed]]
key = "p1"
room = "hall"
type = "ceiling-4"
at = [6, 4]
tap = "6 W"

[racks.main]
room = "hall"
at = [0.5, 0.5]
"""

ONE_ROOM = """\
format = 1
revision = 1

[site]
name = "Test"
line_voltage = 100

[rooms.hall]
corner = [0, 0]
size = [5, 5]

[[rooms.hall.ceilings]]
key = "grid"
height = 3.0
grid = { pitch = [0.6, 0.6] }

[rooms.hall.brief]
speaker_type = "ceiling-4"
"""
"""What `soffit design` needs least time for."""


def library_text() -> str:
    file = resources.files("soffit.work") / "demos" / "library" / "job.toml"
    return file.read_text(encoding="utf-8")


def without(text: str, start: str) -> str:
    """Return a text without the line that starts like this."""
    lines = text.splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith(start)]
    assert len(kept) < len(lines)
    return "".join(kept)


def changed(text: str, old: str, new: str) -> str:
    assert text.count(old) == 1, (old, text.count(old))
    return text.replace(old, new)

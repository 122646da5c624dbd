"""A column beside the way does not end the count of tiles from a wall."""

from soffit.ceiling.naming import place_from_walls, tile_text
from soffit.ceiling.tiles import GridLines, tiles

OUTLINE = ((0.0, 0.0), (6.0, 0.0), (6.0, 3.6), (0.0, 3.6))
COLUMN = ((2.5, 1.7), (2.9, 1.7), (2.9, 2.3), (2.5, 2.3))
NAMES = ("south wall", "east wall", "north wall", "west wall")


def test_tiles_that_a_column_cuts_are_counted_on_the_way() -> None:
    grid = GridLines(origin=(0.0, 0.0), pitch_x_m=0.6, pitch_y_m=0.6)
    field = tiles(OUTLINE, grid=grid, holes=(COLUMN,))
    places = place_from_walls((1.5, 1.5), rings=(OUTLINE, COLUMN), names=NAMES, field=field)
    assert tile_text(places) == "3rd full tile from the west wall, 3rd from the south wall"
    far = place_from_walls((4.5, 1.5), rings=(OUTLINE, COLUMN), names=NAMES, field=field)
    assert tile_text(far) == "3rd full tile from the east wall, 3rd from the south wall"

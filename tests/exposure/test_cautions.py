"""What is said of stacks and variable ND on wide lenses. Common practice, no source: only when it is said is tested."""

from __future__ import annotations

import pytest

from server.exposure.cautions import Sight, cautions
from server.exposure.glass import Filter, Holder
from server.exposure.refused import OutOfRange
from server.exposure.rig import Body, Kit, Lens, Rig

KIT = Kit(
    Body(3, (100,), (100,), (0.02,)),
    Lens(2.8, 16, 77),
    Holder(100, 2, (77,), 105),
    (
        Filter("a", "slot", 0.6),
        Filter("b", "slot", 0.9),
        Filter("pol", "front", 0.4, thread=105, kind="polariser"),
        Filter("r1", "thread", 0.6, thread=77),
        Filter("r2", "thread", 0.9, thread=77),
        Filter("var", "thread", 0.6, thread=77, kind="variable_nd", density_to=1.8),
    ),
)
WIDE, NORMAL = Sight(20, 43.27), Sight(50, 43.27)


def rig(
    *, held: tuple[str, ...] = (), front: str | None = None, threads: tuple[str, ...] = (), turned: float | None = None
):
    return Rig(bool(held or front), held, threads, 0, 2.8, 0.02, 100, front, turned)


@pytest.mark.parametrize(
    ("on", "words"),
    [
        (rig(), []),
        (rig(held=("a", "b")), []),
        (rig(held=("a", "b"), front="pol"), ["corners"]),
        (rig(threads=("r1",)), []),
        (rig(threads=("r1", "r2")), ["corners"]),
        (rig(threads=("var",), turned=2.0), []),
        (rig(threads=("var",), turned=5.5), ["cross"]),
        (rig(threads=("r1", "var"), turned=5.5), ["corners", "cross"]),
    ],
)
def test_a_wide_lens_is_warned_of_stacks_and_of_the_dark_end(on, words):
    """On a 20 mm; never on a 50 mm, and not where the angle is not known."""
    said = cautions(KIT, on, WIDE)
    assert len(said) == len(words)
    assert all(word in line for word, line in zip(words, said, strict=True))
    assert cautions(KIT, on, NORMAL) == cautions(KIT, on, None) == ()


def test_angle_of_view_by_the_textbook():
    """2 atan(d/2f): a 24 mm on 36 x 24 sees 84 degrees across, a 50 mm 47; as lens tables print them (from memory)."""
    assert Sight(24, 43.27).degrees == pytest.approx(84.1, abs=0.1)
    assert Sight(50, 43.27).degrees == pytest.approx(46.8, abs=0.1)


@pytest.mark.parametrize("came", [0, -1, float("nan"), 1e308])
def test_a_sight_that_nobody_has_is_refused(came):
    """Neither a focal length nor a sensor of nothing."""
    with pytest.raises(OutOfRange):
        Sight(came, 43)
    with pytest.raises(OutOfRange):
        Sight(50, came)

"""What is said of stacks and variable ND on wide lenses. Common practice, no source: only when it is said is tested."""

from __future__ import annotations

import pytest

from server.exposure.cautions import Sight, cautions, flicker_caution, place_cautions
from server.exposure.daylight import Spot
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
        (rig(front="pol"), ["unevenly"]),
        (rig(held=("a", "b"), front="pol"), ["corners", "unevenly"]),
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


@pytest.mark.parametrize(
    ("spot", "sun", "lasers", "words"),
    [
        (Spot("sun", "back"), 20.0, False, ["sun"]),
        (Spot("sun", "back"), None, False, ["sun"]),  # nobody knows where it stands: said all the same
        (Spot("sun", "back"), -0.8, False, ["sun"]),  # its upper limb still shows
        (Spot("sun", "back"), -0.9, False, []),
        (Spot("sun", "front"), 20.0, False, []),
        (Spot("shade", "back"), 20.0, False, []),
        (Spot("lamps"), None, True, ["laser"]),
        (Spot("sun", "back"), 20.0, True, ["sun", "laser"]),
    ],
)
def test_what_may_hurt_at_a_place(spot, sun, lasers, words):
    """The sun that it looks towards while it is up, and stage lasers; in short on the way there, whole once there."""
    for ahead in (False, True):
        said = place_cautions(spot, sun, lasers=lasers, ahead=ahead)
        assert len(said) == len(words)
        assert all(word in line for word, line in zip(words, said, strict=True))
    whole, short = (place_cautions(Spot("sun", "back"), 20.0, lasers=True, ahead=ahead) for ahead in (False, True))
    assert all(len(brief) < len(full) for brief, full in zip(short, whole, strict=True))


def test_the_eye_is_named_where_the_sun_is_ahead():
    """Chou, Eye safety during solar eclipses (NASA): photographic ND and polarisers are among the unsafe filters."""
    (said,) = place_cautions(Spot("sun", "back"), 20.0, lasers=False)
    for word in ("optical finder", "lens", "ND", "polarisers", "no eye protection"):
        assert word in said


@pytest.mark.parametrize(("shutter", "mains", "flickers"), [
    (1 / 50, 50, False), (1 / 100, 50, False), (1 / 60, 60, False), (1 / 120, 60, False),
    (1 / 60, 50, True), (1 / 50, 60, True), (1 / 48, 50, True), (1 / 60, None, False),
])  # fmt: skip
def test_a_shutter_that_holds_no_whole_pulses_is_warned_of(shutter, mains, flickers):
    """Lamps pulse at twice the mains; safe times are n/(2f): "a multiple of 1/50 in 50 Hz areas" (check-values 6)."""
    assert bool(flicker_caution(shutter, mains)) is flickers

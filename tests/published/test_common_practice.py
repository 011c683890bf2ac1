"""
What the trade knows without a standard. Common practice, no source, unless a line says otherwise.

- Clicks for a filter, on a third-stop dial.
- Worked walks out of the sun and into the dark, by N = sqrt(2^EV (S/100) t)/2^(stops/2), calculated by hand.
- Daylight rules of thumb ("sunny 16") beside the table of exposure values by light of ANSI PH2.7-1973/1986, as
  tabulated in the encyclopedic article "Exposure value", Table 2. A rule says 1/100 s or 1/125 s at ISO 100, and f/16
  at 1/100 s is EV 14.64 and not the table's 15, so these are held to 0.36 stop.
"""

from __future__ import annotations

import pytest

from server.exposure.glass import MARKED_DENSITY_PER_CLICK, Filter, Holder
from server.exposure.light import Light, from_camera
from server.exposure.moves import Answers, best_moves
from server.exposure.rig import Body, Kit, Lens, Look, Rig
from server.exposure.scales import clicks_between, f_number_at


# Common practice, no source.
@pytest.mark.parametrize(
    ("n", "to", "clicks", "densities"),
    [(20, 10, 6, [0.6]), (18, 3.2, 15, [0.6, 0.9])],
    ids=["0.6", "0.6 and 0.9"],
)
def test_clicks_that_a_filter_needs(n, to, clicks, densities):
    """On a third-stop dial f/20 to f/10 makes room for a 0.6 filter, f/18 to f/3.2 for a 0.6 and a 0.9 together."""
    assert clicks_between(n, to, 3) == clicks
    assert sum(densities) / MARKED_DENSITY_PER_CLICK == pytest.approx(clicks)


@pytest.mark.parametrize(("n", "to", "density"), [(20, 10, 0.6), (18, 3.2, 1.5)])
def test_a_filter_is_met_by_its_clicks(n, to, density):
    """The move itself: the same light with the filter in front wants the iris that many clicks wider."""
    kit = third_stop_kit(iso=100, density=density, widest=2.8, smallest=22)
    seen = from_camera(n, 1 / 50, 100)
    now = Rig(True, ("plate",), (), 0, n, 1 / 50, 100)
    look = Look(to, to, to, 1 / 50)  # a window that leaves no other iris
    answer = best_moves(kit, now, [(seen, look)])[0].clean
    assert (answer.rig.holder_on, answer.rig.slots, answer.rig.aperture) == (True, ("plate",), to)
    assert [(action.do, action.clicks) for action in answer.actions] == [("open", clicks_between(n, to))]
    assert answer.score.miss == 0


def third_stop_kit(iso: float, density: float | None, widest: float = 1.8, smallest: float = 16) -> Kit:
    """One ISO, one shutter, at most one plate: the light alone decides."""
    plates = () if density is None else (Filter("plate", "slot", density),)
    body = Body(3, (iso,), (iso,), (1 / 50,))
    return Kit(body, Lens(widest, smallest, 77), Holder(100, 3, (77,)), plates)


def walk_to(ev100: float, kit: Kit, now: Rig) -> Answers:
    """Any iris is as good as another here, and no error is small enough not to be mended."""
    look = Look(wanted=1.8, widest=1.8, narrowest=16, shutter=1 / 50, tolerance=0, rush_tolerance=0)
    return best_moves(kit, now, [(Light(ev100), look)])[0]


# Calculated by the formula in the docstring: EV, ISO, density on the lens, exact f-number, its position, its mark.
# The glass leaves no choice: with the plate in the dark, or without it in the sun, the iris would be off the lens.
@pytest.mark.parametrize(
    ("ev100", "iso", "density", "exact", "position", "mark"),
    [
        (15, 800, 1.8, 9.1156, 19.13, 9),  # a churchyard in the sun
        (7, 800, None, 4.5255, 13.07, 4.5),  # a hall
        (15, 100, 1.2, 6.4304, 16.11, 6.3),
        (7, 3200, None, 9.0510, 19.07, 9),
        (5, 6400, None, 6.4000, 16.07, 6.3),
    ],
)
def test_worked_iris(ev100, iso, density, exact, position, mark):
    """The iris that the light, the speed, the shutter and the glass leave, and what is left over."""
    kit = third_stop_kit(iso, density)
    now = Rig(False, (), (), 0, 4, 1 / 50, iso)
    for answer in (walk_to(ev100, kit, now).clean, walk_to(ev100, kit, now).fast):
        assert answer.rig.aperture == mark
        assert answer.rig.on_lens == (("plate",) if density else ())
        assert answer.residual == pytest.approx(position - round(position), abs=0.0051)
        assert f_number_at(round(position), 3) * 2 ** (answer.residual / 6) == pytest.approx(exact, abs=1e-3)


def test_walk_from_the_churchyard_into_the_hall():
    """From EV 15 to 7 with a 1.8 on: 8 stops are the filter's 5.98, 2.00 of the iris, and 0.02 left over."""
    kit = third_stop_kit(800, 1.8)
    outside = walk_to(15, kit, Rig(False, ("plate",), (), 0, 4, 1 / 50, 800)).clean
    assert outside.rig.on_lens == ("plate",)
    inside = walk_to(7, kit, outside.rig).clean
    assert inside.rig.on_lens == ()
    assert [(a.do, a.clicks) for a in inside.actions if a.do in ("open", "close")] == [("open", 6)]
    assert (outside.residual - inside.residual) / 3 == pytest.approx(8 - 5.98 - 2.00, abs=0.005)


def test_sun_without_a_filter_is_off_the_scale():
    """EV 15 at ISO 800 and 1/50 s wants f/72: position 37.07. At f/16 that is 13.07 clicks too bright, and said so."""
    answer = walk_to(15, third_stop_kit(800, None), Rig(False, (), (), 0, 4, 1 / 50, 800)).clean
    assert answer.rig.aperture == 16
    assert answer.residual == pytest.approx(37.07 - 24, abs=0.005)
    assert answer.score.miss == pytest.approx(answer.residual)


# f-number of the rule of thumb (common practice, no source) and EV of ANSI PH2.7 for the light it is meant for.
@pytest.mark.parametrize("seconds", [1 / 100, 1 / 125])
@pytest.mark.parametrize(
    ("n", "ev100"),
    [
        (22, 16),  # light sand or snow in full sun
        (16, 15),  # a typical scene in full sun
        (11, 14),  # hazy sun, soft shadows
        (8, 13),  # cloudy bright, no shadows
        (5.6, 12),  # heavy overcast; open shade under a clear sky
    ],
)
def test_sunny_16_and_its_kin(n, ev100, seconds):
    """A camera set by the rule of thumb reads the light that the standard's table has for it."""
    assert from_camera(n, seconds, 100).ev100 == pytest.approx(ev100, abs=0.36)

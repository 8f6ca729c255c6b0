"""What is left of a board that is sawn across its width or length, beside finite elements in two dimensions.

The reference (``cross_section``, scikit-fem) dries a section whole and then looks at a part of it, or dries a half of
it on, one of whose edges is an old one and one fresh from the saw; ``kiln.cutting`` knows of the thickness and of one
figure for the edges. The tolerances are ours, measured. The woods and sizes are those of the test of whole sections.
"""

import cross_section
import numpy as np
import pytest
import skfem
from cross_section import Section
from test_against_cross_section import OAK, RH_PCT, SOFTWOOD, SPANS, START, T_C, THICKNESS_M

from kiln import cutting, diffusion

FILM, DAY_S, CELLS = 5.0, 86_400.0, (16, 40)


def stepped(section, parts, m, days, steps=40):
    """Carry the corners' moisture contents on, in growing steps; return them at the end."""
    grid = days * DAY_S * (np.arange(steps + 1) / steps) ** 2
    for dt_s in np.diff(grid):
        part_s = cross_section.STAGE * dt_s
        first = cross_section._stage(section, parts, m, part_s, m, RH_PCT)
        moved = (1.0 - cross_section.STAGE) * (first - m) / cross_section.STAGE
        m = cross_section._stage(section, parts, m + moved, part_s, first, RH_PCT)
    return m


def whole(section, days):
    """Corners of a quarter of a section from mid-span to the edge, and their moisture contents after some days."""
    parts = cross_section._parts(section, CELLS)
    mesh = cross_section._mesh(section, CELLS)
    return mesh.p, stepped(section, parts, np.full(parts.share.size, START), days), parts


def along_span(corners, m, share):
    """Averages over the thickness, and where they stand, from the middle of the span to its edge."""
    at = np.round(corners[1], 9)
    found = np.unique(at)
    return found, np.array([np.average(m[at == one], weights=share[at == one]) for one in found])


def mean_of_part(y_m, profile, span_m, left_m):
    """Mean of the first ``left_m`` of a span from one edge on, by the trapezoid rule on a fine grid."""
    grid = np.linspace(0.0, left_m, 4001)
    return float(np.trapezoid(np.interp(np.abs(grid - span_m / 2.0), y_m, profile), grid) / left_m)


def ours(section, days, start=None, short=None):
    """The course of a section, kept after some days, in steps of an hour."""
    hours, along = days * 24, section.ratio > 1.0
    one = np.ones((1, hours))
    open_ = {"length_m" if along else "width_m": np.array([section.span_m])}
    given = {
        "half_thickness_m": section.thickness_m / 2.0,
        "basic_density_kg_m3": section.density_kg_m3,
        "diffusion_m2_s": section.diffusion_m2_s,
        "moisture_slope": section.slope,
        "activation_k": 5280.0,
        "free_water_ratio": section.free_water_ratio,
        "film_w_m2k": section.film_w_m2k,
        "longwave_w_m2k": 1e9,
        "isotherm_scale": 1.0,
        "along_ratio": section.ratio,
    }
    who = diffusion.Members(
        **{name: np.array([one_]) for name, one_ in given.items()}, air_row=np.zeros(1, np.int64), **open_
    )
    air = diffusion.AirSteps(T_C * one, RH_PCT * one, np.full(hours, 3600.0))
    start = np.full((1, diffusion.NODES), START) if start is None else start
    return diffusion.march_whole(start, who, air, np.array([0, hours]), short=short, hysteresis=False)


def sawn(section, course, left_m):
    """Our profile and shortfalls of a part that was sawn off: ``left_m`` of the span."""
    sizes = [(1.0, one) if section.ratio > 1.0 else (one, 1.0) for one in (section.span_m, left_m)]
    profile = course.profiles[:, -1]
    return profile, cutting.shortfall_left(course.short[:, -1], profile, *sizes)


CASES = [
    pytest.param(wood, span, days, id=f"{name}, {span}, {days} days")
    for wood, name, when in ((OAK, "oak", (40, 100)), (SOFTWOOD, "softwood", (10, 25)))
    for span in SPANS
    for days in when
]


def board(wood, span):
    span_m, ratio = SPANS[span]
    return Section(THICKNESS_M, span_m, film_w_m2k=FILM, rh_pct=RH_PCT, ratio=ratio, **wood)


@pytest.mark.parametrize(("wood", "span", "days"), CASES)
def test_a_part_sawn_off_has_the_water_that_finite_elements_find_there(wood, span, days):
    section = board(wood, span)
    corners, m, parts = whole(section, days)
    y_m, profile = along_span(corners, m, parts.share)
    course = ours(section, days)
    for part in (0.1, 1 / 3, 0.5, 2 / 3, 0.95):
        ours_, short = sawn(section, course, part * section.span_m)
        theirs = mean_of_part(y_m, profile, section.span_m, part * section.span_m)
        off = 100.0 * (diffusion.mean_of(ours_)[0] - short[0, 2] - theirs)
        print(f"{part:.2f} of the span: off by {off:+.2f} %MC")
        assert abs(off) < (0.6 if part == 0.1 or span == "width of 2" else 0.2)


@pytest.mark.parametrize("span", SPANS)
@pytest.mark.parametrize(("wood", "days"), [(OAK, 40), (SOFTWOOD, 10)], ids=["oak", "softwood"])
def test_a_half_with_an_old_and_a_fresh_edge_dries_on_as_finite_elements_have_it(wood, days, span):
    section = board(wood, span)
    corners, m, _parts = whole(section, days)
    both = Section(**{**vars(section), "span_m": section.span_m / 2.0})
    parts = with_two_edges(both, corners)
    profile, short = sawn(section, ours(section, days), both.span_m)
    for more in (days // 4, days):
        theirs = float(np.average(stepped(both, parts, m, more), weights=parts.share))
        mine = ours(both, more, profile, short).means()[0, -1]
        forgotten = ours(both, more, profile, np.zeros((1, 3))).means()[0, -1]  # the old edge
        print(f"{more} days on: off by {100 * (mine - theirs):+.2f} %MC of {100 * theirs:.1f}")
        assert abs(100.0 * (mine - theirs)) < 0.7
        assert mine - theirs < forgotten - theirs


def with_two_edges(section, corners):
    """The finite elements of the half from mid-span to the edge, its middle now an open edge too."""
    x, y = np.unique(corners[0]), np.unique(corners[1])
    mesh, element = skfem.MeshQuad.init_tensor(x, y), skfem.ElementQuad1()
    assert np.allclose(mesh.p, corners)
    made = cross_section._parts(Section(**{**vars(section), "span_m": 2.0 * section.span_m}), CELLS)

    @skfem.LinearForm
    def one(v, _):
        return v

    fresh = mesh.facets_satisfying(lambda p: np.isclose(p[1], 0.0))
    surface = one.assemble(skfem.FacetBasis(mesh, element, facets=fresh))
    return made._replace(film_m=made.film_m + surface)

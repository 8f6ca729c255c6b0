"""What stands beside a figure of vapour: what is known of a part alone, and limits that others list lower."""

import re

from dashboards import vapour_words
from dashboards.vapour_words import Told
from kiln import finish_air
from kiln.control import Control
from kiln.room_air import Room, Spraying
from shared.tables import Region
from tests.dashboards.test_vapours import asked, mixture


def of_lel(made):
    return next(one for one in made.figures if "explosive" in one.name)


def test_what_is_known_of_less_than_a_tenth_does_not_stand_beside_the_tenth_as_if_it_were_all():
    """The known part just short of the tenth, and more that is not known: the tenth may be passed."""
    secret = "acetone 60-100\npetrified moonlight 5-30"
    share = next(one for one in judged_of(secret, 1.0).against if one.explosive).at_most_share
    made = asked(secret, litres=0.993 / share)
    assert made.control is Control.OVER and of_lel(made).value == "at least 9.9 %"
    assert "10 % may be passed: not all of it is known" in of_lel(made).note
    assert "people leave" not in of_lel(made).note
    tenth = next(one for one in made.over if "10 %" in one.name)
    assert "10 % may be passed: not all of it is known" in tenth.beside
    # Over by what is breathed alone: of the tenth nothing can be said, and the line says that it may be passed.
    less = asked(secret, litres=0.5 / share)
    assert less.control is Control.OVER and of_lel(less).value == "can't say"
    assert "10 % may be passed: not all of it is known" in of_lel(less).note
    assert "people leave at 10 %" in of_lel(asked(secret, litres=4.0 / share)).note


def judged_of(typed, litres):
    room = Room(30.0, None, 10.0, 20.0, 101_325.0)
    return finish_air.judge(room, (Spraying(0.0, 600.0, litres / 1000.0, mixture(typed), 1800.0),))


def test_where_only_the_lowest_listed_of_all_is_passed_it_is_told_in_the_open():
    """Toluene, 8 hours: 10 ppm in California (8 CCR 5155), 50 ppm in Great Britain (EH40/2005); both from memory."""
    room = Room(1000.0, 1.0, 10.0, 20.0, 101_325.0)

    def of(region, litres):
        spraying = Spraying(0.0, 600.0, litres / 1000.0, mixture("toluene 40\nsolids 60"), 1800.0)
        return vapour_words.shown(room, (spraying,), region, Told())

    between = of(Region.GB, 0.4)
    assert between.control is Control.NOT_SHOWN and of(Region.LOWEST, 0.4).control is Control.OVER
    assert "The lowest listed of all is passed, though no such limit of Great Britain is: toluene" in between.headline
    assert re.search(r"10 ppm[^;]* of [^;]+, \d{4}", between.headline), "as printed, whose and of which year"
    assert vapour_words.BREATHE in between.doing
    assert between.headline.startswith("The lowest listed of all is passed"), "before what it does not show"
    assert "from memory" in between.headline, "how it is known"
    for region, litres in ((Region.GB, 0.01), (Region.LOWEST, 0.4), (Region.LOWEST, 0.01)):
        assert "lowest listed of all" not in of(region, litres).headline

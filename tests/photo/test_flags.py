"""Flags: names and sentences, and those that the camera's own words raise."""

import math
import string

import pytest

from sagglab.photo.flags import FLAGS, HIGH_ISO, flagged, shot_flags
from sagglab.photo.shot import Shot


@pytest.mark.parametrize("name", FLAGS)
def test_every_flag_says_its_figures_and_a_remedy(name):
    places = {place for text in FLAGS[name] for _, place, _, _ in string.Formatter().parse(text) if place}
    values = {place: 0.5 for place in places}
    problem = flagged(name, **values)
    assert problem.flag == name
    assert not problem.stops
    assert problem.remedy and not problem.remedy.endswith(".")
    assert problem.cause and not problem.cause.endswith(".")
    assert "{" not in problem.cause


def test_flag_without_its_figures_is_refused():
    with pytest.raises(KeyError):
        flagged("high ISO")


def test_a_quiet_shot_has_none():
    assert shot_flags(Shot(flash=False, iso=HIGH_ISO)) == ()
    assert shot_flags(Shot()) == ()
    assert math.isnan(Shot().iso)


def test_each_thing_said_has_its_flag():
    assert shot_flags(Shot(flash=True)).flags == "flash fired"
    assert shot_flags(Shot(iso=HIGH_ISO + 1)).flags == "high ISO"
    found = shot_flags(Shot(edited="it was changed later"))
    assert found.flags == "edited"
    assert found.told == "it was changed later, so that it may have been edited"
    assert not found.stopping

import re
import warnings

import pytest

from survivor.figures.style import Drawing, blank, styled
from survivor.figures.svg import to_svg

HOSTILE = 'Quill <script>alert(1)</script> & $x$ id="a" fill: #1c2522'


def _drawing(name: str = "a site") -> Drawing:
    with styled():
        figure = blank(3, 2)
        ax = figure.add_subplot()
        ax.plot([0, 1], [0, 1], marker="o")
        ax.set_title(name)
        return figure


def test_ids_are_prefixed_and_every_reference_is_met() -> None:
    svg = to_svg(_drawing(), "curves", "Curves", "They fall.")
    ids = re.findall(r' id="([^"]+)"', svg)
    assert len(ids) == len(set(ids))
    assert all(found.startswith("curves-") for found in ids)
    asked = re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', svg)
    assert asked
    assert {one or other for one, other in asked} <= set(ids)


def test_two_figures_of_one_page_share_no_id() -> None:
    first, second = (
        set(re.findall(r' id="([^"]+)"', to_svg(_drawing(), n, "t", "d"))) for n in ("one", "two")
    )
    assert not first & second


def test_it_is_an_image_with_a_name_and_a_description() -> None:
    svg = to_svg(_drawing(), "one", "Alive & well", "79 of 100 < 80")
    assert 'role="img"' in svg
    assert '<title id="one-title">Alive &amp; well</title>' in svg
    assert '<desc id="one-desc">79 of 100 &lt; 80</desc>' in svg
    assert 'aria-labelledby="one-title" aria-describedby="one-desc"' in svg


def test_nothing_outside_is_named() -> None:
    svg = to_svg(_drawing(), "one", "t", "d")
    assert "http" not in svg
    assert "<metadata" not in svg
    assert "<style" not in svg
    assert "xlink" not in svg


def test_the_same_drawing_gives_the_same_bytes() -> None:
    assert to_svg(_drawing(), "one", "t", "d") == to_svg(_drawing(), "one", "t", "d")


def test_a_hostile_name_stays_text() -> None:
    svg = to_svg(_drawing(HOSTILE), "one", "t", "d")
    assert "<script" not in svg
    assert 'Quill &lt;script&gt;alert(1)&lt;/script&gt; &amp; $x$ id="a" fill: #1c2522' in svg


def test_letters_that_the_measuring_type_lacks_are_no_trouble() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert "五号" in to_svg(_drawing("五号"), "one", "t", "d")


def test_colours_become_variables_with_the_light_value_behind() -> None:
    svg = to_svg(_drawing(), "one", "t", "d")
    assert "var(--ink, #1c2522)" in svg
    assert not re.search(r"(?:fill|stroke): #1c2522", svg)


def test_words_stay_words() -> None:
    assert ">a site</text>" in to_svg(_drawing(), "one", "t", "d")


@pytest.mark.parametrize("name", ["", "1st", "a b", 'x"y'])
def test_a_name_that_cannot_be_an_id_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="small letters"):
        to_svg(_drawing(), name, "t", "d")

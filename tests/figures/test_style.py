import matplotlib as mpl
import pytest
from matplotlib.text import Text

from survivor.figures.colours import COLOURS
from survivor.figures.style import Size, lines, panels, spread, styled, titled, wrapped
from tests.slow import some_slow


def _luminance(colour: str) -> float:
    # Source: WCAG 2.2, definition of relative luminance.
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


TEXT_ON = [
    *(
        (name, "paper")
        for name in ("ink", "quiet", "accent", "target", "line2", "line3", "line4", "line5", "line6")
    ),
    ("drywords", "dry"),
    ("ink", "worth"),
    ("ink", "dry"),
]


@pytest.mark.parametrize("page", ["light", "dark"])
@pytest.mark.parametrize(("words", "ground"), TEXT_ON)
def test_words_can_be_read_on_their_ground(words: str, ground: str, page: str) -> None:
    # Source: WCAG 2.2, success criterion 1.4.3, at least 4.5 to 1.
    assert _contrast(getattr(COLOURS[words], page), getattr(COLOURS[ground], page)) >= 4.5


@pytest.mark.parametrize("page", ["light", "dark"])
@pytest.mark.parametrize("words", ["ink", "quiet", "accent", "target", "drywords"])
def test_words_of_a_page_have_the_enhanced_contrast(words: str, page: str) -> None:
    # Source: WCAG 2.2, success criterion 1.4.6 (level AAA), at least 7 to 1.
    assert _contrast(getattr(COLOURS[words], page), getattr(COLOURS["paper"], page)) >= 7


@pytest.mark.parametrize("page", ["light", "dark"])
def test_the_usual_practice_can_be_seen_on_the_page(page: str) -> None:
    # Source: WCAG 2.2, success criterion 1.4.11, at least 3 to 1 for parts of a picture.
    assert _contrast(getattr(COLOURS["usual"], page), getattr(COLOURS["paper"], page)) >= 3


def test_a_use_is_found_by_its_light_value() -> None:
    assert len({colour.light for colour in COLOURS.values()}) == len(COLOURS)


def test_six_methods_differ_without_colour() -> None:
    looks = lines([f"method {i}" for i in range(6)])
    assert len({str(look.dash) for look in looks.values()}) == 6
    assert len({look.marker for look in looks.values()}) == 6


def test_the_usual_practice_is_grey_wherever_it_stands() -> None:
    assert lines(["a", "b", "c"], usual="b")["b"].colour == COLOURS["usual"].light


def test_the_callers_style_is_left_alone() -> None:
    before = mpl.rcParams["svg.fonttype"], mpl.rcParams["font.size"]
    with styled():
        assert mpl.rcParams["svg.fonttype"] == "none"
    assert (mpl.rcParams["svg.fonttype"], mpl.rcParams["font.size"]) == before


def test_labels_are_moved_apart_and_keep_their_order() -> None:
    assert spread([50, 51, 90], 5, 0, 100) == [50, 55, 90]
    assert spread([99, 98], 5, 0, 100) == [100, 95]


def test_letters_that_the_type_lacks_are_measured_without_a_word() -> None:
    assert titled("山田 Flat 🚜", "wide", 3) == "山田 Flat 🚜"  # a warning is an error here


def test_a_long_name_is_broken_and_an_empty_one_is_a_line() -> None:
    assert wrapped("", 10) == [""]
    assert all(len(line) <= 10 for line in wrapped("deep ripped, cross-ripped and mounded", 10))


@pytest.mark.parametrize("size", ["wide", "narrow"])
@pytest.mark.parametrize("count", some_slow([1, 2, 3, 4, 8], [3, 8]))
def test_no_title_of_a_panel_is_wider_than_its_panel(size: Size, count: int) -> None:
    names = ("spray, pre-emergent and rip", "MMMM WWWW MMMM WWWW", "spray and mulch mat", "rip and mound")
    with styled():
        figure, axes = panels([f"{name} {n}" for n in range(2) for name in names][:count], size, 1.5, "Alive")
        for ax in axes.values():
            ax.set(xlim=(0, 742), ylim=(0, 100))
        figure.draw_without_rendering()
        for ax in axes.values():
            title = next(text for text in ax.findobj(Text) if text.get_text() == ax.get_title("left"))
            assert title.get_window_extent().x1 <= ax.get_window_extent().x1 + 1

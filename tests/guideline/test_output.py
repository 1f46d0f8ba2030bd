"""The page and the PDF: no script, no network, names escaped, words for pictures, two pages, tagged."""

from __future__ import annotations

import itertools
import re
import tomllib
from dataclasses import replace

import pikepdf
import pytest

from survivor.document.elements import Table, Terms
from survivor.document.page import page_of
from survivor.errors import EffectError, WritingError
from survivor.guideline import write_guideline
from survivor.guideline.advice import Beside, Established, not_checked
from survivor.guideline.content import (
    content_of,
    cost_row,
    details_table,
    figure_of,
    lead,
    money_table,
    new_season,
)
from survivor.guideline.document import _content, guideline_pdf
from survivor.guideline.english import LOOKED_AT
from survivor.guideline.wording import next_sentence
from survivor.guideline.writing import plan_text
from survivor.planning.planfile import read_plan
from survivor.report.cautions import CAUTIONS
from survivor.sentences import plain_text
from tests.document.reading import read
from tests.report.reading import faults, texts_of

HOSTILE = 'spray <script>alert(1)</script> & "auger" $5 #import "x" *b*'


@pytest.fixture(scope="module")
def hostile(made):
    """The same guideline with a preparation and a title that are markup."""
    advice = tuple(replace(a, preparation=HOSTILE) if "auger" in a.preparation else a for a in made.advice)
    about = made.file.guideline.model_copy(update={"name": "</title><b>x #pagebreak()"})
    return replace(
        made,
        version=replace(made.version, advice=advice),
        file=made.file.model_copy(update={"guideline": about}),
    )


@pytest.fixture(scope="module")
def page(hostile):
    return page_of(content_of(hostile))


@pytest.fixture(scope="module")
def tree(page):
    return read(page)


def test_nothing_is_loaded_and_no_script_runs(page, tree):
    assert not {e.name for e in tree.all()} & {"script", "link", "img", "iframe", "object", "embed", "base"}
    assert not [e for e in tree.all() if set(e.attributes) & {"src", "srcset", "onload", "onclick"}]
    assert "http:" not in page
    assert "https:" not in page
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", page))


def test_names_stay_text(page, tree):
    assert "<script" not in page
    assert "</title><b>" not in page
    assert any(e.text() == HOSTILE for e in tree.all("th"))


def test_ids_are_unique_and_links_are_met(tree):
    ids = [e.attributes["id"] for e in tree.all() if "id" in e.attributes]
    assert len(ids) == len(set(ids))
    asked = {e.attributes["href"].removeprefix("#") for e in tree.all() if "href" in e.attributes}
    assert asked <= set(ids)


def test_headings_tables_and_pictures_are_in_order(tree):
    levels = [int(e.name[1]) for e in tree.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    for table in tree.all("table"):
        assert table.attributes["aria-labelledby"] == f"{table.attributes['id']}-caption"
        heads = table.all("thead")[0].all("th")
        assert all(head.attributes["scope"] == "col" for head in heads)
        for row in table.all("tbody")[0].all("tr"):
            assert len(row.all("th", "td")) == len(heads)
    for picture in tree.all("svg"):
        assert picture.attributes["role"] == "img"
        assert picture.all("desc")[0].text().strip()


def test_the_advice_comes_first_and_every_part_is_there(made):
    tree = read(page_of(content_of(made)))
    first = tree.all("main")[0].all("section")[0].text()
    for needed in (
        "On clay flats nothing is advised yet",
        "in a new season like these" if any(a.answer == "advised" for a in made.advice) else "worth a trial",
        "not answered",
        "Before acting on this",
        "permits",
        "What version 3",
    ):
        assert needed in first
    assert [e.attributes["href"] for e in tree.all("nav")[0].all("a")] == [
        "#details",
        "#seasons",
        "#radius",
        "#practice",
        "#calendar",
        "#next",
        "#changes",
        "#rule",
        "#cautions",
        "#provenance",
    ]
    said = tree.text()
    assert "never means that there is no difference" in said
    assert "double fallow" in said
    assert "local preparation guideline" in tree.all("title")[0].text()


def test_local_practice_stands_apart_from_advice(made):
    content = {section.key: section for section in content_of(made).sections}
    names = {row[1] for row in content["details"].blocks[0].rows}
    assert "double fallow" not in names
    assert "said, not measured" in content["practice"].blocks[0].text


@pytest.fixture(scope="module")
def advising(made):
    """The same guideline had two preparations on one ground been advised, one of them dearer."""
    usual = Established(6.14, 5.5, 7.0)
    first, second, *rest = made.advice
    dear = replace(first, answer="advised", established=Established(7.82, 7.0, 9.0), usual_established=usual)
    cheap = replace(
        second,
        answer="advised",
        established=Established(5.0, 4.5, 6.0),
        usual_established=usual,
        beside=(Beside(first.preparation, 4.0, -6.0, 14.0),),
    )
    return replace(made, version=replace(made.version, advice=(dear, cheap, *rest)))


def said_in(guideline):
    return " ".join(map(plain_text, lead(guideline)))


def test_no_size_stands_without_its_limits_and_what_a_new_season_may_show(advising):
    said = said_in(advising)
    for each in advising.advice[:2]:
        own = said[said.index(f"“{each.preparation}”, {abs(each.estimate):.0f} ") :]
        limits = f"(95 % CI {each.lower:+.0f} to {each.upper:+.0f})."
        new = f" A new season like these may show {each.coming}."
        words = f"alive per 100 planted {limits}{new}".replace("-", "−")
        assert own[: own.index("show") + 40].find(words) > 0


def test_a_dearer_preparation_that_is_advised_says_so_and_two_advised_are_compared(advising):
    said = said_in(advising)
    dear, cheap = (each.preparation for each in advising.advice[:2])
    assert said.count("for survival: an established plant is dearer ($7.82 against $6.14)") == 1
    assert f"Of these two, “{cheap}” against “{dear}”: +4 per 100 (95 % CI −6 to +14)." in said
    assert "not enough evidence to say which of them" in said


def test_sentences_are_short(made):
    names = {name for season in made.seasons for name in map(str, season.intervals["method"].unique())}
    names |= {str(site) for season in made.seasons for site in season.intervals["site"].unique()}
    names |= {ground.name for ground in made.file.ground} | {season.name for season in made.seasons}
    assert faults(texts_of(content_of(made)), names) == []


def test_each_number_of_the_headline_is_that_of_the_table_of_advice(made):
    table = made.table
    for paragraph in lead(made):
        for value in (value for one in paragraph for value in one.values if value.cell is not None):
            rows = table
            for name, held in value.cell.row:
                rows = rows[rows[name].astype(str) == held]
            assert float(rows[value.cell.column].iloc[0]) == pytest.approx(value.number)


def test_a_new_season_stands_in_the_headline_the_table_the_chart_and_the_document(made):
    table = details_table(made)
    place = [column.heading for column in table.columns].index("In a new season like these")
    span = table.rows[0][place]
    first = next(each for each in made.advice if each.answer == "worth a trial")
    assert " to " in span
    assert span in [row[3] for row in figure_of(made).table.rows]
    drawn = [tuple(line.get_xdata()) for line in figure_of(made).draw().axes[0].lines]
    for each in made.advice:
        known = each.coming is not None and not each.coming.says_nothing
        assert not known or (each.coming.lower, each.coming.upper) in drawn
    content = _content(made)
    assert span in [row[place] for row in content["details"]["rows"]]
    assert f"A new season like these may show {new_season(first)}." in said_in(made)


def test_what_the_grade_did_not_look_at_is_named(made):
    note = details_table(made).note
    for what in ("missing and unknown plants", "other models", "whether sites agree"):
        assert what in note
    assert "plots were placed" not in note  # that is looked at
    # In words: no name that a rule of grade has in the code stands on the page.
    assert set(not_checked()) <= set(LOOKED_AT.values())
    assert "models disagree" not in note


def test_what_is_not_advised_for_its_cost_says_so_first(made):
    said = said_in(made)
    rows = [each for each in made.advice if cost_row(made.rule, each) is not None]
    assert rows, "the invented seasons have one"
    for each in rows:
        assert each.answer == "not advised"
        assert f"${each.extra_cost:.2f} more a plant" in said
        assert each.upper <= 5  # as its row of the rule has it
    assert said.count("That rests on cost: ") == len(rows)


def test_what_a_season_would_teach_most_is_not_called_a_trial_and_says_why_it_differs(made):
    best = made.next.iloc[0]
    assert best["answer"] != "worth a trial"
    said = plain_text(next_sentence(made))
    assert "trial is" not in said
    assert (
        f"season of “{best['preparation']}” on {best['ground']}, now “{best['answer']}”, would be most"
        in said
    )
    assert "“Worth a trial” goes by the size seen so far" in said
    # A share of what is planted there, and the price that the choice leaves out.
    assert f"{best['value_plants']:.0f} of the {best['plants_a_year']:,.0f} planted there a year" in said
    row = next(a for a in made.advice if (a.ground, a.preparation) == (best["ground"], best["preparation"]))
    assert f"costs ${row.established.cost:.2f} under it and ${row.usual_established.cost:.2f} under" in said


def test_no_new_season_is_said_to_have_fewer_than_none_or_more_than_all_alive(made):
    """Against the records themselves: alive of planted under the usual practice, season by season."""
    for each in made.advice:
        ground = next(one for one in made.file.ground if one.name == each.ground)
        shares = []
        for season in made.seasons:
            rows = season.intervals[season.intervals["method"].astype(str) == each.against]
            for name, words in ground.where.items():
                rows = rows[rows[name].astype(str).str.casefold().isin(words)]
            planted = rows.loc[rows["start_day"] == 0, "at_risk"].sum()
            shares.append(100 * (1 - rows.loc[rows["stop_day"] <= 395, "died"].sum() / planted))
        coming = each.coming
        assert coming.lower >= -max(shares) - 5  # standardised, and some plants are not found again
        assert coming.upper <= 100 - min(shares) + 5
        if coming.says_nothing:
            assert new_season(each) == "too few seasons to say"
            assert each.new_lower < -max(shares) + 5
        else:
            assert new_season(each).startswith(f"{coming.lower:+.0f}".replace("-", "−"))
    assert any(each.coming.says_nothing for each in made.advice)
    assert any(each.coming.none_alive != each.coming.all_alive for each in made.advice)


def test_costs_stand_beside_those_of_the_usual_practice_with_their_source(made):
    table = money_table(made)
    # Every amount has its currency's sign, as in a report.
    amounts = [cell for row in table.rows for cell in row[2:] if cell not in ("–", "not clear")]
    assert len(amounts) > 10
    assert all("$" in cell for cell in amounts)
    assert [row[1] for row in table.rows].count("spot spray only (usual practice)") == 2  # kinds of ground
    assert "dollars of 2023; source: “invented for this example”" in table.note
    assert "Ranges are from survival and prices" in table.note
    mulch = next(
        a for a in made.advice if (a.ground, a.preparation) == ("loam slopes", "spray and mulch mat")
    )
    assert mulch.dearer
    assert mulch.cost_per_extra == pytest.approx(100 * mulch.extra_cost / mulch.estimate)
    # An extra plant has a price only where the interval says that there were more.
    by_name = {(row[0], row[1]): row[3] for row in table.rows}
    for advice in made.advice:
        told = by_name[advice.ground, advice.preparation]
        assert (told == "not clear") == (advice.estimate > 0 >= advice.lower)
    assert by_name["loam slopes", "spray and mulch mat"] == "not clear"
    assert "Not clear: the interval of the difference reaches to none or fewer." in table.note


def test_no_product_and_no_rate(made):
    said = read(page_of(content_of(made))).text()
    assert not re.search(r"\d\s*(?:ml|mL|L|l|kg|g)\s*(?:/|per )\s*(?:ha|hectare|L\b|litre)", said)


def test_the_document_is_two_pages_tagged_titled_and_of_the_same_bytes(hostile, tmp_path):
    made = guideline_pdf(hostile)
    assert made == guideline_pdf(hostile)
    path = tmp_path / "guideline.pdf"
    path.write_bytes(made)
    with pikepdf.open(path) as document:
        assert len(document.pages) <= 2
        assert bool(document.Root.MarkInfo.Marked)
        assert str(document.Root.Lang) == "en-GB"
        metadata = document.open_metadata()
        assert metadata["pdfuaid:part"] == "1"
        assert "local preparation guideline" in metadata["dc:title"]


@pytest.mark.slow
def test_files_written_and_the_plan_can_be_read(made, tmp_path):
    written = write_guideline(made, tmp_path / "new" / "out", issue=False)
    assert [path.name for path in written] == [
        "guideline.html",
        "guideline.pdf",
        "advice.csv",
        "seasons.csv",
        "try-next.csv",
        "plan.toml",
    ]
    plan = read_plan(written[-1])
    assert plan.question.usual_practice == "spot spray only"
    assert plan.methods[1].name == made.next["preparation"].iloc[0]
    assert (written[-1].parent / str(plan.variation.from_study) / "study.toml").is_file()
    taken = tmp_path / "taken"
    taken.write_text("a file stands where the folder should be")
    with pytest.raises(WritingError, match="What to do"):
        write_guideline(made, taken, issue=False)


def test_a_name_with_a_line_break_stays_in_its_remark(made, tmp_path):
    named = 'clay\n[plan]\nname = "another"'
    best = made.next.assign(ground=made.next["ground"].replace(made.next["ground"].iloc[0], named))
    plan = tomllib.loads(plan_text(replace(made, next=best), tmp_path))
    assert plan["plan"]["name"].endswith(f"on {named}")
    assert list(plan)[:3] == ["plan", "question", "variation"]


def test_survival_that_no_season_tells_is_not_passed_off_as_told(made, tmp_path, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise EffectError("not estimable")

    monkeypatch.setattr("survivor.guideline.writing.survival", refuse)
    line = next(x for x in plan_text(made, tmp_path).splitlines() if x.startswith("survival_per_100"))
    assert line.endswith("# not known from the season last added: write what you expect")


def test_cautions_keep_their_own_words(made):
    # Common practice, no source: whoever comes on something of heritage stops and reports it.
    section = next(s for s in content_of(made).sections if s.key == "cautions")
    said = dict(next(block for block in section.blocks if isinstance(block, Terms)).pairs)
    assert said["Cultural heritage"].endswith("stop and report if something is found.")
    assert "This guideline prints no product and no rate." in said["Herbicide"]
    assert all("{" not in text and "page" not in text for text in said.values())


def test_the_document_has_every_caution_and_what_is_worth_nothing_is_left_out(made):
    content = _content(made)
    assert dict(content["cautions"])["Cultural heritage"].endswith("stop and report if something is found.")
    assert len(content["cautions"]) == len(CAUTIONS)
    section = next(s for s in content_of(made).sections if s.key == "next")
    shown = next(block for block in section.blocks if isinstance(block, Table))
    assert all(float(row[3]) > 0 for row in shown.rows)
    less = len(made.next) - len(shown.rows)
    assert (f"Left out: {less} comparison" in shown.note) == (less > 0)
    assert len(shown.rows) == (made.next["value_per_100"] >= 0.005).sum()

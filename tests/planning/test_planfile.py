"""Plan files: what is refused, and in what words."""

import pytest

from survivor.errors import PlanError
from survivor.files.toml import validated
from survivor.planning.folder import blank_files
from survivor.planning.planfile import Plan, read_plan
from tests.planning.making import raw_plan

# What is wrong -> words that the error must hold.
FAULTS = {
    "a key that is not known": (
        raw_plan(question={"surival_per_100": 60}),
        ("[question] surival_per_100", "not a key", "did you mean survival_per_100?"),
    ),
    "a key needed": (
        {**raw_plan(), "question": {"usual_practice": "spot spray only", "survival_per_100": 60}},
        ("[question] smallest_difference", "needed"),
    ),
    "a text for a number": (
        raw_plan(question={"survival_per_100": "60"}),
        ("[question] survival_per_100", '"60" has to be a number', "write 60"),
    ),
    "a share for the survivors of 100": (
        raw_plan(question={"survival_per_100": 0.6}),
        ("[question] survival_per_100", "did you mean 60?"),
    ),
    "a share for a difference per 100": (
        raw_plan(question={"smallest_difference": 0.1}),
        ("[question] smallest_difference", "did you mean 10?"),
    ),
    "a share for the power": (
        raw_plan(question={"power_per_100": 0.8}),
        ("[question] power_per_100", "did you mean 80?"),
    ),
    "a day that is none": (
        raw_plan(sites=[{"name": "Tarn Hollow", "planted": "15/06/2027"}]),
        ('[[sites]] "Tarn Hollow", planted', "15/06/2027", "year-month-day"),
    ),
    "more than all survive": (raw_plan(question={"survival_per_100": 90}), ("under 100",)),
    "variation told twice": (
        raw_plan(variation={"plot_correlation": 0.1}),
        ("plot_sd and plot_correlation", "one of"),
    ),
    "variation not told": (
        {**raw_plan(), "variation": {}},
        ("one of plot_sd, plot_correlation", "how many plots"),
    ),
    "a usual practice that is no method": (
        raw_plan(question={"usual_practice": "nothing"}),
        ('"nothing"', "spray and rip"),
    ),
    "a site that cannot take what nobody does": (
        raw_plan(sites=[{"name": "Tarn Hollow", "planted": "2027-06-15", "cannot": ["mound"]}]),
        ('[[sites]] "Tarn Hollow", cannot, value 1 = "mound"',),
    ),
    "one method": (
        raw_plan(methods=raw_plan()["methods"][:1]),
        ("[[methods]]: at least 2 are needed, and there is 1",),
    ),
    "two methods of one name": (
        raw_plan(methods=raw_plan()["methods"][:1] * 2),
        ('[[methods]] no. 2, name = "spot spray only" is the name of two [[methods]]',),
    ),
    "a visit with two rules": (
        raw_plan(visits=[{"name": "x", "day": 3, "dry_season": "before"}]),
        ('[[visits]] "x"', "either day"),
    ),
    "a visit tied to a season that is not given": (
        {
            **{key: value for key, value in raw_plan().items() if key != "dry_season"},
            "visits": [{"name": "x", "dry_season": "before"}],
        },
        ("[dry_season] is not given",),
    ),
    "no sites and no number of them": (raw_plan(sites=[]), ("[sizes] sites = 6",)),
    "a lead time the wrong way round": (
        raw_plan(works=[{"name": "rip", "earliest_days_before": 10, "latest_days_before": 20}]),
        ('[[works]] "rip"', "earliest_days_before"),
    ),
    "free plots": (
        raw_plan(costs={"currency": "dollars", "budget": 100, "per_plot": 0, "per_tag": 4}),
        ("[costs]", "cost something"),
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_is_named_with_its_place(fault):
    raw, words = FAULTS[fault]
    with pytest.raises(PlanError) as raised:
        validated(raw, Plan, "plan", PlanError)
    for word in words:
        assert word in str(raised.value)
    assert "1 fault in the plan file" in str(raised.value)
    assert raised.value.exit_status == 2


def test_every_fault_is_named_with_its_line(tmp_path):
    file = tmp_path / "plan.toml"
    text = (
        blank_files()["plan.toml"]
        .decode()
        .replace("day = 365", 'day = "365"')
        .replace("seed = 1", "sede = 1")
    )
    file.write_text(text, encoding="utf-8")
    lines = text.splitlines()
    day, seed = (
        1 + next(n for n, line in enumerate(lines) if line.startswith(start)) for start in ("day =", "sede")
    )
    with pytest.raises(PlanError, match="2 faults") as raised:
        read_plan(file)
    assert f"line {day}: [question] day" in str(raised.value)
    assert f"line {seed}: [plan] sede" in str(raised.value)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            'usual_practice = "spot spray only"',
            'usual_practice = "spot spary only"',
            ("[question] usual_practice", 'did you mean "spot spray only"?'),
        ),
        (
            'name = "Site B"',
            'name = "site a"',
            ('[[sites]] no. 2, name = "site a" is the name of two [[sites]]',),
        ),
        (
            '# cannot = ["mulch mat"]',
            'cannot = ["mulch mats"]',
            ('[[sites]] "Site C", cannot', 'mean "mulch mat"?'),
        ),
        ("[question]", "[questoin]", ("[questoin] is not a table that survivor knows", "mean question?")),
    ],
)
def test_what_does_not_agree_is_named_with_its_line_and_what_was_meant(tmp_path, old, new, words):
    text = blank_files()["plan.toml"].decode()
    assert old in text
    file = tmp_path / "plan.toml"
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    line = 1 + next(n for n, line in enumerate(file.read_text().splitlines()) if line.startswith(new))
    with pytest.raises(PlanError) as raised:
        read_plan(file)
    said = str(raised.value)
    assert f"line {line}: " in said
    assert "{" not in said
    for word in words:
        assert word in said

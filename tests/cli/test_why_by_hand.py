"""A plan worked out again from nothing but the numbers that ``why`` prints, with own formulas.

Formulas: FAO-56 (Allen et al. 1998) Eq. 6-8, 11-13, 21-25, 37-40, 62, 65, 66, 82-85; Allen &
Pereira 2009 for the canopy and Schwartzman & Zur 1986 for the wetted depth (both from memory).
Weather and farm: INVENTED, those of the demonstration.
"""

from __future__ import annotations

import math
import re
from itertools import pairwise

import pytest
from sqlalchemy.engine import URL

from service.cli.terminal import out
from tests.cli.conftest import Command, call, document

BLOCKS = ("apples", "blackberry", "creek", "peaches", "vines", "young")
NUMBER = r"-?\d[\d,]*(?:\.\d+)?"


def number(text: str) -> float:
    return float(text.replace(",", ""))


class Printed:
    """The steps of one block's ``why`` as they are printed: value, decimals, equation."""

    def __init__(self, text: str) -> None:
        self.text = text
        self._rows: dict[str, tuple[str, str]] = {}
        heading = next(line for line in text.splitlines() if line.startswith("Step "))
        value, how = heading.index("Value"), heading.index("How")
        for line in text.partition(heading)[2].partition("Ledger up to")[0].splitlines():
            self._rows[line[:value].strip()] = (line[value:how].strip(), line[how:].strip())

    @property
    def is_weighed(self) -> bool:
        """Whether the block weighs the forecast."""
        return any(label.startswith("Least water that keeps") for label in self._rows)

    def find(self, start: str) -> tuple[str, str]:
        found = [row for label, row in self._rows.items() if label.startswith(start)]
        assert len(found) == 1, (start, list(self._rows))
        return found[0]

    def value(self, start: str) -> float:
        return number(self.find(start)[0].split(" ")[0].removesuffix("°"))

    def last_place(self, start: str) -> float:
        """The worth of one unit in the last decimal printed."""
        digits = self.find(start)[0].split(" ")[0]
        return float(10.0 ** -len(digits.partition(".")[2]))

    def terms(self, start: str) -> list[float]:
        """The numbers of the equation, in order."""
        worked = self.find(start)[1].rpartition(" [")[0]
        return [number(each) for each in re.findall(rf"(?<![\w.]){NUMBER}", worked)]

    def ledger(self) -> list[list[float]]:
        rows = []
        for line in self.text.splitlines():
            cells = line.split()
            # The last cell is what the irrigation was taken from, empty on a day without any.
            if len(cells) in (11, 12) and re.fullmatch(
                r"[0-9]{1,2} [A-Z][a-z]{2}", " ".join(cells[1:3])
            ):
                rows.append([number(each) for each in cells[3:11]])
        return rows


@pytest.fixture(scope="module", params=BLOCKS)
def why(request: pytest.FixtureRequest, demo_database: URL) -> Printed:
    with pytest.MonkeyPatch.context() as patch:
        # So wide that a row of the table is a line.
        patch.setattr(out, "_width", 2000)
        result = call(demo_database, "why", f"larkbend.{request.param}", "--units", "si")
    assert result.exit_code == 0, result.output
    return Printed(result.stdout)


def agree(why: Printed, label: str, worked: float, units: float = 1.0) -> None:
    """The number worked out is the printed one, to some units of its last decimal."""
    assert worked == pytest.approx(why.value(label), abs=units * why.last_place(label)), label


def saturation_kpa(temperature_c: float) -> float:
    return 0.6108 * math.exp(17.27 * temperature_c / (temperature_c + 237.3))


def extraterrestrial(latitude_deg: float, day: float) -> float:
    phi, angle = math.radians(latitude_deg), 2.0 * math.pi * day / 365.0
    nearness, declination = 1.0 + 0.033 * math.cos(angle), 0.409 * math.sin(angle - 1.39)
    sunset = math.acos(-math.tan(phi) * math.tan(declination))
    course = sunset * math.sin(phi) * math.sin(declination) + math.cos(phi) * math.cos(
        declination
    ) * math.sin(sunset)
    return 24.0 * 60.0 / math.pi * 0.0820 * nearness * course


def test_reference_et_follows_from_place_day_and_weather(why: Printed) -> None:
    warm, cold = why.value("Highest temperature"), why.value("Lowest temperature")
    vapour, wind = why.value("Vapor pressure of the air"), why.value("Wind at 2 m")
    elevation, sun = why.value("Elevation"), why.value("Solar radiation")
    saturated = (saturation_kpa(warm) + saturation_kpa(cold)) / 2.0
    outside = extraterrestrial(why.value("Latitude"), why.value("Day of the year"))
    clear = (0.75 + 2e-5 * elevation) * outside
    long_wave = (
        4.903e-9
        * ((warm + 273.16) ** 4 + (cold + 273.16) ** 4)
        / 2.0
        * (0.34 - 0.14 * math.sqrt(vapour))
        * (1.35 * min(1.0, max(0.3, sun / clear)) - 0.35)
    )
    net = 0.77 * sun - long_wave
    mean = (warm + cold) / 2.0
    slope = 4098.0 * saturation_kpa(mean) / (mean + 237.3) ** 2
    gamma = 0.000665 * 101.3 * ((293.0 - 0.0065 * elevation) / 293.0) ** 5.26
    for label, worked in (
        ("Vapor pressure of saturated", saturated),
        ("Radiation outside", outside),
        ("Radiation under a clear", clear),
        ("Net short-wave", 0.77 * sun),
        ("Net long-wave", long_wave),
        ("Net radiation", net),
        ("Slope of the saturation", slope),
        ("Psychrometric", gamma),
    ):
        agree(why, label, worked)
    wind = max(wind, 0.5)
    by_air = gamma * 900.0 / (mean + 273.0) * wind * (saturated - vapour)
    et0 = (0.408 * slope * net + by_air) / (slope + gamma * (1.0 + 0.34 * wind))
    agree(why, "Reference ET", et0)


def test_the_crop_coefficient_follows_from_stage_climate_canopy_and_mulch(why: Printed) -> None:
    # Numbers of the text before those of the equation: 0.04, 2, 0.004, 45, then limits and days.
    *_, wind, _, _, humidity, _ = why.terms("Adjustment of Kc")
    term = 0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0)
    agree(why, "Adjustment of Kc", term)
    kc_mid, _, height, *_ = why.terms("Kc of the mid-season")
    by_height = (height / 3.0) ** 0.3
    kept, bare = 1.0, 0.15
    if " under mulch" in why.find("Kc of the mid-season")[1]:
        _, cover, of_crop, _, under = why.terms("Kc of the initial stage")
        initial = (1.0 - cover) * of_crop + cover * under
        agree(why, "Kc of the initial stage", initial)
        *_, reduction = why.terms("Kc of the mid-season")
        kept = 1.0 - cover * reduction
        bare = min(0.15 * kept, initial)
    agree(why, "Kc of the mid-season", (kc_mid + term * by_height) * kept)
    kc_end = why.terms("Kc of the season's end")[0]
    kc_end += term * by_height if kc_end >= 0.45 else 0.0
    agree(why, "Kc of the season's end", kc_end * kept)
    kc = why.value("Kc of the stage")
    _, worked = why.find("Kc of the stage")
    if "development" in worked or "late season" in worked:
        low, day, start, end, _, high, _ = why.terms("Kc of the stage")
        agree(why, "Kc of the stage", low + (day - start) / (end - start) * (high - low))
    _, factor, cover, _, _, _, canopy_height = why.terms("Density of the canopy")
    density = min(1.0, factor * cover, cover ** (1.0 / (1.0 + canopy_height)))
    agree(why, "Density of the canopy", density)
    _, _, reference = why.terms("Of the canopy")
    share = min(1.0, density / reference)
    agree(why, "Of the canopy", share, 2.0)
    agree(why, "Crop coefficient", kc - (1.0 - share) * max(0.0, kc - bare))
    agree(why, "Crop water use", why.value("Crop coefficient") * why.value("Reference ET"), 2.0)


def test_the_ledger_leads_to_the_depletion_at_midnight(why: Printed) -> None:
    rows = why.ledger()
    assert len(rows) == 7
    for start, rain, net, drains, _, use, other, end in rows:
        # Seven rounded terms.
        assert start - rain - net + drains + use + other == pytest.approx(end, abs=0.03)
    for before, after in pairwise(rows):
        assert after[0] == pytest.approx(before[-1], abs=0.005)
    agree(why, "Depletion expected at midnight", rows[-1][-1])


def rule_need(why: Printed, use: float, easy_store: float) -> float:
    """The need by the evening rule."""
    midnight = why.value("Depletion expected at midnight")
    chance, entering = why.terms("Rain counted on")[-2:]
    after_rain = max(0.0, midnight - (chance * entering if chance >= 0.3 else 0.0))
    agree(why, "Depletion after that rain", after_rain, 2.0)
    trigger, room = why.terms("Water from this")[-2], why.terms("Room left for rain")[-2]
    depleted = after_rain + use
    return depleted - room * easy_store if depleted >= trigger * easy_store else 0.0


def safe_need(why: Printed) -> float:
    """The need of a block that weighs the forecast: what must be, and half of what fits besides."""
    must, fits = why.value("Least water that keeps"), why.value("Water that fits that day")
    return must + 0.5 * max(0.0, fits - must) if must > 0.0 else 0.0


def test_the_need_its_minutes_and_its_depth_follow(why: Printed) -> None:
    use = why.value("Crop water use")
    *_, capacity, wilting, root, wetted, rooted = why.terms("Water a full root zone")
    store = 1000.0 * (capacity - wilting) * root * wetted * rooted
    agree(why, "Water a full root zone", store, 2.0)
    of_table = why.terms("Share of it that is easy")[-4]
    easy = min(0.8, max(0.1, of_table + 0.04 * (5.0 - use)))
    agree(why, "Share of it that is easy", easy, 3.0)
    agree(why, "Readily available", easy * store, 2.0)
    need = safe_need(why) if why.is_weighed else rule_need(why, use, easy * store)
    agree(why, "Net water needed", max(0.0, need), 3.0)
    flow, row, spacing, laterals = why.terms("Depth the emitters give")
    rate = flow / (row * spacing / laterals)
    agree(why, "Depth the emitters give", rate)
    *_, uniformity, _, transmission = why.terms("Net depth per minute")
    net_rate = rate / 60.0 * uniformity / 100.0 * rooted / transmission
    agree(why, "Net depth per minute", net_rate, 2.0)
    assert why.value("Minutes that the need") == pytest.approx(need / net_rate, abs=1.5)
    conductivity = why.value("Intake of the saturated soil")
    share = 0.6 * root / 29.2 / (conductivity / 3.6e6 / flow) ** 0.45
    agree(why, "Time to wet 0.6", 60.0 / flow * share ** (1.0 / 0.63), 2.0)
    minutes = why.value("Minutes planned")
    agree(why, "Depth that runs", minutes / 60.0 * rate)
    agree(why, "Net water that the roots get", minutes * net_rate)
    agree(why, "Net water left", max(0.0, need - minutes * net_rate), 3.0)


def test_the_share_of_the_supply_is_printed_with_both_flows(why: Printed) -> None:
    rate, area, *_ = why.terms("Flow of the block")[0], why.terms("Flow of the block")[-1]
    assert why.value("Flow of the block") == pytest.approx(rate * area, rel=1e-3)
    assert why.value("Flow of its supply") > 0.0
    for label in ("Share of the need that it could", "Share of the need that its supply"):
        assert 0.0 <= why.value(label) <= 1.0


def test_the_ledger_is_in_the_json_too(demo: Command) -> None:
    explained = document(demo("why", "larkbend.creek", "--json"))
    midnight = {step["name"]: step["value"] for step in explained["steps"]}["depletion_midnight_mm"]
    assert len(explained["ledger"]) == 7
    assert explained["ledger"][-1]["depletion_end_mm"] == pytest.approx(midnight, abs=1e-5)

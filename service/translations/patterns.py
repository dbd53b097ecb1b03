"""Texts that arrive with their values already in them: faults of readers, origins of numbers.

The readers of the service say in English what is allowed, and a block stores in English where each
of its numbers comes from; both go to programs as they are. For people, this table takes them apart
again: each pattern is the English text with placeholders, it is looked up in the catalogue like any
other text, and the values are put into the translation. The content of a placeholder in ``PHRASES``
is itself looked up, so that few patterns make many sentences.

Here is what forms and pages of a farm can show, files that are uploaded there among them. What only
a farm file or the command line can get wrong stays English.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from functools import cache, lru_cache

from service.agronomy.crop_table import CROPS
from service.translations.catalogue import marked
from service.translations.nutrition_patterns import NUTRITION_PATTERNS
from service.translations.sheet_patterns import SHEET_PATTERNS, SHEET_WORDS
from service.translations.water_patterns import WATER_PATTERNS

PHRASES = frozenset(
    {"cause", "measure", "noun", "finding", "region", "rest", "source", "tables", "texture"}
)
"""Placeholders whose content is looked up as a text of its own."""
CHOICES = frozenset({"choices", "examples"})
"""Placeholders with several values, ``a or b``."""
DAYS = frozenset({"day", "last"})
"""Placeholders that are a day, where they are written as ISO 8601 does."""
ISO_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")
OR = marked("or")
_PLACE = re.compile(r"{(\w+)}")
_NUMBERS = frozenset(
    {"count", "days", "hours", "highest", "largest", "latitude", "limit", "longest", "lowest",
     "minutes", "model", "clay", "sand", "percent", "humid"}
)  # fmt: skip

# Whole texts without placeholders, used as the content of other patterns.
ALONE: tuple[str, ...] = (
    # What was found.
    marked("nothing"),
    marked("another text"),
    marked("another id"),
    marked("a key of that name"),
    marked("an id that is taken"),
    marked("one more pause"),
    # Nouns of measures.
    marked("a length"),
    marked("a duration"),
    marked("a share"),
    marked("a number"),
    marked("an area"),
    marked("a flow"),
    marked("the flow of one emitter"),
    marked("drip lines per row"),
    marked("a percentage"),
    marked("a ratio"),
    marked("a year"),
    marked("years"),
    marked("whole days"),
    marked("a depth"),
    marked("degrees, north positive,"),
    marked("degrees, east positive,"),
    marked("a crop coefficient"),
    marked("an SCS curve number"),
    marked("a sum of degree days"),
    marked("a temperature"),
    marked("a temperature difference"),
    marked("nitrogen for a season"),
    marked("a price over a volume, such as '0.12/m3' or '1.50/1000 gal'"),
    marked("days that rise, three years at most; for more there is `rillwright hindcast`"),
    marked("a saturated conductivity"),
    marked("percent by weight with its sign"),
    # Forms.
    marked("1 to 40 small letters a-z, digits and hyphens, such as 'north-2'"),
    marked("spans that do not overlap"),
    marked("spans within one day such as ['04:00-21:00'], '24:00' for the day's end"),
    marked("a month and day such as '03-20', 01-01 to 12-31 without 02-29"),
    marked("whole days, at most 365 in sum"),
    marked("a whole year such as 2021"),
    marked("a date such as 2026-04-01, without a time"),
    marked("an IANA zone name such as 'America/New_York' or 'UTC'"),
    marked(
        'season = { start = "03-20", lengths = [30, 50, 120, 30] }, days of the initial,'
        ' development, mid and late stage; or { start = "01-01", degree_days = [four rising sums'
        ' such as "250 degC day"], floor = "10 degC" }; or kc_table = [["03-15", 0.3], ["06-01",'
        " 1.0], ...]"
    ),
    marked(
        'one of { texture = "sandy loam" }, { sand = 0.6, clay = 0.1, organic_matter = "2 %" } and'
        ' { field_capacity = 0.18, wilting_point = 0.08, conductivity = "50 mm/h", grain ='
        ' "coarse" }'
    ),
    marked("a note that says why the reading is corrected"),
    marked("a time that no other reading covers, or that reading's"),
    marked(
        "an hour or more; to correct that reading give its read_at, to store another one confirm it"
        " (confirm=True, --confirm)"
    ),
    marked("without being confirmed"),
    marked("a note of this farm"),
    marked("a block of this farm in full, `farm.block`"),
    marked("an id that no other farm or county uses; the operator changes shared sites"),
    # Where numbers come from.
    marked("given"),
    marked("given for this year"),
    marked("full-size default, grows with age"),
    marked("windows of the supply"),
    marked("choice: one drip line per row"),
    marked("design class of ASABE EP405 on level ground, from memory; measure it in the field"),
    marked("choice: about the first fill of a 46 m lateral, 100 emitters of 2 L/h"),
    marked("choice: 4 h; soil and root depth shorten it further"),
    marked("choice: the whole day; a controller gets a quarter over the longest day asked"),
    marked("choice: no roots outside the wet strip"),
    marked("choice: 12 pulses a day at most, no source"),
    marked("choice: all blocks of a supply alike"),
    marked("choice: one pulse for each visit"),
    marked("choice: less than 0.1 of the need is no news"),
    marked("choice: less than 0.5 mm is the remainder of whole minutes"),
    marked("bare soil: FAO-56 Eq. 98, lower end of 0.15-0.20"),
    marked("choice: live cover under citrus of 20 % canopy, FAO-56 Table 12, p. 113"),
    marked("choice: live cover under trees without leaves, FAO-56 Table 12, p. 113"),
    marked("choice: valves switch at once"),
    marked("leaching is off unless set"),
    marked("the peak-use transmission ratio is off unless set"),
    marked("choice: water at 0.7 of the readily available water"),
    marked("choice: leave 0.3 of the readily available water empty for rain"),
    marked("not given: no runoff is computed"),
    marked("choice: no water in hours below freezing"),
    marked("choice: all metered water reaches the emitters"),
    marked("choice: the crop's season with 14 days before and after"),
    marked("choice: the whole year, as the crop is evergreen"),
    marked("choice: the whole year, as the days of stages in degree days are not known before"),
    marked("choice: the whole year, as the crop's season leaves little of it"),
    marked("not given: full size already"),
    marked("not given: starts at field capacity, flagged"),
    marked("choice by texture: off time 1, 2 or 3 times the pulse on coarse, medium or fine soil"),
    marked(
        "strip width by emitter flow and texture over row spacing, Keller & Karmeli 1975, from"
        " memory"
    ),
    marked("choice: a full-size planting roots all wetted soil"),
    marked("no mulch"),
    marked("choice: share of rain that fabric lets pass"),
    marked("choice: share of rain that film lets pass"),
    marked("common practice, no source"),
    marked("Saxton & Rawls 2006"),
    marked("Saxton & Rawls 2006; FAO-56 Table 19 has no such class"),
    marked("FAO-56 Table 19, middle of the range; conductivity Saxton & Rawls 2006"),
    marked(
        "aged pine bark, drained in the field and after 12 dry days, Bandaranayake et al. 2018,"
        " abstract; conductivity twice that of sand"
    ),
    marked(
        "unused peat substrate at 10 kPa and at 300 to 1500 kPa, Acta agriculturae Slovenica,"
        " abstract of article 1851; conductivity by choice"
    ),
    marked(
        "sand with 15 to 25 % of organic matter at 33 and 1500 kPa, Staring series B15, Wösten"
        " et al. 2001"
    ),
    marked("under: film lets no water of a line through"),
    marked("either emitter_spacing or plants"),
    marked("volumetric_water: what bark and peat hold at a tension is not known well enough"),
    marked("FAO-56 Tables 12, 22; Table 11 has no stage lengths for berries"),
    marked("FAO-56 Tables 12, 22, 23"),
    marked("FAO-56 Tables 11, 12, 22, 23"),
    marked("FAO-56 Tables 11, 12, 22"),
    marked("FAO-56 Tables 12, 22"),
    marked("FAO-56 Tables 12, 22, the row Berries (bushes): the crop has no row of its own"),
    marked(
        "FAO-56 Tables 12, 22, the row Berries (bushes): the crop has no row of its own; Table 23"
    ),
    marked("choice, no source"),
    marked("choice: share of rain that organic lets pass"),
    marked("FAO-56 (1998) p. 197, organic mulch"),
    marked("Allen & Pereira 2009, as openet-sims codes it"),
    marked("California"),
    marked("Idaho, USA"),
    marked("Utah, USA"),
    marked("Mediterranean"),
    marked("mid latitudes"),
    marked("deciduous orchard, California"),
    *SHEET_WORDS,
)

PATTERNS: tuple[str, ...] = (
    *SHEET_PATTERNS,
    # Notes of visits.
    marked("1 to {count} characters"),
    marked("{count} characters"),
    marked("the note that corrects it, {name}"),
    # What may be a slip in a block.
    marked(
        "{block}: planting year {planted} is after {year}; is that meant? Until then it is treated"
        " as just planted."
    ),
    marked(
        "{block}: {key} has no canopy_measured_on: it is taken as this year's size in every year,"
        " and the young plants do not grow from it."
    ),
    marked(
        "{block}: one drip line per row, where two, one on each side of the plants, are common"
        " practice for this crop. Wetted soil and minutes follow from their number."
    ),
    marked(
        "{block}: fresh pine bark holds far less than aged bark, 7 % of its volume against 21 %:"
        " for its first two years give measured water, or water less at a time and more often."
    ),
    # Quantities; the hints first, since the rest of such a text is a measure.
    marked("with its unit: {measure}"),
    marked("no comma, and a point before decimals: {measure}"),
    marked("a list of {count}, each {measure}"),
    marked("{noun} such as {examples}, {lowest} to {highest} {unit}"),
    marked("a number from {lowest} to {highest} {unit}"),
    marked("a depth inside the managed root zone, {highest} {unit}"),
    marked("{noun} such as {examples}, {lowest} to {highest}"),
    # Texts and choices.
    marked("a text of 1 to {longest} characters in one line"),
    marked("1 to {longest} characters in one line"),
    marked("did you mean {choices}; {rest}"),
    marked("did you mean {choices}"),
    marked("one of {listed}"),
    marked("the id of a [[{key}]] of this file; it has none"),
    marked("a value of its own; {place} has this one"),
    # Times.
    marked("1 to 12 {rest}"),
    marked("a span that ends after it starts; {rest}"),
    marked("a span within one day; for one across midnight write {example}"),
    marked("a span within one day; write {example}"),
    marked(
        "one stretch of at least {minutes} min, the shortest pulse (the larger of 10 min and three"
        " fill times)"
    ),
    marked(
        "at least {minutes} min, the shortest pulse (the larger of 10 min and three fill times)"
    ),
    marked("up to now, {moment}"),
    marked("a time before the reading, {days} days at most"),
    marked("a time that has passed, at most {days} days ago"),
    marked("a time after starts_local, {days} days at most"),
    marked("at most {count} pauses of a block"),
    # Places.
    marked("degrees, not radians, of a place in {zone}, north positive"),
    marked(
        "degrees within {limit} of {zone} at {latitude}, north positive, south negative; latitude"
        " and zone do not agree"
    ),
    marked(
        "degrees of a place in {zone}, east positive, west negative; longitude and zone do not"
        " agree, the sun would be {hours} h off the clock"
    ),
    marked("a site whose clock is that of the farm, {zone}"),
    # Water.
    marked(
        "at most the flow of supply {supply}, {limit} {unit}; split the block or correct its"
        " numbers"
    ),
    marked(
        "a block that takes {limit} {unit} (area / row spacing / emitter spacing x drip lines per"
        " row x emitter flow)"
    ),
    marked("0 to {largest} minutes"),
    marked("0 to {largest} liters"),
    marked("0 to {largest} {unit}"),
    marked("where the stored weather has {model} {unit}"),
    marked(
        "up to {limit} {unit} {cause}; if the gauge is right, confirm it (confirm=True, --confirm)"
    ),
    marked("{tables}; no stage dates are published for {crop}"),
    marked("{farm}, which the key is bound to"),
    # Where numbers come from.
    marked("crop table, {crop}: {source}"),
    marked("{source}; {humid} added for a humid climate, RHmin {percent} %"),
    marked("{source}; {percent} % more on coarse soil"),
    marked("{source}; {percent} % less on fine soil"),
    marked("{source}; the same on bark, peat and organic soil"),
    marked("choice: a line above the mulch keeps its top wet, nothing taken off"),
    marked("{emitters} emitters for each plant, plants {between} m apart"),
    marked("{source}; the crop has no row of its own"),
    marked("FAO-56 (1998) p. 196, plastic film watered every {days} days"),
    marked("choice: half of what film takes off, watered every {days} days"),
    marked("density of the canopy of the crop table's row, {crop}: choice"),
    marked("canopy of the crop table's row, {crop}: choice"),
    marked("lower end of the range in FAO-56 Table 22, {crop}"),
    marked("lower end of the range in {source}"),
    marked("texture {texture}: {source}"),
    marked("sand {sand}, clay {clay}: {source}"),
    marked("{rest}; local dates are better"),
    marked("stage lengths of FAO-56 Table 11, {region}; {rest}"),
    marked("stage lengths of FAO-56 Table 11, {region}"),
    marked("{rest}, moved by six months for the southern hemisphere"),
    marked("season start of FAO-56 Table 11, {region}"),
    marked("stage lengths of {source}; {rest}"),
    marked("stage lengths of {source}"),
    marked("season start of {source}"),
    marked("{edition} Table {printed}, footnote {footnote}, p. {page}, '{row}'"),
    marked("{edition} Table {printed}, p. {page}, '{row}'"),
    *WATER_PATTERNS,
    *NUTRITION_PATTERNS,
)


@lru_cache(maxsize=2048)
def take_apart(text: str) -> tuple[str, dict[str, str]] | None:
    """The pattern that matches a text, and the content of its placeholders; None if none
    matches.
    """
    for pattern, expression in _expressions():
        match = expression.fullmatch(text)
        if match is not None:
            return pattern, match.groupdict()
    return None


def put_together(
    text: str, translate: Callable[[str], str], write_day: Callable[[date], str]
) -> str:
    """A text translated part by part; unchanged if no pattern matches."""
    found = take_apart(text)
    if found is None:
        return text
    pattern, parts = found
    filled = {}
    for name, part in parts.items():
        if name == "crop":
            filled[name] = translate(CROPS[part].name if part in CROPS else part)
        elif name in PHRASES:
            filled[name] = translate(part)
        elif name in DAYS and ISO_DAY.fullmatch(part):
            filled[name] = write_day(date.fromisoformat(part))
        elif name in CHOICES:
            filled[name] = f" {translate(OR)} ".join(part.split(" or "))
        else:
            filled[name] = part
    return translate(pattern).format(**filled)


@cache
def _expressions() -> tuple[tuple[str, re.Pattern[str]], ...]:
    return tuple((pattern, re.compile(_expression(pattern), re.DOTALL)) for pattern in PATTERNS)


def _expression(pattern: str) -> str:
    """The pattern as a regular expression; number placeholders match only numbers."""
    parts = _PLACE.split(pattern)
    return "".join(
        re.escape(part) if place % 2 == 0 else f"(?P<{part}>{_content(part)})"
        for place, part in enumerate(parts)
    )


def _content(name: str) -> str:
    if name in _NUMBERS:
        return r"[-+.,\d]+(?:e[-+]?\d+)?"
    if name == "unit":
        return r"\S+(?: day)?"
    if name == "crop":
        return r"[a-z0-9-]+"
    if name == "finding":  # as short as it may be: the rest is sentences of their own
        return ".+?"
    return ".+"

"""Safety warnings for putting acid, chlorine or fertiliser into irrigation water, in one place.

The results of ``acid``, ``fertiliser`` and ``fertigation`` carry these texts as data, so that no
page, mail or file can show a number without them. They are common practice, no source, except
where a source is named.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Advisory:
    """Something a reader of the result must know; the key does not change, the text may."""

    key: str
    text: str


ESTIMATE_ONLY = Advisory(
    "estimate-only",
    "This is an estimate from a laboratory analysis. It is never an instruction to open or to start"
    " anything. A titration of the water itself beats it, and the pH must be measured at the last"
    " emitters before it is relied on.",
)
INJECTION_ESTIMATE = Advisory(
    "injection-estimate",
    "These numbers follow from what was stated of products, water and pipes. They are never an"
    " instruction to open or to start anything: check rate and EC at the emitters. Injecting is"
    " work for trained, and in many places licensed, people; local code stands above these"
    " numbers.",
)
ACID_INTO_WATER = Advisory(
    "acid-into-water",
    "Always add acid to water, never water to acid: water on concentrated acid boils and spatters.",
)
NEVER_WITH_CHLORINE = Advisory(
    "never-with-chlorine",
    "Never mix acid with chlorine products, neither in a tank nor at one injection point, and"
    " flush and separate the equipment: acid and hypochlorite give off chlorine gas, which kills.",
)
PROTECTIVE_GEAR = Advisory(
    "protective-gear",
    "Wear splash goggles and a face shield, acid-proof gloves, apron and boots. Have an eyewash and"
    " plenty of clean water within reach, and never work alone: acid blinds and burns within"
    " seconds.",
)
TRAINED_PRACTICE = Advisory(
    "trained-practice",
    "Handling and injecting concentrated acid is work for trained, and in many places licensed,"
    " people with protective clothing, eye wash and shower at hand. Local code stands above this"
    " estimate.",
)
BACKFLOW_PREVENTION = Advisory(
    "backflow-prevention",
    "Injection needs backflow prevention for the water source, a check valve at the injector and an"
    " interlock that stops the injector when the water stops, as local code demands.",
)
CORROSION = Advisory(
    "corrosion",
    "Concentrated acid attacks common metals, concrete and some plastics. The injection point and"
    " all that the acid passes before it is mixed must be made for that acid.",
)
NOT_A_SOIL_PH = Advisory(
    "not-a-soil-ph",
    "The pH rises again when the water loses its CO2 in open air. This dose says nothing about the"
    " pH of the soil or the leaf.",
)
JAR_TEST = Advisory(
    "jar-test",
    "Mix the products with the irrigation water in a jar, in the proportion of the injection, and"
    " look for clouding or sediment after an hour and after a day, before they go into the lines.",
)
PRODUCT_LABEL = Advisory(
    "product-label",
    "The label and the safety sheet of the product stand above these numbers.",
)

CHLORINE_ESTIMATE = Advisory(
    "chlorine-estimate",
    "This is an estimate from a laboratory analysis. It is never an instruction to open or to start"
    " anything. Measure free chlorine at the last emitters with a test kit, and set the rate by"
    " that.",
)
CHLORINE_NO_FERTILISER = Advisory(
    "chlorine-no-fertiliser",
    "Never inject chlorine together with fertilizer or pesticide, least of all with ammonium or"
    " urea: they use it up and can give off poisonous gas.",
)
CHLORINE_PRACTICE = Advisory(
    "chlorine-practice",
    "Handling chlorine is work for trained, and in many places licensed, people with protective"
    " clothing, eye wash and shower at hand. Gas in cylinders is not covered here. Local code"
    " stands above this estimate.",
)
CHLORINE_DECAY = Advisory(
    "chlorine-decay",
    "Hypochlorite loses its strength in the drum, faster in warmth and light: take the strength as"
    " measured or as dated on the label, and store it apart from acids and fertilizers.",
)
IRON_OXIDATION = Advisory(
    "iron-oxidation",
    "Iron that oxidizes in the pipes is left out of this dose: 1 mg/L of it gives off 0.036 meq/L"
    " of acid. Acid also slows it, about a hundredfold for each unit of pH (Stumm & Lee 1961, from"
    " memory), so that the rust may only form at the emitters: remove iron before acid is dosed.",
)

ACID_CAUTIONS: tuple[Advisory, ...] = (
    ESTIMATE_ONLY,
    PROTECTIVE_GEAR,
    ACID_INTO_WATER,
    NEVER_WITH_CHLORINE,
    TRAINED_PRACTICE,
    BACKFLOW_PREVENTION,
    CORROSION,
    NOT_A_SOIL_PH,
)
"""Returned with every acid dose."""

CHLORINE_CAUTIONS: tuple[Advisory, ...] = (
    CHLORINE_ESTIMATE,
    NEVER_WITH_CHLORINE,
    CHLORINE_NO_FERTILISER,
    CHLORINE_PRACTICE,
    BACKFLOW_PREVENTION,
    CHLORINE_DECAY,
    PRODUCT_LABEL,
)
"""Returned with every chlorine dose."""

CHEMIGATION_CAUTIONS: tuple[Advisory, ...] = (
    INJECTION_ESTIMATE,
    BACKFLOW_PREVENTION,
    JAR_TEST,
    PRODUCT_LABEL,
)
"""Returned with every fertiliser injection."""
